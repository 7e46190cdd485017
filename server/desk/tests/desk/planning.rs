//! Plans of the small branch, searched for and told.

use forenoon_desk::outcome::{Label, rows};
use forenoon_desk::problem::DayProblem;
use forenoon_desk::reasons::reasons;
use forenoon_desk::{DayInputs, StoredPlan};
use forenoon_planner::check::check;
use forenoon_planner::{Cancel, Heat, Iterations, Plan, Settings, solve};

use crate::fixture::EPOCH;

/// A plan found in so many iterations, within its rules.
pub(crate) fn searched(day: &DayProblem, iterations: u64) -> Plan {
    let settings = Settings {
        seed: 7,
        budget: &Iterations(iterations),
        cancel: &Cancel::new(),
        warm_start: None,
        heat: Heat::Full,
    };
    let plan = solve(&day.problem, &settings, &mut |_| {}).plan;
    check(&day.problem, &plan).expect("a plan within its rules");
    plan
}

/// A plan as rows: the day's first revision, or the next one after the plan gone on from.
pub(crate) fn told(inputs: &DayInputs, day: &DayProblem, plan: &Plan) -> StoredPlan {
    let before = inputs.base.as_ref();
    let label = Label {
        day_revision: before.map_or(0, |(base, _)| base.plan.day_revision) + 1,
        created_by: "dispatcher".to_owned(),
        now: EPOCH,
        seed: 7,
        iterations: 500,
        cause: String::new(),
    };
    let reasons = reasons(inputs, day, plan, &Cancel::new());
    rows(inputs, day, plan, reasons, &label)
}

/// The day planned in so many iterations.
pub(crate) fn planned(inputs: &DayInputs, iterations: u64) -> StoredPlan {
    let day = DayProblem::new(inputs).expect("a problem");
    told(inputs, &day, &searched(&day, iterations))
}
