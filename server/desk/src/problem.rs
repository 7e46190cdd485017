//! The planner's view of a branch's day.

use forenoon_planner::problem::{Faults, Parts, Progress, Weights, YardCall};
use forenoon_planner::travel::TravelFault;
use forenoon_planner::{CrewIx, JobIx, Problem, Seconds, SkillIx, UnitIx};
use forenoon_trade::rates::Rates;

use crate::fleet::Fleet;
use crate::inputs::DayInputs;
use crate::lessons::Lessons;
use crate::places::Places;
use crate::progress::progress;
use crate::roster::{Going, StaysIn, roster};
use crate::service::ServiceTable;
use crate::strategy::Strategy;
use crate::wanted::Wants;
use crate::words::SkillNumbers;

/// Putting units down and taking others at the yard. Common practice, no source.
const YARD_CALL: Seconds = 10 * 60;

/// A planning problem with the branch's ids for the planner's numbers.
pub struct DayProblem {
    /// The problem.
    pub problem: Problem,
    /// Crews by number.
    pub crew_ids: Vec<String>,
    /// Units by number.
    pub unit_ids: Vec<String>,
    /// Jobs by number.
    pub job_ids: Vec<String>,
    /// Vehicle and trailer of each crew, by its number.
    pub carriers: Vec<Vec<String>>,
    /// Crews that stay in, and why.
    pub staying: Vec<(String, StaysIn)>,
    skills: SkillNumbers,
}

/// Why there is nothing to plan.
#[derive(Debug, thiserror::Error)]
pub enum NoProblem {
    /// No crew goes out.
    #[error("no crew goes out on the day")]
    NoCrew(Vec<(String, StaysIn)>),
    /// The drives cannot be reckoned. The store holds what the edge should have refused.
    #[error("drives cannot be reckoned: {0:?}")]
    Travel(Vec<TravelFault>),
    /// The planner refuses the problem. The store holds what the edge should have refused, or too much of it.
    #[error("the planner refuses the problem: {0}")]
    Refused(#[from] Faults),
}

impl DayProblem {
    /// Builds the problem of a day.
    ///
    /// # Errors
    /// Where no crew goes out, and where records are beyond what the planner takes.
    pub fn new(inputs: &DayInputs) -> Result<Self, NoProblem> {
        Self::with(inputs, Strategy::default())
    }

    /// Builds the problem of a day with what a strategy allows.
    ///
    /// # Errors
    /// As [`DayProblem::new`].
    pub fn with(inputs: &DayInputs, strategy: Strategy) -> Result<Self, NoProblem> {
        let places = Places::new(inputs).map_err(NoProblem::Travel)?;
        let mut skills = SkillNumbers::default();
        let (going, staying) = roster(inputs, &places, &mut skills);
        if going.is_empty() {
            return Err(NoProblem::NoCrew(staying));
        }
        let fleet = Fleet::new(inputs, places.yard());
        let rates = Rates::default();
        let lessons = Lessons::from_visits(
            &inputs.past,
            &inputs.units,
            |crew| inputs.crew_size(crew),
            &rates,
        );
        let services = ServiceTable::new(inputs, &fleet, &rates, &lessons);
        let crew_ids: Vec<String> = going.iter().map(|crew| crew.id.clone()).collect();
        let free: Vec<bool> = going.iter().map(|crew| !crew.stuck).collect();
        let yard_call = strategy.yard_calls.then(|| YardCall {
            place: places.yard(),
            seconds: YARD_CALL,
        });
        let wants = Wants {
            inputs,
            places: &places,
            crew_ids: &crew_ids,
            free: &free,
            crews_stay: !strategy.jobs_move,
        };
        let (jobs, job_ids) = wants.jobs(&services, &mut skills);
        let carriers = going.iter().map(|crew| crew.carriers.clone()).collect();
        let crews = going
            .into_iter()
            .map(
                |Going {
                     id,
                     mut crew,
                     stuck,
                     ..
                 }| {
                    crew.progress = progress(inputs, &places, &fleet, &job_ids, &id, &crew);
                    // A crew that has not begun loads as it likes; it needs no second call.
                    let out = matches!(crew.progress, Progress::UnderWay(_));
                    crew.yard_call = yard_call.filter(|_| out && !stuck);
                    crew
                },
            )
            .collect();
        let parts = Parts {
            travel: places.into_travel(),
            crews,
            classes: fleet.classes.clone(),
            units: fleet.units.clone(),
            jobs,
            weights: Weights::default(),
        };
        let problem = Problem::new(parts, &mut |query| services.answer(query, &job_ids))?;
        Ok(Self {
            problem,
            crew_ids,
            unit_ids: fleet.unit_ids.clone(),
            job_ids,
            carriers,
            staying,
            skills,
        })
    }

    /// The id of a crew.
    pub fn crew_id(&self, crew: CrewIx) -> &str {
        self.crew_ids.get(crew.ix()).map_or("", String::as_str)
    }

    /// The id of a unit.
    pub fn unit_id(&self, unit: UnitIx) -> &str {
        self.unit_ids.get(unit.ix()).map_or("", String::as_str)
    }

    /// The id of a job.
    pub fn job_id(&self, job: JobIx) -> &str {
        self.job_ids.get(job.ix()).map_or("", String::as_str)
    }

    /// A skill in words.
    pub fn skill(&self, skill: SkillIx) -> &str {
        self.skills.word(skill)
    }
}
