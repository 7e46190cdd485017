//! Times on the branch's wall clock.

use chrono::Weekday;
use serde::{Deserialize, Serialize};

use super::json_list;

/// A stretch of the day on the branch's wall clock. Seconds since local midnight, 86,400 being the
/// midnight that ends the day.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct DayTimes {
    /// First moment.
    pub start_second_of_day: i32,
    /// Last moment, after the first.
    pub end_second_of_day: i32,
}

/// Working time on one day of the week.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Shift {
    /// The day of the week.
    pub day: Weekday,
    /// When on that day.
    #[serde(flatten)]
    pub times: DayTimes,
}

json_list!(
    /// A crew's shifts.
    Shifts of Shift
);
