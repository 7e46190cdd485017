//! What work does to machines, and what that costs.
//!
//! Machines age by **effective hours**: run hours times a severity, because an hour in standing
//! growth wears more than an hour on a kept lawn. Service, repair cost and the reserve charged to
//! a job all go by effective hours.

mod money;
mod reliability;
mod repair;
mod service;

pub use money::{Keep, Machine, Verdict, capital_recovery, straight_line, yearly_recovery};
pub use reliability::Record;
pub use repair::{
    CUTTERBAR_MOWER, FOUR_WHEEL_TRACTOR, ROTARY_MOWER, Remaining, Repair, SMALL_MOWER,
    TRACTOR_30_TO_79_HP, TRACTOR_80_TO_149_HP, TRACTOR_FROM_150_HP, TWO_WHEEL_TRACTOR,
};
pub use service::{Interval, Severity};
