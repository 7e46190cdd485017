//! Estimates, between wire and domain.

use forenoon_desk::estimate::{Answer, Factor, PriceLine, TaskAnswer};
use forenoon_proto::v1;
use forenoon_store::entity::branch;

use crate::edge::checks::Checks;
use crate::edge::name::parse;
use crate::edge::{exposure, money, time};
use crate::work;
use crate::work::job::{EstimateJob, Estimated};

use super::{convert, part};

/// The most units of a job: more go aboard no crew's truck.
const UNITS_MAX: usize = 100;
/// The name of a draft that has none.
const UNNAMED: &str = "draft";

/// The question, from the wire; `today` stands in for the windows of a draft without any.
pub(super) fn from_wire(
    checks: &mut Checks,
    branch: &branch::Model,
    wire: v1::EstimateJobRequest,
    today: chrono::NaiveDate,
) -> Option<EstimateJob> {
    let v1::EstimateJobRequest {
        parent: _,
        job,
        crew,
        units,
    } = wire;
    let job = checks.required("job", job);
    let job =
        job.and_then(|job| checks.within("job", |checks| estimated(checks, branch, job, today)));
    let crew = checks.reference("crew", &branch.id, "crews", &crew);
    checks.distinct("units", "", &units);
    let units = checks.each("units", units, UNITS_MAX, |checks, unit| {
        let id = checks.reference("", &branch.id, "units", &unit)?;
        checks.required("", id)
    });
    Some(EstimateJob {
        branch: branch.clone(),
        job: job?,
        crew: crew?,
        units: units?,
    })
}

fn estimated(
    checks: &mut Checks,
    branch: &branch::Model,
    mut job: v1::Job,
    today: chrono::NaiveDate,
) -> Option<Estimated> {
    let by_name = v1::Job {
        name: job.name.clone(),
        ..v1::Job::default()
    };
    if !job.name.is_empty() && job == by_name {
        return checks
            .reference("name", &branch.id, "jobs", &job.name)?
            .map(Estimated::Stored);
    }
    let changed = stored_id(branch, &job.name);
    if job.display_name.is_empty() {
        UNNAMED.clone_into(&mut job.display_name);
    }
    if job.windows.is_empty() && job.promise.is_none() {
        job.windows.push(v1::VisitWindow {
            first_day: Some(time::date(today)),
            last_day: Some(time::date(today)),
            times: Vec::new(),
        });
    }
    let id = changed.clone().unwrap_or_else(|| UNNAMED.to_owned());
    let row = Box::new(convert::from_wire(checks, branch, id, job)?);
    Some(if changed.is_some() {
        Estimated::Changed(row)
    } else {
        Estimated::Draft(row)
    })
}

/// The id in a job's name; none where it names no job of the branch, as a draft's may not.
fn stored_id(branch: &branch::Model, job: &str) -> Option<String> {
    let [of, id] = parse(["branches", "jobs"], job)?;
    (of == branch.id).then_some(id)
}

/// The answer as the wire has it.
pub(super) fn to_wire(answer: Answer, branch: &branch::Model) -> v1::Estimate {
    let Answer {
        tasks,
        median_minutes,
        ninth_decile_minutes,
        crew_size,
        price_lines,
        price_minor,
        earned_per_worker_hour_minor,
        notices,
        cautions,
        planned_minutes,
        waiting_minutes,
        exposure,
    } = answer;
    let amount = |minor: i64| money::money(minor, &branch.currency_code);
    v1::Estimate {
        tasks: tasks
            .into_iter()
            .map(|task| task_to_wire(task, &branch.id))
            .collect(),
        median_minutes,
        ninth_decile_minutes,
        crew_size: i32::from(crew_size),
        price_lines: price_lines
            .into_iter()
            .map(|PriceLine { label, minor }| v1::PriceLine {
                label,
                amount: Some(amount(minor)),
            })
            .collect(),
        price: price_minor.map(amount),
        earned_per_worker_hour: earned_per_worker_hour_minor.map(amount),
        notices,
        cautions,
        exposure: exposure.map(|told| exposure::to_wire(&branch.id, &told)),
        planned_minutes,
        waiting_minutes,
    }
}

fn task_to_wire(answer: TaskAnswer, branch: &str) -> v1::TaskEstimate {
    let TaskAnswer {
        task,
        unit_ids,
        median_minutes,
        log_deviation,
        factors,
        learned,
    } = answer;
    v1::TaskEstimate {
        task: Some(part::task_to_wire(task)),
        units: unit_ids
            .iter()
            .map(|id| work::unit::name(branch, id))
            .collect(),
        median_minutes,
        log_deviation,
        factors: factors
            .into_iter()
            .map(
                |Factor {
                     label,
                     value,
                     source,
                 }| v1::Factor {
                    label,
                    value,
                    source,
                },
            )
            .collect(),
        learned,
    }
}
