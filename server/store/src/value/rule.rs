//! A branch's rules: units of measure, travel, prices.

use sea_orm::FromJsonQueryResult;
use serde::{Deserialize, Serialize};

use super::words;

words!(
    /// The units of measure in answers. Storage is always SI.
    UnitSystem {
        /// Metres, square metres, litres.
        Si,
        /// Feet, inches, square feet, cubic feet.
        UsCustomary,
    }
);

/// Travel from coordinates: great-circle distance times a road factor, at one speed.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, FromJsonQueryResult)]
pub struct TravelRule {
    /// Road distance over great-circle distance.
    pub road_factor: f64,
    /// Driving speed.
    pub kilometres_per_hour: f64,
    /// Added to every drive for parking and unloading.
    pub seconds_per_stop: i32,
}

/// Rates for estimates and prices, in minor units of the branch's currency.
#[derive(
    Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize, FromJsonQueryResult,
)]
pub struct PriceRule {
    /// Cost of one worker for an hour.
    pub labour_per_hour_minor: Option<i64>,
    /// Overhead on labour and machines, in hundredths of a percent.
    pub overhead_basis_points: i32,
    /// Margin on the price, in hundredths of a percent.
    pub margin_basis_points: i32,
    /// Least price of a visit.
    pub minimum_charge_minor: Option<i64>,
    /// Cost of getting rid of one bag.
    pub disposal_per_bag_minor: Option<i64>,
}
