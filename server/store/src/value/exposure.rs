//! What people are exposed to: a branch's rule, a crew's day, the weather of a day.

use sea_orm::FromJsonQueryResult;
use serde::{Deserialize, Serialize};

use super::words;

words!(
    /// How a dose of noise is reckoned.
    NoiseCriterion {
        /// 90 dBA for eight hours, halved for every 5 dB more: 29 CFR 1910.95.
        Regulation,
        /// 85 dBA for eight hours, halved for every 3 dB more: NIOSH publication 98-126.
        Recommendation,
    }
);

words!(
    /// Where exposure stands against a branch's rule.
    ExposureStanding {
        /// Below the action level.
        Below,
        /// At or above the action level.
        Action,
        /// Above the limit.
        OverLimit,
    }
);

/// What a branch plans its people's exposure by.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, FromJsonQueryResult)]
#[serde(default)]
pub struct ExposureRule {
    /// How the dose of noise is reckoned that the limit is for.
    pub noise_criterion: NoiseCriterion,
    /// Dose from which to act.
    pub noise_action_percent: f64,
    /// Dose not to exceed.
    pub noise_limit_percent: f64,
    /// What hearing protection takes off as it is worn.
    pub hearing_protection_decibels: f64,
    /// Daily vibration A(8) from which to act.
    pub vibration_action_metres_per_second_squared: f64,
    /// Daily vibration A(8) not to exceed.
    pub vibration_limit_metres_per_second_squared: f64,
    /// Whether a plan weighs a crew's day that is over a limit.
    pub plan_within_limits: bool,
}

/// The published values, told and not planned by.
impl Default for ExposureRule {
    fn default() -> Self {
        Self {
            noise_criterion: NoiseCriterion::Regulation,
            noise_action_percent: 50.0,
            noise_limit_percent: 100.0,
            hearing_protection_decibels: 0.0,
            vibration_action_metres_per_second_squared: 2.5,
            vibration_limit_metres_per_second_squared: 5.0,
            plan_within_limits: false,
        }
    }
}

/// One tool's part in a crew's exposure.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct ExposurePart {
    /// The unit that works; none for a usual tool.
    pub unit_id: Option<String>,
    /// What it is called.
    pub display_name: String,
    /// How long it runs, whoever holds it.
    pub run_seconds: i64,
    /// Noise at the ear without protection.
    pub noise_dba: f64,
    /// Vibration at the hand.
    pub vibration_metres_per_second_squared: f64,
    /// Its share of one worker's limit, of noise or vibration whichever is more.
    pub limit_share_percent: f64,
}

/// What each worker of a crew is exposed to where they take turns.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, FromJsonQueryResult)]
pub struct Exposure {
    /// Workers who take turns.
    pub workers: i32,
    /// Dose of noise by the branch's criterion.
    pub noise_dose_percent: f64,
    /// Dose of noise by the regulation.
    pub regulation_dose_percent: f64,
    /// Dose of noise by the recommendation.
    pub recommendation_dose_percent: f64,
    /// Daily vibration A(8).
    pub vibration_metres_per_second_squared: f64,
    /// Vibration in points: 100 at 2.5 m/s2, 400 at 5.
    pub vibration_points: f64,
    /// The worse of noise and vibration.
    pub standing: ExposureStanding,
    /// The tools, the one with the largest share first.
    pub parts: Vec<ExposurePart>,
    /// In a dispatcher's words.
    pub text: String,
}

words!(
    /// How much sun falls on the work.
    Sun {
        /// Shade or night.
        Shade,
        /// Partly cloudy.
        PartlyCloudy,
        /// Full sun.
        Full,
    }
);

/// The weather that a day was planned for: its hottest hour of work.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, FromJsonQueryResult)]
pub struct HeatForecast {
    /// Air temperature in the shade.
    pub temperature_celsius: f64,
    /// Relative humidity.
    pub relative_humidity_percent: f64,
    /// Sun.
    pub sun: Sun,
}
