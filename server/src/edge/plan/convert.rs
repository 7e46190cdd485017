//! Plans, from rows to the wire. Nothing of a plan comes in: only the planner makes them.

use forenoon_desk::StoredPlan;
use forenoon_desk::stored_plan::SharedUnit;
use forenoon_proto::v1;
use forenoon_store::entity::{
    branch, plan, plan_crew_day, plan_load_out, plan_stop, plan_unplanned,
};
use forenoon_store::value::{
    PlanChange, PlannedBreak, PlannedTask, ProposalFacts, Reason, SiteCall, UnitSystem, YardStop,
};

use super::words;
use crate::edge::name::in_branch;
use crate::edge::{contact, etag, exposure, heat, measure, money, task_kind, time};
use crate::work;

/// Plans made before it was kept are made for the median, which half of all tasks keep within.
const MEDIAN_PERCENT: i32 = 50;

/// A plan without its stops, as lists show it.
pub(super) fn summary(row: plan::Model, system: UnitSystem) -> v1::Plan {
    let etag = etag::of(&row);
    let plan::Model {
        branch_id,
        id,
        day,
        day_revision,
        state,
        base_plan_id,
        totals,
        seed,
        iterations,
        cause: _,
        changes: _,
        sites_to_phone: _,
        heat,
        proposal: _,
        created_by: _,
        publish_time,
        revision: _,
        create_time,
        update_time: _,
    } = row;
    v1::Plan {
        name: work::plan::name(&branch_id, &id),
        day: Some(time::date(day)),
        revision: day_revision,
        state: words::state(state).into(),
        base_plan: base_plan_id
            .map_or_else(String::new, |base| work::plan::name(&branch_id, &base)),
        crew_days: Vec::new(),
        unplanned_jobs: Vec::new(),
        totals: Some(v1::PlanTotals {
            planned_jobs: totals.planned_jobs,
            unplanned_jobs: totals.unplanned_jobs,
            travel: Some(time::duration(totals.travel_seconds)),
            work: Some(time::duration(totals.work_seconds)),
            waiting: Some(time::duration(totals.waiting_seconds)),
            overtime: Some(time::duration(totals.overtime_seconds)),
            cost_points: totals.cost_points,
        }),
        seed,
        iterations,
        etag,
        create_time: Some(time::timestamp(create_time)),
        publish_time: publish_time.map(time::timestamp),
        heat: heat.and_then(|forecast| heat::to_wire(&forecast, system)),
        confidence_percent: totals.confidence_percent.max(MEDIAN_PERCENT),
    }
}

/// A plan with its stops.
pub(crate) fn whole(stored: &StoredPlan, system: UnitSystem) -> v1::Plan {
    v1::Plan {
        crew_days: stored
            .parts
            .crew_days
            .iter()
            .map(|day| crew_day(stored, day, system))
            .collect(),
        unplanned_jobs: stored.parts.unplanned.iter().map(unplanned).collect(),
        ..summary(stored.plan.clone(), system)
    }
}

fn crew_break(one: &PlannedBreak) -> v1::CrewBreak {
    let PlannedBreak {
        start_time,
        end_time,
    } = *one;
    v1::CrewBreak {
        start_time: Some(time::timestamp(start_time)),
        end_time: Some(time::timestamp(end_time)),
    }
}

/// One crew's day.
pub(super) fn crew_day(
    stored: &StoredPlan,
    day: &plan_crew_day::Model,
    system: UnitSystem,
) -> v1::CrewDay {
    let branch = &day.branch_id;
    v1::CrewDay {
        crew: in_branch(branch, "crews", &day.crew_id),
        crew_display_name: day.crew_display_name.clone(),
        depart_time: day.depart_time.map(time::timestamp),
        return_time: day.return_time.map(time::timestamp),
        load_out: stored
            .load_out_of(&day.crew_id)
            .map(|unit| in_branch(branch, "units", unit))
            .collect(),
        load_taken: Some(measure::volume(day.load_taken_litres, system)),
        load_space: Some(measure::volume(day.load_space_litres, system)),
        stops: stored.stops_of(&day.crew_id).map(stop).collect(),
        overtime: Some(time::duration(i64::from(day.overtime_seconds))),
        yard_call: day.yard_call.as_ref().map(|call| yard_call(branch, call)),
        breaks: day
            .breaks
            .iter()
            .flat_map(|breaks| &breaks.0)
            .map(crew_break)
            .collect(),
        exposure: day
            .exposure
            .as_ref()
            .map(|told| exposure::to_wire(branch, told)),
        yard_calls: day
            .yard_calls()
            .map(|call| yard_call(branch, call))
            .collect(),
        shared_units: stored
            .shared_of(&day.crew_id)
            .map(|unit| shared_unit(branch, &unit))
            .collect(),
    }
}

fn shared_unit(branch: &str, unit: &SharedUnit<'_>) -> v1::SharedUnit {
    let crew = |spell: Option<&plan_load_out::Model>| {
        spell.map_or_else(String::new, |spell| {
            in_branch(branch, "crews", &spell.crew_id)
        })
    };
    v1::SharedUnit {
        unit: in_branch(branch, "units", &unit.spell.unit_id),
        from_crew: crew(unit.before),
        from_time: unit.spell.from_time.map(time::timestamp),
        to_crew: crew(unit.after),
        until_time: unit.spell.until_time.map(time::timestamp),
    }
}

