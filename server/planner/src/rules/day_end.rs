//! The end of a crew's day: overtime, exposure over the limit, and more than a fair share of work.

use crate::Seconds;
use crate::cost::Cost;
use crate::problem::{Crew, Weights};

/// Seconds after the end of the shift.
pub(crate) fn overtime_seconds(crew: &Crew, back_at: Seconds) -> Seconds {
    (back_at - crew.shift_end).max(0)
}

/// The extra for overtime.
pub(crate) fn overtime_cost(crew: &Crew, weights: &Weights, back_at: Seconds) -> Cost {
    Cost::time(
        crew.overtime_per_hour,
        overtime_seconds(crew, back_at),
        weights.overtime_permille,
    )
}

/// Points over the limit.
pub(crate) fn exposure_cost(crew: &Crew, weights: &Weights, exposure: i64) -> Cost {
    let over = crew
        .exposure_limit
        .map_or(0, |limit| (exposure - i64::from(limit)).max(0));
    Cost::money(weights.exposure_point * over, 1_000)
}

/// Hours of driving and working over the fair share.
pub(crate) fn unfair_cost(crew: &Crew, weights: &Weights, busy: Seconds) -> Cost {
    let over = crew.fair_load.map_or(0, |fair| (busy - fair).max(0));
    Cost::time(weights.unfair_per_hour, over, 1_000)
}
