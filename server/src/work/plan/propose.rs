//! Re-plans a published day from how it stands, and stores what came of it as drafts.

use std::panic::resume_unwind;
use std::thread;
use std::time::Instant;

use chrono::{DateTime, NaiveDate, Utc};
use forenoon_desk::causes::with_causes;
use forenoon_desk::changes::changes;
use forenoon_desk::drives::Drives;
use forenoon_desk::facts::{Outline, facts, outline};
use forenoon_desk::outcome::{Label, rows};
use forenoon_desk::problem::DayProblem;
use forenoon_desk::reasons::reasons;
use forenoon_desk::split::left_cost;
use forenoon_desk::warm::warm_start;
use forenoon_desk::{DayInputs, StoredPlan};
use forenoon_planner::replan::Proposal;
use forenoon_store::Database;
use forenoon_store::lease::Lease;
use forenoon_store::sea_orm::DatabaseTransaction;
use forenoon_store::value::{
    Disruptions, HeatForecast, PlanChanges, ProposalFacts, UnitKind, UnitMoved, Words,
};
use tracing::{debug, error};

use super::KnownRoads;
use super::day;
use super::late::LATE_MAX;
use super::learning::Learning;
use super::lease::settle;
use super::make::{no_problem, verified};
use super::prepare::prepare;
use super::read::published;
use super::solve::{SearchSettings, Searches, Turn, Wanted};
use super::write::{Draft, insert, next_revision};
use crate::work::{Accepted, Command, Error, ObstacleKind, Reason, Violation, row};

/// What to re-plan.
#[derive(Clone, Debug)]
pub struct ReplanRequest {
    /// The branch.
    pub branch: String,
    /// Its local date.
    pub day: NaiveDate,
    /// From when on things may change; none for now.
    pub from: Option<DateTime<Utc>>,
    /// What happened, in words.
    pub cause: String,
    /// What happened that no record tells.
    pub disruptions: Disruptions,
    /// Units whose service is due stay in.
    pub service_due_keeps_in: bool,
    /// Driving times that go before the branch's travel rule.
    pub drives: Drives,
    /// The weather of the hottest hour of work, where the caller gives it.
    pub heat: Option<HeatForecast>,
    /// How to search, in each strategy.
    pub settings: SearchSettings,
    /// Who asks.
    pub actor: String,
}

/// Searches for ways to go on with a day. Of those that give each job to the same crew with the same units one is kept.
/// The one that costs least comes first. Stores nothing.
///
/// # Errors
/// Obstacles where the day has no published plan or no crew goes out, and violations where a disruption names what is
/// not there.
pub async fn propose(
    database: &Database,
    (searches, learning, roads): (&Searches, &Learning, &KnownRoads),
    now: DateTime<Utc>,
    request: &ReplanRequest,
) -> Result<Vec<Draft>, Error> {
    let Gathered {
        mut inputs,
        next,
        read_at,
    } = gather(database, learning, now, request).await?;
    inputs.roads.clone_from(roads);
    let request = request.clone();
    searches
        .turn(Wanted::Proposals, request.settings, move |turn| {
            let mut plans = looked_for(turn, now, &request, &inputs)?;
            for facts in plans
                .iter_mut()
                .filter_map(|stored| stored.plan.proposal.as_mut())
            {
                facts.read_at = Some(read_at);
            }
            drafts(plans, next)
        })
        .await
}

/// The plans as drafts, numbered from the day's next revision.
fn drafts(plans: Vec<StoredPlan>, next: i32) -> Result<Vec<Draft>, Error> {
    let numbered = (next..).zip(plans);
    side_by_side(numbered, |(revision, stored)| Draft::new(stored, revision))
        .into_iter()
        .collect()
}

/// Works on each item on a thread of its own. What comes of them stands in their order.
fn side_by_side<T: Send, R: Send>(
    items: impl IntoIterator<Item = T>,
    work: impl Fn(T) -> R + Sync,
) -> Vec<R> {
    let work = &work;
    thread::scope(|scope| {
        let at_work: Vec<_> = items
            .into_iter()
            .map(|item| scope.spawn(move || work(item)))
            .collect();
        at_work
            .into_iter()
            .map(|one| one.join().unwrap_or_else(|panic| resume_unwind(panic)))
            .collect()
    })
}

