//! Daily hand-arm vibration.
//!
//! ```text
//! A(8) = sqrt(sum(a^2 x T) / 8 h)        points = sum(2 x a^2 x T)
//! ```
//!
//! `a` in m/s2, `T` in hours of trigger time. Directive 2002/44/EC: action value 2.5, limit value
//! 5 m/s2 for eight hours. Points: the HSE ready-reckoner, 100 at the action value and 400 at the
//! limit, so `points = 100 x (A(8) / 2.5)^2`. Limits are a company's settings.

use super::Standing;
use crate::fault::{Fault, within};
use crate::units::{Hours, MetresPerSecondSquared, Minutes};

/// The levels a company plans by.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Limits {
    /// Daily exposure from which to act.
    pub action: MetresPerSecondSquared,
    /// Daily exposure not to exceed.
    pub limit: MetresPerSecondSquared,
}

/// The values of Directive 2002/44/EC, article 3(1).
pub const DIRECTIVE: Limits = Limits {
    action: MetresPerSecondSquared::new(2.5),
    limit: MetresPerSecondSquared::new(5.0),
};

/// A day's vibration.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Exposure {
    /// A(8).
    pub daily: MetresPerSecondSquared,
    /// Exposure points.
    pub points: f64,
    /// Where it stands.
    pub standing: Standing,
}

impl Limits {
    /// The exposure of a day of parts, each at one acceleration for some trigger time.
    ///
    /// # Errors
    /// An acceleration outside 0 to 100 m/s2, a time outside 0 to 1440 min, or parts longer than
    /// a day together.
    pub fn day(&self, parts: &[(MetresPerSecondSquared, Minutes)]) -> Result<Exposure, Fault> {
        let mut points = 0.0;
        for (acceleration, time) in parts {
            let a = within(
                "vibration.acceleration_metres_per_second_squared",
                acceleration.value(),
                0.0,
                100.0,
            )?;
            let t = within("vibration.trigger_minutes", time.value(), 0.0, 1440.0)?;
            points += 2.0 * a * a * t / 60.0;
        }
        let day: Minutes = parts.iter().map(|(_, time)| *time).sum();
        within("vibration.day_minutes", day.value(), 0.0, 1440.0)?;
        let daily = 2.5 * (points / 100.0).sqrt();
        Ok(Exposure {
            daily: MetresPerSecondSquared::new(daily),
            points,
            standing: Standing::of(daily, self.action.value(), self.limit.value()),
        })
    }

    /// Trigger time at one acceleration until the action value and until the limit value; `None`
    /// without acceleration, which never gets there.
    pub fn time_to(&self, acceleration: MetresPerSecondSquared) -> Option<(Minutes, Minutes)> {
        let until = |level: MetresPerSecondSquared| {
            Hours::new(8.0 * (level / acceleration).powi(2)).to_minutes()
        };
        (acceleration > MetresPerSecondSquared::ZERO)
            .then(|| (until(self.action), until(self.limit)))
    }
}
