//! Lateness: work finished after it is due.

use crate::Seconds;
use crate::cost::Cost;
use crate::problem::{Job, Weights};

/// Cost by the hours after the due instant.
pub(crate) fn cost(job: &Job, weights: &Weights, finish: Seconds) -> Cost {
    match job.due {
        Some(due) if finish > due.at => {
            Cost::time(due.cost_per_hour, finish - due.at, weights.late_permille)
        }
        _ => Cost::ZERO,
    }
}
