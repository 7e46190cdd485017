//! A demo branch: Larkmoor Grounds, an invented company in an invented town, with a full day of every kind of
//! work, and a first morning told on it.
//!
//! The branch is a pure function of a seed and a first day. What a dispatcher must get right (narrow gates, banks,
//! quiet hours, promises, work that can't be done) is written down and the same for every seed; sizes, places and
//! names are drawn.

mod areas;
mod book;
mod choose;
mod crews;
mod dice;
pub mod files;
mod fleet;
mod grounds;
mod homes;
mod host;
mod measure;
mod people;
mod run;
mod shell;
mod small;
mod story;
mod town;
mod wild;

pub use run::{Args, run};

use chrono::NaiveDate;
use forenoon_proto::v1::{
    Branch, ExposureRule, ImportRecord, NoiseCriterion, PriceRule, TravelRule, UnitSystem,
};

/// The last part of the branch's resource name.
pub const BRANCH_ID: &str = "larkmoor";

/// A branch and everything it owns.
#[derive(Debug, Clone, PartialEq)]
pub struct DemoBranch {
    /// The branch, by its resource name.
    pub branch: Branch,
    /// Its units, crews, workers, sites and jobs; what is referred to comes before what refers to it.
    pub records: Vec<ImportRecord>,
}

/// The demo branch of a seed, with its work on `first_day` and shortly after. Crews have shifts from Monday to
/// Friday, two of them on Saturday too, so the first day should be a weekday.
pub fn branch(seed: u64, first_day: NaiveDate) -> DemoBranch {
    let mut book = book::Book::new(first_day);
    let mut names = people::Names::new(seed);
    fleet::write(&mut book, seed);
    crews::write(&mut book, &mut names, seed);
    let homes = homes::write(&mut book, &mut names, seed);
    grounds::write(&mut book, &mut names);
    wild::write(&mut book, &mut names);
    small::write(&mut book, &mut names, &homes);
    DemoBranch {
        branch: yard(),
        records: book.into_records(),
    }
}

fn yard() -> Branch {
    Branch {
        name: format!("branches/{BRANCH_ID}"),
        display_name: "Larkmoor Grounds".to_owned(),
        time_zone: measure::ZONE.name().to_owned(),
        currency_code: measure::CURRENCY.to_owned(),
        unit_system: UnitSystem::UsCustomary.into(),
        yard: measure::place(0.0, 0.0),
        travel: Some(TravelRule {
            road_factor: 1.3,
            kilometres_per_hour: 42.0,
            seconds_per_stop: 90,
        }),
        price: Some(PriceRule {
            labour_per_hour: measure::dollars(24),
            overhead_basis_points: 3_500,
            margin_basis_points: 1_800,
            minimum_charge: measure::dollars(45),
            disposal_per_bag: measure::dollars(4),
        }),
        exposure: Some(ExposureRule {
            noise_criterion: NoiseCriterion::Recommendation.into(),
            hearing_protection_decibels: 15.0,
            plan_within_limits: true,
            ..ExposureRule::default()
        }),
        ..Branch::default()
    }
}

#[cfg(test)]
mod tests;
