//! A person's day against a company's limits, and the weather a day is planned for.

use forenoon_trade::equipment::ToolKind;
use forenoon_trade::exposure::heat::{Band, Effort, Forecast, Sun, WorkRest};
use forenoon_trade::exposure::noise::{Criterion, RECOMMENDATION};
use forenoon_trade::exposure::{Limits, Run, Standing, vibration};
use forenoon_trade::task::TaskKind;
use forenoon_trade::units::{
    Decibels, Fahrenheit, MetresPerSecondSquared, Minutes, RelativeHumidity,
};
use proptest::prelude::*;

fn run(level: f64, acceleration: f64, minutes: f64) -> Run {
    Run {
        noise: Some(Decibels::new(level)),
        vibration: Some(MetresPerSecondSquared::new(acceleration)),
        time: Minutes::new(minutes),
    }
}

/// The mixed days reckoned in the tests of each part, now as one day: 2 h at 95 and 4 h at 90 dBA
/// fill the regulation's day exactly, and are 410.7 % of the recommendation's. 5 m/s2 for 2 h and
/// 4 m/s2 for 4 h make 100 and 128 points.
#[test]
fn a_day_is_reckoned_by_both_criteria_and_by_vibration() {
    let day = Limits::PUBLISHED
        .day(&[run(95.0, 5.0, 120.0), run(90.0, 4.0, 240.0)])
        .unwrap();
    assert!((day.regulation.percent - 100.0).abs() < 1e-9);
    assert!((day.recommendation.percent - 410.7).abs() < 0.05);
    assert!((day.vibration.points - 228.0).abs() < 1e-9);
    assert_eq!(day.noise, day.regulation);
    assert_eq!(day.standing, Standing::Action);
    assert!(day.caution.contains("certify nothing"));
}

/// Protection takes its decibels off every level: 95 dBA under 10 dB is 85 dBA, at which the
/// recommendation allows eight hours (NIOSH publication 98-126).
#[test]
fn protection_counts_as_the_company_sets_it() {
    let limits = Limits {
        noise: RECOMMENDATION,
        protection: Decibels::new(10.0),
        ..Limits::PUBLISHED
    };
    let day = limits.day(&[run(95.0, 0.0, 480.0)]).unwrap();
    assert!((day.noise.percent - 100.0).abs() < 1e-9);
    assert_eq!(day.standing, Standing::Action);
    // Below 80 dBA at the ear nothing counts.
    assert!(limits.day(&[run(89.0, 0.0, 480.0)]).unwrap().noise.percent < 1e-12);
    let wrong = Limits {
        protection: Decibels::new(41.0),
        ..limits
    };
    let fault = wrong.day(&[run(95.0, 0.0, 1.0)]).unwrap_err();
    assert!(fault.to_string().contains("noise.protection_decibels"));
}

#[test]
fn the_share_of_a_run_is_the_larger_of_noise_and_vibration() {
    let halved = Limits {
        noise: Criterion {
            limit_percent: 50.0,
            ..RECOMMENDATION
        },
        vibration: vibration::Limits {
            limit: MetresPerSecondSquared::new(2.5),
            ..vibration::DIRECTIVE
        },
        ..Limits::PUBLISHED
    };
    // 88 dBA for two hours is half the recommended day, and so all that this company allows.
    let loud = halved.share(&run(88.0, 1.0, 120.0)).unwrap();
    assert!((loud - 1.0).abs() < 1e-9);
    // 5 m/s2 for two hours comes to 2.5 m/s2 for eight.
    let shaking = halved.share(&run(70.0, 5.0, 120.0)).unwrap();
    assert!((shaking - 1.0).abs() < 1e-9);
    let rake = Run {
        noise: None,
        vibration: None,
        time: Minutes::new(480.0),
    };
    assert!(halved.share(&rake).unwrap().abs() < 1e-12);
}

#[test]
fn efforts_follow_the_work_and_the_tool() {
    for (kind, tool, effort) in [
        (TaskKind::WalkBefore, ToolKind::None, Effort::Light),
        (TaskKind::Mow, ToolKind::RideMower, Effort::Light),
        (TaskKind::Mow, ToolKind::WalkMower, Effort::Moderate),
        (TaskKind::Edge, ToolKind::Edger, Effort::Moderate),
        (TaskKind::Edge, ToolKind::FlatShovel, Effort::Heavy),
        (TaskKind::CutBrush, ToolKind::BladeHead, Effort::Heavy),
        (TaskKind::Collect, ToolKind::Rake, Effort::Heavy),
        (TaskKind::BlowOff, ToolKind::Blower, Effort::Moderate),
    ] {
        assert_eq!(
            Effort::of(kind, tool),
            effort,
            "{kind} with {}",
            tool.words()
        );
    }
}

/// 90 F at 50 % is 94.6 F by the weather service's regression, the moderate band; in full sun the
/// air counts as 90 + 13 + 6 = 109 F, where the NIOSH table (2017-127) gives 30/30 for light work
/// and none for harder.
#[test]
fn a_forecast_gives_index_band_and_rests() {
    let forecast = Forecast {
        temperature: Fahrenheit::new(90.0),
        humidity: RelativeHumidity::new(50.0),
        sun: Sun::Full,
    };
    let advice = forecast.advice().unwrap();
    assert!((advice.index.value() - 94.597).abs() < 5e-4);
    assert_eq!(advice.band, Band::Moderate);
    assert!((advice.adjusted.value() - 109.0).abs() < 1e-9);
    assert_eq!(advice.rests(Effort::Light).stretch(), Some(2.0));
    assert_eq!(advice.rests(Effort::Moderate), WorkRest::Caution);
    assert_eq!(advice.rests(Effort::Heavy), WorkRest::Caution);
    let impossible = Forecast {
        humidity: RelativeHumidity::new(101.0),
        ..forecast
    };
    assert!(impossible.advice().is_err());
}

proptest! {
    /// What the planner relies on: shares add up, and a day of shares within 1 is within both limits.
    #[test]
    fn shares_that_sum_to_one_or_less_are_a_day_within_both_limits(
        runs in proptest::collection::vec((70.0..110.0_f64, 0.0..12.0_f64, 0.0..40.0_f64), 0..12),
        protection in 0.0..20.0_f64,
    ) {
        let limits = Limits {
            noise: RECOMMENDATION,
            protection: Decibels::new(protection),
            ..Limits::PUBLISHED
        };
        let runs: Vec<Run> = runs.into_iter().map(|(l, a, t)| run(l, a, t)).collect();
        let sum: f64 = runs.iter().map(|run| limits.share(run).unwrap()).sum();
        let day = limits.day(&runs).unwrap();
        let worst = (day.noise.percent / 100.0).max(day.vibration.points / 400.0);
        prop_assert!(worst <= sum * (1.0 + 1e-12) + 1e-12);
        if sum < 1.0 {
            prop_assert!(day.standing < Standing::OverLimit);
        }
        // Twice as long is twice the share.
        for run in &runs {
            let twice = Run { time: run.time * 2.0, ..*run };
            let (one, two) = (limits.share(run).unwrap(), limits.share(&twice).unwrap());
            prop_assert!((two - 2.0 * one).abs() <= 1e-9 * (1.0 + two));
        }
    }
}
