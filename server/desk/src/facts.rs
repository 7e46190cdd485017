//! What a proposal says beside its stops: what it is, what it costs more, which promises it keeps, whom to phone.

use std::collections::{BTreeMap, BTreeSet};

use chrono::{DateTime, Utc};
use forenoon_planner::problem::Weights;
use forenoon_store::entity::{crew, plan_crew_day, plan_stop};
use forenoon_store::value::{Continued, PlanChange, PlanChangeKind, ProposalFacts};

use crate::calls::calls;
use crate::changes::is_over;
use crate::deadlines::missed;
use crate::inputs::DayInputs;
use crate::promises::promises;
use crate::scale::money_scale;
use crate::stored_plan::StoredPlan;
use crate::visit::seconds_between;
use crate::worked::with_units_gone;

/// Overtime is paid half as much again. Common practice, no source.
const OVERTIME_EXTRA_DIVISOR: i64 = 2;
const SECONDS_PER_HOUR: i64 = 3_600;

/// What a plan does with each job, whatever the minute: two plans with the same outline are one proposal.
#[derive(Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Outline {
    stops: BTreeMap<String, (String, BTreeSet<String>)>,
    /// What each crew takes on the way, and from which crew.
    fetched: BTreeMap<String, Vec<String>>,
}

/// The outline of a plan.
pub fn outline(plan: &StoredPlan) -> Outline {
    Outline {
        stops: plan
            .parts
            .stops
            .iter()
            .map(|stop| {
                let units = stop
                    .tasks
                    .unit_ids()
                    .into_iter()
                    .map(str::to_owned)
                    .collect();
                (stop.job_id.clone(), (stop.crew_id.clone(), units))
            })
            .collect(),
        fetched: plan
            .calls()
            .map(|(day, call)| {
                let from = call.with_crew_id.iter();
                (
                    day.crew_id.clone(),
                    from.chain(&call.load).cloned().collect(),
                )
            })
            .collect(),
    }
}

/// What to say of a plan made in place of another, with its changes and the sites to phone.
pub fn facts(
    inputs: &DayInputs,
    before: &StoredPlan,
    after: &StoredPlan,
    (changes, sites_to_phone): (&[PlanChange], &[String]),
) -> ProposalFacts {
    let (kept_promises, broken_promises) = promises(inputs, before, after);
    ProposalFacts {
        title: title(inputs, before, after, changes),
        extra_cost_minor: cost(inputs, after) - cost(inputs, before),
        broken_promises,
        kept_promises,
        missed_deadlines: missed(inputs, before, after).into_keys().collect(),
        calls: sites_to_phone
            .iter()
            .flat_map(|site| calls(inputs, before, after, site))
            .collect(),
        continued: continued(inputs, before, after),
        worked: {
            let mut worked = inputs.worked();
            worked.extend(with_units_gone(inputs, before, after));
            worked
        },
        split: inputs
            .split
            .values()
            .filter(|split| after.stop_of(&split.job_id).is_some())
            .cloned()
            .collect(),
        disruptions: inputs.disruptions.clone(),
        out: inputs.units_out(after),
        missing: inputs.units_missing(),
        moved: inputs.units_moved(),
        standing: inputs.standing(after),
        read_at: None,
        published_then: None,
    }
}

/// The jobs broken off, whose stops in the plan are for the rest: those of now, and those that go on since an earlier plan, as
/// their stops are for the rest still. Of those that the plan leaves it is known what is left, should they be done on the day
/// after all.
fn continued(inputs: &DayInputs, before: &StoredPlan, after: &StoredPlan) -> Vec<Continued> {
    let now = inputs.continued.values();
    let earlier = before
        .plan
        .proposal
        .iter()
        .flat_map(|facts| &facts.continued);
    let going_on = earlier.filter(|left| {
        let job = left.job_id.as_str();
        let same_crew = |stop: &plan_stop::Model| {
            stop.fixed
                && before
                    .stop_of(job)
                    .is_some_and(|old| old.crew_id == stop.crew_id)
        };
        !inputs.continued.contains_key(job) && after.stop_of(job).is_some_and(same_crew)
    });
    now.chain(going_on).cloned().collect()
}

