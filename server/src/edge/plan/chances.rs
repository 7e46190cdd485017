//! How a plan may go, onto the wire.

use forenoon_desk::StoredPlan;
use forenoon_proto::v1;
use forenoon_store::entity::plan_stop;

use crate::edge::name::in_branch;
use crate::edge::time;
use crate::work;
use crate::work::plan::{Assessed, CrewChance};

/// The answer to a call that asked for so many runs.
pub(super) fn to_wire(assessed: &Assessed, runs: u32) -> v1::AssessPlanResponse {
    let Assessed {
        stored,
        from,
        promises,
        crews,
        most_endangering,
        jobs_to_replan,
    } = assessed;
    let branch = &stored.plan.branch_id;
    v1::AssessPlanResponse {
        plan: work::plan::name(branch, &stored.plan.id),
        from_time: Some(time::timestamp(*from)),
        runs: i32::try_from(runs).unwrap_or(i32::MAX),
        promises: promises
            .iter()
            .filter_map(|(job, kept)| {
                let stop = stored.stop_of(job)?;
                Some(promise(stop, *kept))
            })
            .collect(),
        crews: crews.iter().map(|chance| crew(stored, chance)).collect(),
        most_endangering: most_endangering.as_ref().and_then(|(job, seconds)| {
            let stop = stored.stop_of(job)?;
            Some(v1::StopTrouble {
                job: in_branch(branch, "jobs", &stop.job_id),
                site_display_name: stop.site_display_name.clone(),
                crew: in_branch(branch, "crews", &stop.crew_id),
                trouble_mean: Some(time::duration(whole(*seconds))),
            })
        }),
        jobs_to_replan: jobs_to_replan
            .iter()
            .map(|job| in_branch(branch, "jobs", job))
            .collect(),
    }
}

fn promise(stop: &plan_stop::Model, kept: f64) -> v1::PromiseChance {
    let branch = &stop.branch_id;
    v1::PromiseChance {
        job: in_branch(branch, "jobs", &stop.job_id),
        site_display_name: stop.site_display_name.clone(),
        crew: in_branch(branch, "crews", &stop.crew_id),
        kept,
    }
}

fn crew(stored: &StoredPlan, chance: &CrewChance) -> v1::CrewChance {
    let CrewChance { crew, risk } = chance;
    let name = stored.day_of(crew).map(|day| &day.crew_display_name);
    v1::CrewChance {
        crew: in_branch(&stored.plan.branch_id, "crews", crew),
        crew_display_name: name.cloned().unwrap_or_default(),
        overtime: risk.overtime,
        overtime_mean: Some(time::duration(whole(risk.overtime_seconds_mean))),
        overtime_p90: Some(time::duration(risk.overtime_seconds_p90)),
        over_limit: risk.over_limit,
    }
}

#[expect(
    clippy::cast_possible_truncation,
    reason = "a mean of parts of a day, which fits by far"
)]
fn whole(seconds: f64) -> i64 {
    seconds.round() as i64
}
