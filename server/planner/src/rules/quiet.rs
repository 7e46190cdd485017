//! Quiet times: no noisy work goes on at the place.

use crate::Seconds;
use crate::problem::Job;

/// The end of the first quiet time that noisy work from `start` to `finish` would disturb.
pub(crate) fn disturbed_until(job: &Job, start: Seconds, finish: Seconds) -> Option<Seconds> {
    job.quiet
        .iter()
        .find(|quiet| start < quiet.close && quiet.open < finish)
        .map(|quiet| quiet.close)
}
