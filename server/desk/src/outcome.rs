//! The planner's answer as rows to store.

use std::sync::Arc;

use chrono::{DateTime, NaiveDate, Utc};
use forenoon_planner::plan::{CrewPlan, Stop, TaskPlan, Visit};
use forenoon_planner::problem::Progress;
use forenoon_planner::{CrewIx, JobIx, Plan, UnitIx};
use forenoon_store::entity::plan_draft::PlanParts;
use forenoon_store::entity::{job, plan, plan_crew_day, plan_stop, plan_unplanned};
use forenoon_store::value::{
    PlanChanges, PlanState, PlanTotals, PlannedBreak, PlannedBreaks, PlannedTask, PlannedTasks,
    Reasons, Words, YardStop, YardStops,
};

use forenoon_trade::rates::Rates;

use crate::crew_exposure::{days_of_gone, told};
use crate::inputs::{DayInputs, keeps_in};
use crate::leg::with_legs;
use crate::problem::DayProblem;
use crate::service::ServiceTable;
use crate::spells::load_outs;
use crate::stored_plan::StoredPlan;

/// What a plan's row says beside the plan itself.
#[derive(Clone, Debug)]
pub struct Label {
    /// Counts from 1 for each day.
    pub day_revision: i32,
    /// Who made it.
    pub created_by: String,
    /// When.
    pub now: DateTime<Utc>,
    /// The seed of its search.
    pub seed: i64,
    /// Iterations its search made.
    pub iterations: i64,
    /// What made it necessary, in words; empty for a first plan.
    pub cause: String,
}

/// Turns the planner's plan into rows. `reasons` are those of the unplanned jobs, in the plan's order.
pub fn rows(
    inputs: &DayInputs,
    day: &DayProblem,
    plan: &Plan,
    reasons: Vec<Reasons>,
    label: &Label,
) -> StoredPlan {
    let id = plan_id(inputs.clock.day(), label.day_revision);
    let plan = &with_legs(inputs, day, plan);
    let mut parts = PlanParts::default();
    let rates = Rates::default();
    let services = day.services(inputs, &rates);
    for (ix, crew_plan) in plan.crews.iter().enumerate() {
        crew_rows(
            &Rows {
                inputs,
                day,
                services: &services,
                id: &id,
            },
            CrewIx::from_ix(ix),
            crew_plan,
            &mut parts,
        );
    }
    let gone = days_of_gone(inputs, &day.crew_ids, &id);
    parts.crew_days.extend(gone);
    let place = |row: &plan_crew_day::Model| {
        let mut crews = inputs.crews.iter();
        crews.position(|crew| crew.id == row.crew_id)
    };
    parts.crew_days.sort_by_key(place);
    parts.load_outs = load_outs(inputs, day, plan, &id);
    parts.unplanned = unplanned_rows(inputs, day, &id, plan, reasons);
    StoredPlan {
        plan: plan_row(inputs, &id, plan, &parts, label),
        parts: Arc::new(parts),
    }
}

/// The id of a day's plan.
pub fn plan_id(day: NaiveDate, day_revision: i32) -> String {
    format!("{}-{day_revision}", day.format("%Y-%m-%d"))
}

/// Whether a plan's id is that of a revision of the same day as another's.
pub fn is_of_same_day(one: &str, other: &str) -> bool {
    let day = |id: &'_ str| id.rsplit_once('-').map(|(day, _)| day.to_owned());
    day(one).is_some_and(|known| day(other) == Some(known))
}

