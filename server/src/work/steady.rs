//! The time as far as it can be believed: a clock that jumps forward while the server runs must not make kept things old.

use chrono::{DateTime, TimeDelta, Utc};
use tokio::time::Instant;

/// How far a clock may run ahead of the time that has passed: correcting a drift is no jump.
const AHEAD_MAX: TimeDelta = TimeDelta::minutes(10);

/// Follows a clock and holds it against the time that has passed.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Steady {
    told: DateTime<Utc>,
    at: Instant,
}

impl Steady {
    /// From a first reading, which is believed.
    pub(crate) fn from(now: DateTime<Utc>) -> Self {
        Self {
            told: now,
            at: Instant::now(),
        }
    }

    /// The earlier of what the clock says and what can have passed since the last reading.
    pub(crate) fn believe(&mut self, now: DateTime<Utc>) -> DateTime<Utc> {
        let passed = TimeDelta::from_std(self.at.elapsed()).unwrap_or(TimeDelta::MAX);
        let latest = self
            .told
            .checked_add_signed(passed)
            .and_then(|time| time.checked_add_signed(AHEAD_MAX))
            .unwrap_or(DateTime::<Utc>::MAX_UTC);
        *self = Self::from(Ord::min(now, latest));
        self.told
    }
}

#[cfg(test)]
mod tests {
    use std::time::Duration;

    use super::*;

    #[tokio::test(start_paused = true)]
    async fn a_jump_forward_is_not_believed_and_one_back_is() {
        let start = DateTime::from_timestamp(1_808_200_000, 0).expect("an instant");
        let mut steady = Steady::from(start);
        tokio::time::advance(Duration::from_hours(1)).await;
        let hour = start + TimeDelta::hours(1);
        assert_eq!(steady.believe(hour), hour);
        let year = hour + TimeDelta::days(365);
        assert_eq!(steady.believe(year), hour + AHEAD_MAX);
        let back = start - TimeDelta::days(1);
        assert_eq!(steady.believe(back), back);
    }
}