fn looked_for(
    turn: &Turn,
    now: DateTime<Utc>,
    request: &ReplanRequest,
    inputs: &DayInputs,
) -> Result<Vec<StoredPlan>, Error> {
    let Some((base, _)) = &inputs.base else {
        return Err(Error::Internal("a re-plan without its base".to_owned()));
    };
    let began = Instant::now();
    let day = DayProblem::until(inputs, turn.cancel())
        .map_err(|error| no_problem(&request.branch, error))?;
    let made = began.elapsed();
    let before = warm_start(inputs, &day, base);
    let proposals = turn.proposals(&day.problem, &before);
    turn.is_awaited()?;
    let label = Label {
        day_revision: 0,
        created_by: request.actor.clone(),
        now,
        seed: request.settings.seed,
        iterations: request
            .settings
            .iterations
            .and_then(|count| i64::try_from(count).ok())
            .unwrap_or(0),
        cause: request.cause.clone(),
    };
    let searched = began.elapsed();
    let mut found: Vec<(Outline, StoredPlan)> = Vec::new();
    // Each checked and told.
    let all = side_by_side(&proposals, |proposal| {
        if !is_sound(&day, &proposal.plan)? {
            return Ok(None);
        }
        told(turn, inputs, base, &day, proposal, &label).map(Some)
    });
    for stored in all {
        let Some(stored) = stored? else { continue };
        // The cheapest of those that come to the same came first.
        let outline = outline(&stored);
        if found.iter().all(|(known, _)| *known != outline) {
            found.push((outline, stored));
        }
    }
    if let Some(part) = found.first().and_then(|(_, best)| inputs.split(best)) {
        let stored = in_part(turn, (inputs, &day), &part, base, &label)?;
        found.extend(stored.map(|stored| (outline(&stored), stored)));
        found.sort_by_key(|(_, stored)| stored.plan.totals.cost_points);
    }
    debug!(?made, ?searched, told = ?began.elapsed(), "proposed");
    if found.is_empty() {
        return Err(Error::Internal("a re-plan without a proposal".to_owned()));
    }
    Ok(found.into_iter().map(|(_, stored)| stored).collect())
}

/// Whether a proposal keeps to the rules. Where one does not, the planner is at fault; somebody waits for the others, so
/// that it is written to the log and left out. Tests, which run without optimisation, shall fail of it.
fn is_sound(day: &DayProblem, plan: &forenoon_planner::Plan) -> Result<bool, Error> {
    match verified(day, plan) {
        Err(fault) if cfg!(debug_assertions) => Err(fault),
        Err(fault) => {
            error!(%fault, "left a proposal out");
            Ok(false)
        }
        Ok(()) => Ok(true),
    }
}

/// The way on that does jobs in part; none where it has none of them after all.
fn in_part(
    turn: &Turn,
    (inputs, day): (&DayInputs, &DayProblem),
    part: &DayInputs,
    base: &StoredPlan,
    label: &Label,
) -> Result<Option<StoredPlan>, Error> {
    let of_part = DayProblem::until(part, turn.cancel())
        .map_err(|error| no_problem(&part.branch.id, error))?;
    let proposal = turn.adjusted(&of_part.problem, &warm_start(part, &of_part, base));
    if !is_sound(&of_part, &proposal.plan)? {
        return Ok(None);
    }
    let mut stored = told(turn, part, base, &of_part, &proposal, label)?;
    stored.plan.totals.cost_points += left_cost((inputs, day), (part, &of_part));
    let splits = |facts: &ProposalFacts| !facts.split.is_empty();
    Ok(stored
        .plan
        .proposal
        .as_ref()
        .is_some_and(splits)
        .then_some(stored))
}

/// A proposal as rows, with what it changes and what it comes to.
fn told(
    turn: &Turn,
    inputs: &DayInputs,
    base: &StoredPlan,
    day: &DayProblem,
    proposal: &Proposal,
    label: &Label,
) -> Result<StoredPlan, Error> {
    let plan = &proposal.plan;
    let reasons = reasons(inputs, day, plan, turn.cancel());
    turn.is_awaited()?;
    let mut stored = rows(inputs, day, plan, reasons, label);
    let changes = changes(inputs, base, &stored);
    stored.plan.proposal = Some(facts(
        inputs,
        base,
        &stored,
        (&changes.list, &changes.sites_to_phone),
    ));
    stored.plan.changes = PlanChanges(with_causes(
        inputs,
        (base, &stored),
        day,
        changes.list,
        proposal,
    ));
    stored.plan.sites_to_phone = Words(changes.sites_to_phone);
    Ok(stored)
}

/// What the search goes by.
struct Gathered {
    inputs: DayInputs,
    /// The day's next revision.
    next: i32,
    /// The number of the branch's last event.
    read_at: i64,
}