fn plan_row(
    inputs: &DayInputs,
    id: &str,
    plan: &Plan,
    parts: &PlanParts,
    label: &Label,
) -> plan::Model {
    let sum = |part: fn(&CrewPlan) -> i64| plan.crews.iter().map(part).sum::<i64>();
    let stops = plan.crews.iter().flat_map(|crew| &crew.stops);
    let fixed_work: i64 = stops
        .clone()
        .filter(|stop| stop.frozen)
        .map(|stop| stop.finish - stop.start)
        .sum();
    // The planner's own sums are of what is still to come.
    let fixed_stops = parts.stops.iter().filter(|stop| stop.fixed);
    let fixed_drive: i64 = fixed_stops.map(|stop| i64::from(stop.drive_seconds)).sum();
    plan::Model {
        branch_id: inputs.branch.id.clone(),
        id: id.to_owned(),
        day: inputs.clock.day(),
        day_revision: label.day_revision,
        state: PlanState::Draft,
        base_plan_id: inputs.base.as_ref().map(|(base, _)| base.plan.id.clone()),
        totals: PlanTotals {
            planned_jobs: count(stops.filter(|stop| stop.job().is_some()).count()),
            unplanned_jobs: count(plan.unplanned.len() + inputs.left_out.len()),
            travel_seconds: sum(|crew| crew.totals.drive_seconds) + fixed_drive,
            work_seconds: sum(|crew| crew.totals.work_seconds) + fixed_work,
            waiting_seconds: sum(|crew| crew.totals.wait_seconds),
            overtime_seconds: sum(|crew| crew.totals.overtime_seconds),
            cost_points: plan.cost.total().minor_units(),
            confidence_percent: inputs.confidence_percent,
        },
        seed: label.seed,
        iterations: label.iterations,
        cause: label.cause.clone(),
        changes: PlanChanges::default(),
        sites_to_phone: Words::default(),
        heat: inputs.heat,
        proposal: None,
        created_by: label.created_by.clone(),
        publish_time: None,
        revision: 1,
        create_time: label.now,
        update_time: label.now,
    }
}

/// What all rows of a plan are made with.
struct Rows<'a> {
    inputs: &'a DayInputs,
    day: &'a DayProblem,
    services: &'a ServiceTable<'a>,
    id: &'a str,
}

fn crew_rows(rows: &Rows<'_>, crew: CrewIx, plan: &CrewPlan, parts: &mut PlanParts) {
    let Rows {
        inputs, day, id, ..
    } = *rows;
    let crew_id = day.crew_id(crew);
    let name = inputs
        .crews
        .iter()
        .find(|known| known.id == crew_id)
        .map_or_else(String::new, |known| known.display_name.clone());
    let clock = &inputs.clock;
    let goes_out = !plan.stops.is_empty();
    let depart = plan
        .stops
        .first()
        .map(|stop| clock.instant(stop.arrival - stop.drive_seconds));
    let base_depart = inputs
        .base
        .as_ref()
        .and_then(|(base, _)| base.day_of(crew_id))
        .and_then(|known| known.depart_time);
    // Also where nothing of what it has begun is left.
    let already_out = matches!(day.problem.crew(crew).progress, Progress::UnderWay(_));
    let classes = &day.problem.parts().classes;
    let units = &day.problem.parts().units;
    let taken: u32 = plan
        .load_out
        .iter()
        .filter_map(|unit| units.get(unit.ix()))
        .filter_map(|unit| classes.get(unit.class.ix()))
        .map(|class| class.space)
        .sum();
    // Those that are over stay on the record of the day.
    let mut calls = inputs
        .calls_begun(crew_id)
        .cloned()
        .chain(plan.stops.iter().filter_map(|stop| yard_call(rows, stop)));
    parts.crew_days.push(plan_crew_day::Model {
        branch_id: inputs.branch.id.clone(),
        plan_id: id.to_owned(),
        crew_id: crew_id.to_owned(),
        crew_display_name: name,
        depart_time: if already_out && goes_out {
            base_depart.or(depart)
        } else {
            depart
        },
        return_time: goes_out.then(|| clock.instant(plan.back_at)),
        load_taken_litres: f64::from(taken),
        load_space_litres: f64::from(day.problem.crew(crew).load_space),
        overtime_seconds: narrow(plan.totals.overtime_seconds),
        exposure: None,
        yard_call: calls.next(),
        later_yard_calls: YardStops(calls.collect()),
        breaks: Some(breaks(inputs, crew_id, plan)),
    });
    if !goes_out && inputs.worked_by(crew_id).is_empty() {
        return;
    }
    let before = parts.stops.len();
    for (position, stop) in plan.stops.iter().enumerate() {
        if let Visit::Job { job, tasks } = &stop.visit {
            stop_rows(rows, crew, position, stop, (*job, tasks), parts);
        }
    }
    let exposure = told(inputs, crew_id, &parts.stops[before..]);
    if let Some(row) = parts.crew_days.last_mut() {
        row.exposure = exposure;
    }
}

