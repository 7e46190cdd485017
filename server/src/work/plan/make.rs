//! Plans a day: gathers, searches, and stores a draft.

use std::slice::from_ref;

use chrono::{DateTime, NaiveDate, Utc};
use forenoon_desk::clock::DayClock;
use forenoon_desk::drives::Drives;
use forenoon_desk::outcome::{Label, rows};
use forenoon_desk::problem::{DayProblem, NoProblem};
use forenoon_desk::reasons::reasons;
use forenoon_desk::{DayInputs, Record, Refusal, StaysIn, StoredPlan};
use forenoon_planner::check::check;
use forenoon_planner::problem::limits::PLACES_MAX;
use forenoon_planner::travel::TravelFault;
use forenoon_store::Database;
use forenoon_store::entity::{branch, plan};
use forenoon_store::lease::Lease;
use forenoon_store::sea_orm::DatabaseTransaction;
use forenoon_store::value::{HeatForecast, ProposalFacts};

use super::late::LATE_MAX;
use super::learning::Learning;
use super::lease::settle;
use super::prepare::prepare;
use super::read::published_row;
use super::solve::{SearchSettings, Searches, Turn, Wanted};
use super::under_way::under_way;
use super::unfinished::unfinished;
use super::write::{Draft, insert, next_revision};
use super::{KnownRoads, day, name};
use crate::work::branch::refuse_moved;
use crate::work::{Accepted, Command, Error, Obstacle, ObstacleKind, job, row};

/// Jobs that are told where they are all there is, and none is to be planned.
const LEFT_OUT_TOLD_MAX: usize = 20;

/// What to plan.
#[derive(Clone, Debug)]
pub struct PlanRequest {
    /// The branch.
    pub branch: String,
    /// Its local date.
    pub day: NaiveDate,
    /// Units whose service is due stay in.
    pub service_due_keeps_in: bool,
    /// Driving times that go before the branch's travel rule.
    pub drives: Drives,
    /// The weather of the hottest hour of work, where the caller gives it.
    pub heat: Option<HeatForecast>,
    /// Each task is planned at the length that so many in a hundred keep within; the median where not above 50.
    pub confidence_percent: i32,
    /// Crews may be planned to meet on the road.
    pub meetings: bool,
    /// How to search.
    pub settings: SearchSettings,
    /// Who asks.
    pub actor: String,
}

/// Plans a day from how things stand. Stores nothing.
///
/// # Errors
/// [`Error::NotFound`] where the branch is not there; obstacles where no crew goes out, where no job is to be planned, and
/// where crews are at work by the day's published plan.
pub async fn make(
    database: &Database,
    (searches, learning, roads): (&Searches, &Learning, &KnownRoads),
    now: DateTime<Utc>,
    request: &PlanRequest,
) -> Result<Draft, Error> {
    let transaction = database.begin_read().await?;
    let read_at = row::last_event(&transaction, &request.branch).await?;
    let revision = next_revision(&transaction, &request.branch, request.day).await?;
    let published = published_row(&transaction, &request.branch, request.day).await?;
    let mut inputs = day::inputs(&transaction, &request.branch, request.day, None).await?;
    if let Some(published) = &published {
        refuse_under_way(&transaction, &inputs.clock, published, now).await?;
    }
    let keeps_in = request.service_due_keeps_in;
    inputs.left_out = prepare(&transaction, learning, &mut inputs, keeps_in, now).await?;
    let unfinished = unfinished(&transaction, &inputs, now).await?;
    inputs.left_out.extend(unfinished);
    inputs.not_before = running(&inputs, now);
    inputs.drives.clone_from(&request.drives);
    inputs.roads.clone_from(roads);
    inputs.heat = request.heat;
    inputs.confidence_percent = request.confidence_percent;
    inputs.meetings = request.meetings;
    transaction.commit().await?;
    let request = request.clone();
    searches
        .turn(Wanted::Plan, request.settings, move |turn| {
            let mut stored = searched(turn, now, &request, &inputs)?;
            stored.plan.proposal = Some(ProposalFacts {
                read_at: Some(read_at),
                published_then: published.map(|plan| plan.id),
                ..ProposalFacts::default()
            });
            Draft::new(stored, revision)
        })
        .await
}

