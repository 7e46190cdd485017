//! Spreads against a registry library.

#![expect(
    clippy::unwrap_used,
    reason = "a test whose setting cannot be made must fail"
)]

use forenoon_trade::spread::{Spread, sum};
use forenoon_trade::units::{Hours, Minutes};
use forenoon_trade::wear::Record;
use serde::de::DeserializeOwned;
use std::path::Path;

fn rows<T: DeserializeOwned>(name: &str) -> Vec<T> {
    let path = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("tests/reference")
        .join(name);
    let mut reader = csv::ReaderBuilder::new()
        .comment(Some(b'#'))
        .from_path(path)
        .unwrap();
    reader.deserialize().map(Result::unwrap).collect()
}

#[track_caller]
fn near(ours: f64, theirs: f64, relative: f64) {
    assert!(
        (ours / theirs - 1.0).abs() <= relative,
        "{ours} against {theirs}"
    );
}

/// Against scipy's `lognorm`, see `reference/log_normal_and_finance.py`.
#[test]
fn a_spread_is_the_log_normal_of_a_registry_library() {
    let rows: Vec<(f64, f64, f64, f64, f64, f64, f64)> = rows("log_normal.csv");
    assert_eq!(rows.len(), 90);
    for (median, sigma, p, quantile, mean, deviation, chance) in rows {
        let (median, spread) = (Minutes::new(median), Spread::new(sigma));
        near(spread.quantile(median, p).value(), quantile, 1e-8);
        near(spread.mean(median).value(), mean, 1e-12);
        near(spread.deviation(median).value(), deviation, 1e-12);
        near(spread.chance_within(median, median * 2.0), chance, 1e-8);
    }
}

/// Against four million draws with numpy of a job of seven tasks, see the same script: mean and
/// deviation are matched by construction, the quantiles show how good the matching is.
#[test]
fn a_sum_of_spreads_is_close_to_what_simulation_gives() {
    let parts = [
        (2.5, 0.30),
        (3.0, 0.28),
        (8.0, 0.36),
        (6.0, 0.25),
        (4.0, 0.25),
        (1.7, 0.28),
        (1.4, 0.30),
    ];
    let rows: Vec<(f64, f64, f64, f64, f64, f64)> = rows("sum_of_log_normals.csv");
    assert_eq!(rows.len(), 3);
    for (correlation, mean, deviation, p50, p80, p95) in rows {
        let parts = parts.map(|(median, sigma)| (Minutes::new(median), Spread::new(sigma)));
        let (median, spread) = sum(parts.into_iter(), correlation);
        near(spread.mean(median).value(), mean, 0.002);
        near(spread.deviation(median).value(), deviation, 0.01);
        for (p, theirs) in [(0.5, p50), (0.8, p80), (0.95, p95)] {
            near(spread.quantile(median, p).value(), theirs, 0.01);
        }
    }
}

/// Against lifelines' exponential fit with its last run cut short, see `reference/reliability.py`: for an exponential
/// life the mean time between failures is the maximum-likelihood estimate.
#[test]
fn mean_time_between_failures_is_the_exponential_fit_of_a_registry_library() {
    let rows: Vec<(f64, u32, f64)> = rows("reliability.csv");
    assert_eq!(rows.len(), 15);
    for (operated, failures, mean) in rows {
        let record = Record {
            operated: Hours::new(operated),
            failures,
            out: Hours::ZERO,
            repairs: 0,
        };
        let ours = record.between_failures().unwrap().unwrap();
        // The library searches for the maximum and stops within 2e-6 of it.
        near(ours.value(), mean, 5e-6);
        assert_eq!(record.to_repair().unwrap(), None);
    }
}

/// Against lifelines' exponential fit of repairs that all ended, see `reference/reliability.py`.
#[test]
fn mean_time_to_repair_is_the_exponential_fit_of_a_registry_library() {
    let rows: Vec<(f64, u32, f64)> = rows("repairs.csv");
    assert_eq!(rows.len(), 12);
    for (out, repairs, mean) in rows {
        let record = Record {
            operated: Hours::ZERO,
            failures: 0,
            out: Hours::new(out),
            repairs,
        };
        near(record.to_repair().unwrap().unwrap().value(), mean, 5e-6);
    }
}

/// By hand: out 2, 4 and 12 hours is 6 hours a repair; a machine that never failed has no mean.
#[test]
fn mean_time_to_repair_is_time_out_over_repairs() {
    let record = Record {
        operated: Hours::new(500.0),
        failures: 0,
        out: Hours::new(18.0),
        repairs: 3,
    };
    assert_eq!(record.to_repair().unwrap(), Some(Hours::new(6.0)));
    assert_eq!(record.between_failures().unwrap(), None);
    let negative = Record {
        out: Hours::new(-1.0),
        ..record
    };
    assert!(negative.to_repair().is_err());
}