/// A crew's breaks: those that it has had, and those to come.
fn breaks(inputs: &DayInputs, crew: &str, plan: &CrewPlan) -> PlannedBreaks {
    let instant = |at| inputs.clock.instant(at);
    let to_come = plan.breaks.iter().map(|one| PlannedBreak {
        start_time: instant(one.start),
        end_time: instant(one.finish),
    });
    PlannedBreaks(
        inputs
            .breaks_settled(crew)
            .cloned()
            .chain(to_come)
            .collect(),
    )
}

fn yard_call(rows: &Rows<'_>, stop: &Stop) -> Option<YardStop> {
    let (load, unload, with) = match &stop.visit {
        Visit::Yard { load, unload } => (load, unload, None),
        Visit::Meet { with, give, take } => (take, give, Some(*with)),
        Visit::Job { .. } => return None,
    };
    let site = || {
        let jobs = rows.day.problem.jobs();
        let there = jobs.iter().position(|job| job.place == stop.place)?;
        let id = rows.day.job_id(JobIx::from_ix(there));
        let job = rows.inputs.jobs.iter().find(|job| job.id == id)?;
        Some(job.site_id.clone())
    };
    let names = |units: &[UnitIx]| {
        units
            .iter()
            .map(|unit| rows.day.unit_id(*unit).to_owned())
            .collect()
    };
    Some(YardStop {
        arrive_time: rows.inputs.clock.instant(stop.arrival),
        start_time: Some(rows.inputs.clock.instant(stop.start)),
        leave_time: rows.inputs.clock.instant(stop.finish),
        load: names(load),
        unload: names(unload),
        with_crew_id: with.map(|crew| rows.day.crew_id(crew).to_owned()),
        site_id: with.and_then(|_| site()),
        drive_seconds: stop.drive_seconds,
    })
}

fn stop_rows(
    rows: &Rows<'_>,
    crew: CrewIx,
    position: usize,
    stop: &Stop,
    (number, tasks): (JobIx, &[TaskPlan]),
    parts: &mut PlanParts,
) {
    let Rows {
        inputs,
        day,
        services,
        id,
    } = *rows;
    let crew_id = day.crew_id(crew);
    let job_id = day.job_id(number);
    let Some(job) = inputs.jobs.iter().find(|known| known.id == job_id) else {
        return;
    };
    let clock = &inputs.clock;
    let earlier = inputs
        .base
        .as_ref()
        .and_then(|(base, _)| base.stop_of(job_id));
    let tasks = match earlier.filter(|_| stop.frozen) {
        // A stop that has begun is done as it was planned.
        Some(earlier) => {
            let tasks = without_tagged(inputs, earlier, clock.instant(stop.finish));
            with_overrun(inputs, earlier, tasks)
        }
        None => planned_tasks(
            day,
            job,
            tasks,
            &day.running_seconds(services, crew, number, tasks),
        ),
    };
    parts.stops.push(plan_stop::Model {
        branch_id: inputs.branch.id.clone(),
        plan_id: id.to_owned(),
        job_id: job_id.to_owned(),
        crew_id: crew_id.to_owned(),
        position: count(position),
        site_id: job.site_id.clone(),
        site_display_name: inputs
            .sites
            .get(&job.site_id)
            .map_or_else(String::new, |site| site.display_name.clone()),
        arrive_time: clock.instant(stop.arrival),
        start_time: clock.instant(stop.start),
        finish_time: clock.instant(stop.finish),
        drive_seconds: match earlier.filter(|_| stop.frozen) {
            Some(earlier) => earlier.drive_seconds,
            None => narrow(stop.drive_seconds),
        },
        slack_seconds: narrow(stop.slack_seconds),
        tasks,
        fixed: stop.frozen,
    });
}