/// When it is, where the day has begun and is not over: what is over is planned as it may have been, for the record.
fn running(inputs: &DayInputs, now: DateTime<Utc>) -> Option<DateTime<Utc>> {
    let clock = &inputs.clock;
    (0..clock.length())
        .contains(&clock.seconds(now))
        .then_some(now)
}

/// Refuses to plan a day from nothing while crews are at work by its published plan: what they have done and what they
/// have aboard would not be in it.
async fn refuse_under_way(
    transaction: &DatabaseTransaction,
    clock: &DayClock,
    published: &plan::Model,
    now: DateTime<Utc>,
) -> Result<(), Error> {
    let Some(words) = under_way(transaction, published, now).await? else {
        return Ok(());
    };
    let instead = if clock.seconds(now) > clock.length() + LATE_MAX {
        "its day is over: plan what is left of it on another"
    } else {
        "ask for proposals (ProposeReplan), which go on from how the day stands"
    };
    Err(Error::obstacle(
        ObstacleKind::DayUnderWay,
        name(&published.branch_id, &published.id),
        format!("{words}; {instead}"),
    ))
}

fn searched(
    turn: &Turn,
    now: DateTime<Utc>,
    request: &PlanRequest,
    inputs: &DayInputs,
) -> Result<StoredPlan, Error> {
    let day = DayProblem::until(inputs, turn.cancel()).map_err(|error| no_plan(inputs, error))?;
    let solved = turn.plan(&day.problem);
    turn.is_awaited()?;
    verified(&day, &solved.plan)?;
    let label = Label {
        day_revision: 0,
        created_by: request.actor.clone(),
        now,
        seed: request.settings.seed,
        iterations: i64::try_from(solved.iterations).unwrap_or(i64::MAX),
        cause: String::new(),
    };
    let reasons = reasons(inputs, &day, &solved.plan, turn.cancel());
    turn.is_awaited()?;
    Ok(rows(inputs, &day, &solved.plan, reasons, &label))
}

/// No plan leaves here that the planner's independent checker does not pass.
pub(super) fn verified(day: &DayProblem, plan: &forenoon_planner::Plan) -> Result<(), Error> {
    check(&day.problem, plan)
        .map(drop)
        .map_err(|violations| Error::Internal(format!("the plan breaks its rules: {violations:?}")))
}

/// Why there is nothing to plan, in a dispatcher's words: with the jobs that could be done and are another day's.
fn no_plan(inputs: &DayInputs, error: NoProblem) -> Error {
    let is_no_job = matches!(error, NoProblem::NoJob);
    let error = no_problem(&inputs.branch.id, error);
    let Error::Obstructed(mut obstacles) = error else {
        return error;
    };
    if is_no_job {
        let told = inputs.left_out.iter().take(LEFT_OUT_TOLD_MAX);
        obstacles.extend(told.filter_map(|left| {
            Some(Obstacle {
                kind: ObstacleKind::NoJob,
                subject: job::name(&inputs.branch.id, &left.job.id),
                description: left.reasons.0.first()?.text.clone(),
            })
        }));
    }
    Error::Obstructed(obstacles)
}

/// Why there is nothing to plan, in a dispatcher's words.
pub(super) fn no_problem(branch: &str, error: NoProblem) -> Error {
    match error {
        NoProblem::NoCrew(staying) if staying.is_empty() => Error::obstacle(
            ObstacleKind::NoCrew,
            format!("branches/{branch}"),
            "the branch has no crew; create one",
        ),
        NoProblem::NoJob => Error::obstacle(
            ObstacleKind::NoJob,
            format!("branches/{branch}"),
            "no job may be done on the day; enter one, or look at the jobs' windows",
        ),
        NoProblem::NoCrew(staying) => Error::Obstructed(
            staying
                .into_iter()
                .map(|(crew, why)| Obstacle {
                    kind: ObstacleKind::NoCrew,
                    subject: format!("branches/{branch}/crews/{crew}"),
                    description: stays_in_words(&why),
                })
                .collect(),
        ),
        NoProblem::Refused(refusals) => Error::Obstructed(
            refusals
                .into_iter()
                .map(|refusal| not_plannable(branch, refusal))
                .collect(),
        ),
        NoProblem::Travel(faults) if is_too_wide(&faults) => Error::obstacle(
            ObstacleKind::NotPlannable,
            format!("branches/{branch}"),
            format!("crews' bases and jobs' sites are more than {PLACES_MAX} places in one day"),
        ),
        NoProblem::Travel(faults) => Error::Internal(format!("drives of a day: {faults:?}")),
        NoProblem::Cancelled => Error::Internal("the caller is gone".to_owned()),
        NoProblem::Unsound(faults) => Error::Internal(format!("problem of a day: {faults}")),
    }
}

