//! How many minor units of a branch's currency do what one does in the currency that our settings of worth are made for.

use crate::inputs::DayInputs;

/// An hour's work, minor units, in the currency that our settings are made for.
const USUAL_HOUR: i64 = 3_000;
/// Branches whose hour costs less than so many usual ones are planned with the settings as they are.
const SCALED_FROM: i64 = 3;
/// The most that settings are scaled by: beyond that sums of a large day could overflow, and the rate is more likely a
/// slip of the pen.
const SCALE_MAX: i64 = 2_000;

/// The whole number by which worths, which are settings of ours and on nobody's record, are multiplied. An hour of work costs
/// some 3,000 minor units in one currency, 20,000 in another and 300,000 in a third; with worths of the first an ordinary job
/// of the others would cost more than it is worth. So they grow with the branch's cost of an hour, from three times the
/// usual on, and never shrink. Common practice, no source.
pub(crate) fn money_scale(inputs: &DayInputs) -> i64 {
    let times = cost_of_an_hour(inputs) / USUAL_HOUR;
    if times < SCALED_FROM {
        1
    } else {
        times.min(SCALE_MAX)
    }
}

/// What an hour of one worker costs: by the branch's rule, or else the mean of those workers for whom it is on record.
fn cost_of_an_hour(inputs: &DayInputs) -> i64 {
    if let Some(labour) = inputs.branch.price.labour_per_hour_minor {
        return labour;
    }
    let workers = inputs.workers.iter();
    let (sum, count) = workers
        .filter_map(|worker| worker.cost_per_hour_minor)
        .fold((0_i64, 0_i64), |(sum, count), cost| {
            (sum.saturating_add(cost), count + 1)
        });
    sum.checked_div(count).unwrap_or(USUAL_HOUR)
}
