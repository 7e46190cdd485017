//! How what is left of a plan may go.

use chrono::{DateTime, Utc};
use forenoon_desk::problem::DayProblem;
use forenoon_desk::warm::warm_start;
use forenoon_desk::{DayInputs, StoredPlan};
use forenoon_planner::plan::CrewPlan;
use forenoon_planner::risk::{Risk, simulate_until};
use forenoon_planner::{CrewIx, JobIx, Plan};
use forenoon_store::Database;
use forenoon_store::value::Disruptions;

use super::KnownRoads;
use super::day;
use super::late::LATE_MAX;
use super::learning::Learning;
use super::make::no_problem;
use super::prepare::prepare;
use super::read::load;
use super::solve::{SearchSettings, Searches, Turn, Wanted};
use crate::work::Error;

/// Which plan to live through, and how often.
#[derive(Clone, Debug)]
pub struct AssessRequest {
    /// The branch.
    pub branch: String,
    /// The plan.
    pub plan: String,
    /// How often.
    pub runs: u32,
    /// Source of all chance.
    pub seed: i64,
    /// Units whose service is due stay in.
    pub service_due_keeps_in: bool,
}

/// How a plan may go.
#[derive(Clone, Debug)]
pub struct Assessed {
    /// The plan.
    pub stored: StoredPlan,
    /// From when on.
    pub from: DateTime<Utc>,
    /// Promises with the share of runs in which they are kept, the least certain first.
    pub promises: Vec<(String, f64)>,
    /// Crews that still have work.
    pub crews: Vec<CrewChance>,
    /// The job whose uncertainty costs most, with the seconds of trouble it makes.
    pub most_endangering: Option<(String, f64)>,
    /// Jobs that cannot be done as planned any more.
    pub jobs_to_replan: Vec<String>,
}

/// A crew's chance of overtime.
#[derive(Clone, Debug)]
pub struct CrewChance {
    /// The crew.
    pub crew: String,
    /// What the simulation says of it.
    pub risk: forenoon_planner::risk::CrewRisk,
}

/// Lives through what is left of a plan, from `now` on, with what crews have reported. Stores nothing.
///
/// # Errors
/// [`Error::NotFound`] where the plan is not there, and obstacles where none of its crews goes out.
pub async fn assess(
    database: &Database,
    (searches, learning, roads): (&Searches, &Learning, &KnownRoads),
    now: DateTime<Utc>,
    request: &AssessRequest,
) -> Result<Assessed, Error> {
    let standing = Standing {
        branch: &request.branch,
        plan: &request.plan,
        service_due_keeps_in: request.service_due_keeps_in,
    };
    let (stored, mut inputs) =
        standing_in_its_day(database, (learning, roads), now, standing).await?;
    // The chances are those of the work, whatever lengths it was planned with.
    inputs.confidence_percent = 0;
    // What the plan leaves out stays out.
    inputs.jobs.retain(|job| stored.stop_of(&job.id).is_some());
    if inputs.jobs.is_empty() || inputs.clock.seconds(now) > inputs.clock.length() + LATE_MAX {
        return Ok(Assessed::nothing_left(stored, now));
    }
    let settings = SearchSettings {
        seed: request.seed,
        iterations: None,
        time: None,
    };
    let request = request.clone();
    searches
        .turn(Wanted::Proposals, settings, move |turn| {
            lived_through(turn, &inputs, stored, now, &request)
        })
        .await
}

/// Which plan, and by which of the company's rules.
pub(super) struct Standing<'a> {
    /// The branch.
    pub(super) branch: &'a str,
    /// The plan.
    pub(super) plan: &'a str,
    /// Units whose service is due stay in.
    pub(super) service_due_keeps_in: bool,
}