/// Whether drives cannot be reckoned for the number of places alone.
fn is_too_wide(faults: &[TravelFault]) -> bool {
    matches!(faults, [TravelFault::TooManyPlaces { .. }])
}

/// A record that keeps the day from being planned.
fn not_plannable(branch: &str, refusal: Refusal) -> Obstacle {
    let subject = match refusal.record {
        Record::Crew(id) => format!("branches/{branch}/crews/{id}"),
        Record::Unit(id) => format!("branches/{branch}/units/{id}"),
        Record::Job(id) => format!("branches/{branch}/jobs/{id}"),
        Record::Branch => format!("branches/{branch}"),
    };
    Obstacle {
        kind: ObstacleKind::NotPlannable,
        subject,
        description: format!("no day can be planned with it: {}", refusal.words),
    }
}

/// Why a crew stays in.
pub(super) fn stays_in_words(why: &StaysIn) -> String {
    match why {
        StaysIn::NoShift => "it has no shift that day".to_owned(),
        StaysIn::Absent => "it can't go on that day".to_owned(),
        StaysIn::NoWorkers => "nobody is in it".to_owned(),
        StaysIn::VehicleTaggedOut(unit) => format!("its vehicle {unit} is tagged out"),
        StaysIn::VehicleAway(unit) => format!("its vehicle {unit} is away"),
        StaysIn::VehicleTaken(unit) => format!("its vehicle {unit} is with another crew"),
    }
}

/// Stores a plan as a draft with the day's next revision.
pub struct StorePlan {
    /// The plan.
    pub draft: Draft,
    /// The lease under which it was made.
    pub lease: Lease,
    /// The branch for which it was made: its zone must be that still.
    pub branch: branch::Model,
}

impl Command for StorePlan {
    type Answer = StoredPlan;

    async fn run(
        &self,
        transaction: &DatabaseTransaction,
        now: DateTime<Utc>,
    ) -> Result<Accepted<StoredPlan>, Error> {
        settle(transaction, &self.lease).await?;
        refuse_moved(transaction, &self.branch).await?;
        let Accepted { answer, changes } = insert(transaction, from_ref(&self.draft), now).await?;
        let answer = answer.into_iter().next();
        let answer = answer.ok_or_else(|| Error::Internal("nothing was stored".to_owned()))?;
        Ok(Accepted { answer, changes })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Guards the dispatcher's way out of a day that cannot be planned: the record is named, and nothing is a fault of the
    /// server.
    #[test]
    fn a_record_beyond_what_can_be_planned_is_named() {
        let refusal = |record| Refusal {
            record,
            words: "too much".to_owned(),
        };
        let error = NoProblem::Refused(vec![
            refusal(Record::Crew("elm".to_owned())),
            refusal(Record::Unit("m-1".to_owned())),
            refusal(Record::Job("mow".to_owned())),
            refusal(Record::Branch),
        ]);
        let Error::Obstructed(obstacles) = no_problem("north", error) else {
            panic!("records stand in the way");
        };
        let subjects: Vec<&str> = obstacles.iter().map(|one| one.subject.as_str()).collect();
        assert_eq!(
            subjects,
            [
                "branches/north/crews/elm",
                "branches/north/units/m-1",
                "branches/north/jobs/mow",
                "branches/north"
            ]
        );
        let kinds = |one: &Obstacle| one.kind == ObstacleKind::NotPlannable;
        assert!(obstacles.iter().all(kinds));
    }
}
