//! Why jobs do not fit, in a dispatcher's words.

use forenoon_planner::Plan;
use forenoon_store::value::Reasons;

use crate::inputs::DayInputs;
use crate::problem::DayProblem;

/// The reasons of the unplanned jobs, in the plan's order.
pub fn reasons(_inputs: &DayInputs, _day: &DayProblem, plan: &Plan) -> Vec<Reasons> {
    plan.unplanned.iter().map(|_| Reasons::default()).collect()
}
