//! How often a machine fails, and how long it is out.
//!
//! Terms as in MIL-HDBK-338B and IEC 61703, from memory: the mean time between failures of a repaired item is its
//! operating time over its failures; the mean time to repair is the time it was out over the repairs. Both are estimates
//! from what was recorded. With an exponential life the first is also the maximum-likelihood estimate, the run since the
//! last failure counted as cut short.

use crate::fault::{Fault, within};
use crate::units::Hours;

/// What is known of a machine's failures.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Record {
    /// Hours it ran, 0 to 1 000 000. Effective hours, where wear differs from job to job.
    pub operated: Hours,
    /// Failures in that time.
    pub failures: u32,
    /// Hours it was out in all, over the repairs that ended, 0 to 1 000 000.
    pub out: Hours,
    /// Repairs that ended.
    pub repairs: u32,
}

impl Record {
    /// Mean time between failures; none where it never failed.
    ///
    /// # Errors
    /// Hours out of bounds.
    pub fn between_failures(&self) -> Result<Option<Hours>, Fault> {
        let operated = within(
            "reliability.operated_hours",
            self.operated.value(),
            0.0,
            1e6,
        )?;
        Ok((self.failures > 0).then(|| Hours::new(operated / f64::from(self.failures))))
    }

    /// Mean time to repair; none where no repair has ended.
    ///
    /// # Errors
    /// Hours out of bounds.
    pub fn to_repair(&self) -> Result<Option<Hours>, Fault> {
        let out = within("reliability.out_hours", self.out.value(), 0.0, 1e6)?;
        Ok((self.repairs > 0).then(|| Hours::new(out / f64::from(self.repairs))))
    }
}