/// What the plan does, in a few words.
fn title(
    inputs: &DayInputs,
    before: &StoredPlan,
    after: &StoredPlan,
    changes: &[PlanChange],
) -> String {
    let count = |kind: PlanChangeKind| changes.iter().filter(|change| change.kind == kind).count();
    let jobs = |count: usize| {
        if count == 1 {
            "1 job".to_owned()
        } else {
            format!("{count} jobs")
        }
    };
    let taking = || {
        after.calls().filter(|(day, call)| {
            let had = |unit: &String| before.load_out_of(&day.crew_id).any(|had| had == unit);
            call.load.iter().any(|unit| !had(unit))
        })
    };
    let mut parts = Vec::new();
    if taking().any(|(_, call)| call.with_crew_id.is_none()) {
        parts.push("fetch units from the yard".to_owned());
    }
    for (day, call) in taking() {
        if let Some(giver) = &call.with_crew_id {
            let name = after
                .day_of(giver)
                .map_or(giver, |known| &known.crew_display_name);
            parts.push(format!(
                "{} meets {name} and takes a unit over",
                day.crew_display_name
            ));
        }
    }
    let of_two_crews = inputs
        .continued
        .values()
        .filter(|left| {
            let job = left.job_id.as_str();
            let crew = |plan: &StoredPlan| plan.stop_of(job).map(|stop| stop.crew_id.clone());
            // What an earlier plan has split already is nothing that this one does.
            crew(after).is_some_and(|new| new != left.crew_id && crew(before) != Some(new))
        })
        .count();
    if of_two_crews > 0 {
        parts.push(format!("split {} between two crews", jobs(of_two_crews)));
    }
    if count(PlanChangeKind::Split) > 0 {
        parts.push(format!(
            "do a part of {} and the rest another day",
            jobs(count(PlanChangeKind::Split))
        ));
    }
    let given = count(PlanChangeKind::Crew).saturating_sub(of_two_crews);
    if given > 0 {
        parts.push(format!("give {} to other crews", jobs(given)));
    }
    if count(PlanChangeKind::Unit) > 0 && taking().next().is_none() {
        parts.push("use other units aboard".to_owned());
    }
    let deferred = changes
        .iter()
        .filter(|change| change.kind == PlanChangeKind::Dropped)
        .filter(|change| {
            change
                .job_id
                .as_ref()
                .is_some_and(|job| is_over(inputs, job).is_none())
        })
        .count();
    if deferred > 0 {
        parts.push(format!("defer {}", jobs(deferred)));
    }
    if count(PlanChangeKind::Added) > 0 {
        parts.push(format!("take {} in", jobs(count(PlanChangeKind::Added))));
    }
    if parts.is_empty() && count(PlanChangeKind::Time) > 0 {
        parts.push(format!("shift {}", jobs(count(PlanChangeKind::Time))));
    }
    if parts.is_empty() {
        "go on as planned".to_owned()
    } else {
        parts.join(", ")
    }
}

/// Wages from leaving to coming back, overtime and driving, minor units.
fn cost(inputs: &DayInputs, plan: &StoredPlan) -> i64 {
    plan.parts
        .crew_days
        .iter()
        .map(|day| crew_cost(inputs, plan, day))
        .sum()
}

fn crew_cost(inputs: &DayInputs, plan: &StoredPlan, day: &plan_crew_day::Model) -> i64 {
    let (Some(depart), Some(back)) = (day.depart_time, day.return_time) else {
        return 0;
    };
    let Some(crew) = inputs.crews.iter().find(|crew| crew.id == day.crew_id) else {
        return 0;
    };
    let wage = wage_per_hour(inputs, crew);
    let out = (back - depart).num_seconds().max(0);
    let overtime = i64::from(day.overtime_seconds);
    let to_stops = plan.stops_of(&day.crew_id);
    let to_stops: i64 = to_stops.map(|stop| i64::from(stop.drive_seconds)).sum();
    let to_calls: i64 = day.yard_calls().map(|call| call.drive_seconds).sum();
    let driving = to_stops + to_calls + drive_home(plan, day, back);
    let metres_per_hour = metres(inputs.branch.travel.kilometres_per_hour);
    let distance = driving * metres_per_hour / SECONDS_PER_HOUR;
    wage * out / SECONDS_PER_HOUR
        + wage / OVERTIME_EXTRA_DIVISOR * overtime / SECONDS_PER_HOUR
        + distance * Weights::default().distance_per_km * money_scale(inputs) / 1_000
}

/// Seconds of the drive home from where a crew is last, less the breaks on the way.
fn drive_home(plan: &StoredPlan, day: &plan_crew_day::Model, back: DateTime<Utc>) -> i64 {
    let stops = plan.stops_of(&day.crew_id).map(|stop| stop.finish_time);
    let calls = day.yard_calls().map(|call| call.leave_time);
    let Some(last) = stops.chain(calls).max() else {
        return 0;
    };
    let breaks = day.breaks.iter().flat_map(|breaks| &breaks.0);
    let rested: i64 = breaks
        .map(|one| seconds_between(last, back, one.start_time, one.end_time))
        .sum();
    ((back - last).num_seconds() - rested).max(0)
}

/// The wages of all of the crew who are there.
fn wage_per_hour(inputs: &DayInputs, crew: &crew::Model) -> i64 {
    let usual = inputs.branch.price.labour_per_hour_minor.unwrap_or(0);
    inputs
        .workers
        .iter()
        .filter(|worker| worker.crew_id.as_deref() == Some(crew.id.as_str()))
        .filter(|worker| !inputs.is_absent(&worker.id))
        .map(|worker| worker.cost_per_hour_minor.unwrap_or(usual))
        .sum()
}

#[expect(
    clippy::cast_possible_truncation,
    reason = "clamped to a range that fits"
)]
fn metres(kilometres: f64) -> i64 {
    (kilometres * 1_000.0).clamp(0.0, 1.0e6).round() as i64
}
