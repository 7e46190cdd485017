//! The plan as a whole: every job once, and sums that add up.

use std::collections::BTreeMap;

use forenoon_proto::v1::{JobState, Plan};

use super::world::{World, length_seconds, seconds};
use super::{Breaches, Rule};

/// What rounding each part to whole minutes may cost, in seconds.
const ROUNDING_PER_PART: i64 = 60;

pub(super) fn check(world: &World, plan: &Plan, found: &mut Breaches) {
    let day = plan.day.as_ref().expect("a plan's day");
    let mut told: BTreeMap<&str, u32> = BTreeMap::new();
    let stops = plan.crew_days.iter().flat_map(|crew_day| &crew_day.stops);
    for stop in stops.clone() {
        *told.entry(&stop.job).or_default() += 1;
    }
    for unplanned in &plan.unplanned_jobs {
        *told.entry(&unplanned.job).or_default() += 1;
        let reasoned = unplanned
            .reasons
            .iter()
            .any(|reason| !reason.text.is_empty());
        found.demand(reasoned, Rule::Unplanned, || {
            format!("{} for no reason", unplanned.job)
        });
    }
    for (name, job) in &world.jobs {
        let wanted = matches!(job.state(), JobState::Unspecified | JobState::Open)
            && !world.windows(job, day).is_empty();
        let times = told.remove(name.as_str()).unwrap_or(0);
        found.demand(!wanted || times > 0, Rule::Unplanned, || {
            format!("{name} is forgotten")
        });
        found.demand(times <= 1, Rule::Job, || {
            format!("{name} stands {times} times")
        });
        found.demand(wanted || times == 0, Rule::Job, || {
            format!("{name} is not for that day")
        });
    }
    found.demand(told.is_empty(), Rule::Job, || {
        format!("unknown jobs: {told:?}")
    });

    let totals = plan.totals.as_ref().expect("sums");
    let planned = stops.clone().count();
    found.demand(
        same_count(totals.planned_jobs, planned),
        Rule::Totals,
        || format!("{planned} jobs planned, {} told", totals.planned_jobs),
    );
    let unplanned = plan.unplanned_jobs.len();
    found.demand(
        same_count(totals.unplanned_jobs, unplanned),
        Rule::Totals,
        || format!("{unplanned} jobs unplanned, {} told", totals.unplanned_jobs),
    );

    let parts = i64::try_from(planned + plan.crew_days.len()).unwrap_or(i64::MAX);
    let rounding = ROUNDING_PER_PART * parts;
    let drives: i64 = stops
        .clone()
        .map(|stop| length_seconds(stop.drive.as_ref()))
        .sum();
    let home: i64 = plan
        .crew_days
        .iter()
        .filter_map(|crew_day| {
            let last = seconds(crew_day.stops.last()?.finish_time.as_ref())?;
            Some(seconds(crew_day.return_time.as_ref())? - last)
        })
        .sum();
    let work: i64 = stops
        .filter_map(|stop| {
            Some(seconds(stop.finish_time.as_ref())? - seconds(stop.start_time.as_ref())?)
        })
        .sum();
    for (told, there_is, what) in [
        (&totals.travel, drives + home, "travel"),
        (&totals.work, work, "work"),
    ] {
        let told = length_seconds(told.as_ref());
        found.demand((told - there_is).abs() <= rounding, Rule::Totals, || {
            format!("{there_is} s of {what}, {told} s told")
        });
    }
}

fn same_count(told: i32, there_are: usize) -> bool {
    usize::try_from(told).is_ok_and(|told| told == there_are)
}