/// The tasks of a stop that has begun, as they were planned. A unit that was tagged out before the end is named no more.
fn without_tagged(
    inputs: &DayInputs,
    stop: &plan_stop::Model,
    finish: DateTime<Utc>,
) -> PlannedTasks {
    let mut tasks = stop.tasks.clone();
    for task in &mut tasks.0 {
        let kind = task.kind;
        task.unit_ids.retain(|unit| {
            let holding = inputs
                .tags
                .get(unit)
                .filter(|tag| keeps_in(tag) || inputs.forbidden(unit).contains(&kind));
            let since = holding.and_then(|tag| tag.forbids_since(kind));
            since.is_none_or(|since| finish <= since)
        });
    }
    tasks
}

/// Tasks of a stop that has begun, with what its job newly takes longer, which is part of the first: what is left of them
/// later is reckoned from their lengths. What a stop took that is over is told by its visit.
fn with_overrun(
    inputs: &DayInputs,
    stop: &plan_stop::Model,
    mut tasks: PlannedTasks,
) -> PlannedTasks {
    let visit = inputs.visit_of(stop);
    let is_over = visit.is_some_and(|visit| visit.finish_time.is_some());
    let more = inputs.overruns.get(&stop.job_id).filter(|_| !is_over);
    if let (Some(more), Some(first)) = (more, tasks.0.first_mut()) {
        first.duration_seconds = first.duration_seconds.saturating_add(narrow(*more));
    }
    tasks
}

fn planned_tasks(
    day: &DayProblem,
    job: &job::Model,
    tasks: &[TaskPlan],
    running_seconds: &[i32],
) -> PlannedTasks {
    PlannedTasks(
        job.tasks
            .0
            .iter()
            .zip(tasks.iter().zip(running_seconds))
            .map(|(task, (planned, running_seconds))| PlannedTask {
                task_id: task.task_id.clone(),
                kind: task.kind,
                area_id: task.area_id.clone(),
                unit_ids: [planned.unit, planned.powerhead]
                    .into_iter()
                    .flatten()
                    .map(|unit| day.unit_id(unit).to_owned())
                    .collect(),
                duration_seconds: narrow(planned.seconds + planned.wait_seconds),
                running_seconds: *running_seconds,
            })
            .collect(),
    )
}

/// The unplanned jobs and those left out, most urgent first: by priority, then by how soon they must be done.
fn unplanned_rows(
    inputs: &DayInputs,
    day: &DayProblem,
    id: &str,
    plan: &Plan,
    reasons: Vec<Reasons>,
) -> Vec<plan_unplanned::Model> {
    let mut left: Vec<(&job::Model, Reasons)> = plan
        .unplanned
        .iter()
        .zip(reasons)
        .filter_map(|(ix, reasons)| {
            let id = day.job_id(*ix);
            let job = inputs.jobs.iter().find(|job| job.id == id)?;
            Some((job, reasons))
        })
        .chain(
            inputs
                .left_out
                .iter()
                .map(|left| (&left.job, left.reasons.clone())),
        )
        .collect();
    left.sort_by(|(a, _), (b, _)| {
        let urgency = |job: &job::Model| (-job.priority, job.deadline, job.last_day);
        urgency(a).cmp(&urgency(b)).then_with(|| a.id.cmp(&b.id))
    });
    left.into_iter()
        .enumerate()
        .map(|(position, (job, reasons))| plan_unplanned::Model {
            branch_id: inputs.branch.id.clone(),
            plan_id: id.to_owned(),
            job_id: job.id.clone(),
            position: count(position),
            job_display_name: job.display_name.clone(),
            reasons,
        })
        .collect()
}

fn count(count: usize) -> i32 {
    i32::try_from(count).unwrap_or(i32::MAX)
}

fn narrow(seconds: i64) -> i32 {
    i32::try_from(seconds).unwrap_or(i32::MAX)
}