fn yard_call(branch: &str, call: &YardStop) -> v1::YardCall {
    let YardStop {
        arrive_time,
        start_time,
        leave_time,
        load,
        unload,
        with_crew_id,
        site_id,
        // Part of the cost that proposals tell.
        drive_seconds: _,
    } = call;
    let names = |ids: &[String]| {
        ids.iter()
            .map(|id| in_branch(branch, "units", id))
            .collect()
    };
    v1::YardCall {
        arrive_time: Some(time::timestamp(*arrive_time)),
        leave_time: Some(time::timestamp(*leave_time)),
        load: names(load),
        unload: names(unload),
        with_crew: with_crew_id
            .as_ref()
            .map_or_else(String::new, |id| in_branch(branch, "crews", id)),
        site: site_id
            .as_ref()
            .map_or_else(String::new, |id| in_branch(branch, "sites", id)),
        start_time: Some(time::timestamp(start_time.unwrap_or(*arrive_time))),
    }
}

fn stop(row: &plan_stop::Model) -> v1::Stop {
    let branch = &row.branch_id;
    v1::Stop {
        job: in_branch(branch, "jobs", &row.job_id),
        site: in_branch(branch, "sites", &row.site_id),
        site_display_name: row.site_display_name.clone(),
        arrive_time: Some(time::timestamp(row.arrive_time)),
        start_time: Some(time::timestamp(row.start_time)),
        finish_time: Some(time::timestamp(row.finish_time)),
        drive: Some(time::duration(i64::from(row.drive_seconds))),
        slack: Some(time::duration(i64::from(row.slack_seconds))),
        tasks: row
            .tasks
            .0
            .iter()
            .map(|task| planned_task(branch, task))
            .collect(),
        fixed: row.fixed,
    }
}

fn planned_task(branch: &str, task: &PlannedTask) -> v1::PlannedTask {
    let PlannedTask {
        task_id,
        kind,
        area_id,
        unit_ids,
        duration_seconds,
        running_seconds: _,
    } = task;
    v1::PlannedTask {
        task_id: task_id.clone(),
        kind: task_kind::to_wire(*kind).into(),
        area_id: area_id.clone().unwrap_or_default(),
        units: unit_ids
            .iter()
            .map(|unit| in_branch(branch, "units", unit))
            .collect(),
        duration: Some(time::duration(i64::from(*duration_seconds))),
    }
}

fn unplanned(row: &plan_unplanned::Model) -> v1::UnplannedJob {
    v1::UnplannedJob {
        job: in_branch(&row.branch_id, "jobs", &row.job_id),
        job_display_name: row.job_display_name.clone(),
        reasons: row
            .reasons
            .0
            .iter()
            .map(
                |Reason {
                     kind,
                     later_kind,
                     remedy: _,
                     text,
                     subjects,
                 }| v1::Reason {
                    kind: later_kind
                        .map_or(words::reason_kind(*kind), words::later_reason_kind)
                        .into(),
                    text: text.clone(),
                    subjects: subjects.clone(),
                },
            )
            .collect(),
        remedy: row
            .reasons
            .0
            .iter()
            .find_map(|reason| reason.remedy)
            .map_or(v1::Remedy::Unspecified, words::remedy)
            .into(),
    }
}

/// A proposal.
pub(super) fn proposal(stored: &StoredPlan, branch: &branch::Model) -> v1::Proposal {
    let plan = &stored.plan;
    let ProposalFacts {
        title,
        extra_cost_minor,
        broken_promises,
        kept_promises,
        missed_deadlines,
        calls,
        continued: _,
        worked: _,
        split: _,
        disruptions: _,
        out: _,
        missing: _,
        moved: _,
        standing: _,
        read_at: _,
        published_then: _,
    } = plan.proposal.clone().unwrap_or_default();
    let jobs = |ids: Vec<String>| {
        ids.iter()
            .map(|id| in_branch(&plan.branch_id, "jobs", id))
            .collect()
    };
    v1::Proposal {
        plan: Some(whole(stored, branch.unit_system)),
        title,
        extra_cost: Some(money::money(extra_cost_minor, &branch.currency_code)),
        broken_promises: jobs(broken_promises),
        kept_promises: jobs(kept_promises),
        missed_deadlines: jobs(missed_deadlines),
        calls: calls
            .into_iter()
            .map(|call| customer_call(&plan.branch_id, call))
            .collect(),
        changes: plan
            .changes
            .0
            .iter()
            .map(|one| change(&plan.branch_id, one))
            .collect(),
        cause: plan.cause.clone(),
        sites_to_phone: plan
            .sites_to_phone
            .0
            .iter()
            .map(|site| in_branch(&plan.branch_id, "sites", site))
            .collect(),
    }
}

fn customer_call(branch: &str, call: SiteCall) -> v1::CustomerCall {
    let SiteCall {
        site_id,
        text,
        contact,
    } = call;
    v1::CustomerCall {
        site: in_branch(branch, "sites", &site_id),
        text,
        contact: contact.map(contact::contact),
    }
}

fn change(branch: &str, change: &PlanChange) -> v1::PlanChange {
    let PlanChange {
        kind,
        text,
        job_id,
        from_crew_id,
        to_crew_id,
        unit_id,
        shift_seconds,
    } = change;
    let name = |collection: &str, id: &Option<String>| {
        id.as_ref()
            .map_or_else(String::new, |id| in_branch(branch, collection, id))
    };
    v1::PlanChange {
        kind: words::change_kind(*kind).into(),
        text: text.clone(),
        job: name("jobs", job_id),
        from_crew: name("crews", from_crew_id),
        to_crew: name("crews", to_crew_id),
        unit: name("units", unit_id),
        shift: Some(time::duration(*shift_seconds)),
    }
}