/// A plan and its day as it stands, with what crews have reported: as a re-plan takes it.
pub(super) async fn standing_in_its_day(
    database: &Database,
    (learning, roads): (&Learning, &KnownRoads),
    now: DateTime<Utc>,
    Standing {
        branch,
        plan,
        service_due_keeps_in,
    }: Standing<'_>,
) -> Result<(StoredPlan, DayInputs), Error> {
    let transaction = database.begin_read().await?;
    let stored = load(&transaction, branch, plan).await?;
    let base = Some((stored.clone(), now));
    let mut inputs = day::inputs(&transaction, branch, stored.plan.day, base).await?;
    prepare(
        &transaction,
        learning,
        &mut inputs,
        service_due_keeps_in,
        now,
    )
    .await?;
    transaction.commit().await?;
    inputs.roads.clone_from(roads);
    inputs.heat = stored.plan.heat;
    inputs.take_stock(Disruptions::default());
    Ok((stored, inputs))
}

fn lived_through(
    turn: &Turn,
    inputs: &DayInputs,
    stored: StoredPlan,
    from: DateTime<Utc>,
    request: &AssessRequest,
) -> Result<Assessed, Error> {
    let day = DayProblem::until(inputs, turn.cancel())
        .map_err(|error| no_problem(&request.branch, error))?;
    let before = warm_start(inputs, &day, &stored);
    let plan = turn.as_it_stands(&day.problem, &before);
    let seed = request.seed.cast_unsigned();
    let risk = simulate_until(&day.problem, &plan, seed, request.runs, turn.cancel());
    let Some(risk) = risk else {
        return Err(Error::Internal("the caller is gone".to_owned()));
    };
    Ok(Assessed::of(&day, &plan, &risk, stored, from))
}

impl Assessed {
    fn nothing_left(stored: StoredPlan, from: DateTime<Utc>) -> Self {
        Self {
            stored,
            from,
            promises: Vec::new(),
            crews: Vec::new(),
            most_endangering: None,
            jobs_to_replan: Vec::new(),
        }
    }

    fn of(
        day: &DayProblem,
        plan: &Plan,
        risk: &Risk,
        stored: StoredPlan,
        from: DateTime<Utc>,
    ) -> Self {
        let jobs_to_replan = jobs_to_replan(day, plan, &stored);
        let job = |ix: JobIx| day.job_id(ix).to_owned();
        let still = |id: &String| !jobs_to_replan.contains(id);
        let mut promises: Vec<(String, f64)> = risk
            .promises
            .iter()
            .map(|promise| (job(promise.job), promise.kept))
            .filter(|(id, _)| still(id))
            .collect();
        promises.sort_by(|a, b| a.1.total_cmp(&b.1).then_with(|| a.0.cmp(&b.0)));
        let at_work = |day: &CrewPlan| day.stops.iter().any(|stop| !stop.frozen);
        let crews = plan.crews.iter().zip(&risk.crews).enumerate();
        Self {
            promises,
            crews: crews
                .filter(|(_, (day, _))| at_work(day))
                .map(|(ix, (_, risk))| CrewChance {
                    crew: day.crew_id(CrewIx::from_ix(ix)).to_owned(),
                    risk: *risk,
                })
                .collect(),
            most_endangering: risk
                .most_endangering
                .map(|most| (job(most.job), most.seconds))
                .filter(|(id, _)| still(id)),
            jobs_to_replan,
            stored,
            from,
        }
    }
}

/// Jobs of the plan that are with nobody, or with another crew, once it is fitted into the day as it is now.
fn jobs_to_replan(day: &DayProblem, plan: &Plan, stored: &StoredPlan) -> Vec<String> {
    let with = |job: &str| {
        let ix = day.job_ids.iter().position(|id| id == job)?;
        let (crew, _) = plan.find(JobIx::from_ix(ix))?;
        Some(day.crew_id(crew))
    };
    let stops = stored.parts.stops.iter();
    stops
        .filter(|stop| day.job_ids.contains(&stop.job_id))
        .filter(|stop| with(&stop.job_id) != Some(stop.crew_id.as_str()))
        .map(|stop| stop.job_id.clone())
        .collect()
}