async fn gather(
    database: &Database,
    learning: &Learning,
    now: DateTime<Utc>,
    request: &ReplanRequest,
) -> Result<Gathered, Error> {
    let transaction = database.begin_read().await?;
    let read_at = row::last_event(&transaction, &request.branch).await?;
    let next = next_revision(&transaction, &request.branch, request.day).await?;
    let base = published(&transaction, &request.branch, request.day)
        .await?
        .ok_or_else(|| {
            Error::obstacle(
                ObstacleKind::NoPublishedPlan,
                format!("branches/{}", request.branch),
                format!(
                    "nothing is published for {}; plan the day and publish it",
                    request.day
                ),
            )
        })?;
    let from = request.from.unwrap_or(now);
    let mut inputs = day::inputs(
        &transaction,
        &request.branch,
        request.day,
        Some((base, from)),
    )
    .await?;
    if inputs.clock.seconds(from) > inputs.clock.length() + LATE_MAX {
        return Err(Error::violation(
            "from_time",
            Reason::OutOfRange,
            "is after the day; nothing of it can be planned any more",
        ));
    }
    let keeps_in = request.service_due_keeps_in;
    prepare(&transaction, learning, &mut inputs, keeps_in, now).await?;
    transaction.commit().await?;
    refuse_unknown(&inputs, &request.disruptions)?;
    inputs.drives.clone_from(&request.drives);
    // The weather that the day was planned for holds until somebody tells of another.
    let before = inputs.base.as_ref().and_then(|(base, _)| base.plan.heat);
    inputs.heat = request.heat.or(before);
    inputs.take_stock(request.disruptions.clone());
    Ok(Gathered {
        inputs,
        next,
        read_at,
    })
}

/// What a disruption names is there.
fn refuse_unknown(inputs: &DayInputs, disruptions: &Disruptions) -> Result<(), Error> {
    let moved = &disruptions.units_moved;
    let crew = disruptions
        .absent_crews
        .iter()
        .chain(&disruptions.present_crews)
        .chain(moved.iter().filter_map(|one| one.crew_id.as_ref()))
        .find(|id| !inputs.crews.iter().any(|crew| crew.id == **id));
    let worker = disruptions
        .absent_workers
        .iter()
        .chain(&disruptions.present_workers)
        .find(|id| !inputs.workers.iter().any(|worker| worker.id == **id));
    let job = disruptions
        .overruns
        .iter()
        .map(|overrun| &overrun.job_id)
        .find(|id| !inputs.jobs.iter().any(|job| job.id == **id));
    let unit = moved
        .iter()
        .map(|one| &one.unit_id)
        .find(|id| !inputs.units.iter().any(|unit| unit.id == **id));
    let faults: Vec<Violation> = [
        (crew, "crew of the branch"),
        (worker, "worker of the branch"),
        (job, "job that is open or planned on the day"),
        (unit, "unit of the branch in service"),
    ]
    .into_iter()
    .filter_map(|(unknown, what)| {
        Some(Violation {
            field: "disruptions".to_owned(),
            reason: Reason::UnknownReference,
            description: format!("{} is no {what}", unknown?),
        })
    })
    .chain(moved.iter().filter_map(|one| not_to_be_moved(inputs, one)))
    .collect();
    if faults.is_empty() {
        Ok(())
    } else {
        Err(Error::Invalid(faults))
    }
}

/// Why a unit can't be where it is said to have been moved: a truck is where its crew is, and a trailer is drawn by its own crew
/// alone, and by nobody while it is tagged out.
fn not_to_be_moved(inputs: &DayInputs, moved: &UnitMoved) -> Option<Violation> {
    let mut units = inputs.units.iter();
    let unit = units.find(|unit| unit.id == moved.unit_id)?;
    let draws = |crew: &str| {
        let mut crews = inputs.crews.iter().filter(|known| known.id == crew);
        crews.any(|known| known.trailer_id.as_ref() == Some(&unit.id))
    };
    let why = match (unit.kind, &moved.crew_id) {
        (UnitKind::Vehicle, _) => "is a vehicle; it is where its crew is",
        (UnitKind::Trailer, Some(_)) if inputs.is_tagged_out(&unit.id) => {
            "is tagged out; it stands by the road or in the yard"
        }
        (UnitKind::Trailer, Some(crew)) if !draws(crew) => "is not the trailer of that crew",
        _ => return None,
    };
    Some(Violation {
        field: "disruptions".to_owned(),
        reason: Reason::Conflict,
        description: format!("{} {why}", moved.unit_id),
    })
}

/// Stores proposals as drafts with the day's next revisions.
pub struct StoreProposals {
    /// The proposals, the one that costs least first.
    pub drafts: Vec<Draft>,
    /// The lease under which they were made.
    pub lease: Lease,
}

impl Command for StoreProposals {
    type Answer = Vec<StoredPlan>;

    async fn run(
        &self,
        transaction: &DatabaseTransaction,
        now: DateTime<Utc>,
    ) -> Result<Accepted<Vec<StoredPlan>>, Error> {
        settle(transaction, &self.lease).await?;
        insert(transaction, &self.drafts, now).await
    }
}
