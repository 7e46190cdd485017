//! Learned factors against simulated histories and against a general mixed-model library.

#![expect(
    clippy::unwrap_used,
    reason = "a test whose setting cannot be made must fail"
)]

use forenoon_trade::learn::{
    Class, CrewId, FACTOR_HIGH, Factors, Growth, Learned, Level, Prior, Record, STATED_MARGIN,
    SiteId, Subject,
};
use forenoon_trade::task::{Method, TaskKind};
use forenoon_trade::units::Minutes;
use serde::Deserialize;
use std::path::Path;

const CLASS: Class = Class {
    growth: Growth::Kept,
    wet: false,
};
const RATE: Minutes = Minutes::new(40.0);

fn record(site: u128, crew: u128, log_ratio: f64) -> Record {
    Record {
        kind: TaskKind::Mow,
        method: Method::Mower,
        site: SiteId(site),
        crew: CrewId(crew),
        class: CLASS,
        rate: RATE,
        actual: RATE * log_ratio.exp(),
    }
}

fn learned(factors: &Factors, site: u128, crew: u128) -> Learned {
    factors.learned(
        TaskKind::Mow,
        Method::Mower,
        SiteId(site),
        CrewId(crew),
        CLASS,
    )
}

/// Random numbers for simulated histories, the same on every machine: splitmix64 and Box-Muller.
struct Chance(u64);

impl Chance {
    fn uniform(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        ((z ^ (z >> 31)) >> 11) as f64 / (1_u64 << 53) as f64
    }

    fn normal(&mut self, deviation: f64) -> f64 {
        let radius = (-2.0 * (1.0 - self.uniform()).ln()).sqrt();
        deviation * radius * (core::f64::consts::TAU * self.uniform()).cos()
    }
}

/// Root-mean-square error of the logarithm on the next visit, for the rate alone and as learned,
/// after each number of visits to each of many sites.
/// A share `absurd` of the records is ten times or a fiftieth of what it was.
fn errors(
    site_spread: f64,
    crew_spread: f64,
    bias: f64,
    absurd: f64,
    visits: &[u128],
) -> Vec<(f64, f64)> {
    const SITES: u128 = 40;
    const CREWS: u128 = 5;
    const COMPANIES: u64 = 12;
    const NOISE: f64 = 0.25;
    visits
        .iter()
        .map(|visits| {
            let (mut of_rate, mut of_learned) = (0.0, 0.0);
            for company in 0..COMPANIES {
                let mut chance = Chance(20_270_412 + company);
                let crews: Vec<f64> = (0..CREWS).map(|_| chance.normal(crew_spread)).collect();
                let sites: Vec<f64> = (0..SITES).map(|_| chance.normal(site_spread)).collect();
                let truth = |site: u128, crew: u128| {
                    bias + sites[usize::try_from(site).unwrap()]
                        + crews[usize::try_from(crew).unwrap()]
                };
                let mut records = Vec::new();
                for site in 0..SITES {
                    for visit in 0..*visits {
                        let crew = (site + visit) % CREWS;
                        let slip = match chance.uniform() / absurd {
                            slip if slip < 0.5 => 10_f64.ln(),
                            slip if slip < 1.0 => 0.02_f64.ln(),
                            _ => 0.0,
                        };
                        let ratio = truth(site, crew) + chance.normal(NOISE) + slip;
                        records.push(record(site, crew, ratio));
                    }
                }
                let factors = Factors::fit(&records, &Prior::default()).unwrap();
                for site in 0..SITES {
                    let crew = (site * 3) % CREWS;
                    let truth = truth(site, crew);
                    of_rate += truth * truth;
                    of_learned += (truth - learned(&factors, site, crew).factor().ln()).powi(2);
                }
            }
            let count = SITES as f64 * COMPANIES as f64;
            // The noise of the next visit is in both; its expectation is known, so it is added
            // rather than drawn.
            let noise = NOISE * NOISE;
            (
                (of_rate / count + noise).sqrt(),
                (of_learned / count + noise).sqrt(),
            )
        })
        .collect()
}

#[test]
fn the_error_falls_with_the_visits_where_sites_and_crews_differ() {
    let found = errors(0.25, 0.10, 0.15, 0.0, &[0, 1, 2, 4, 8, 16]);
    let learned: Vec<f64> = found.iter().map(|(_, learned)| *learned).collect();
    assert!(
        (found[0].0 - learned[0]).abs() < 1e-12,
        "without records the rate stands"
    );
    for (fewer, more) in learned.iter().zip(&learned[1..]) {
        assert!(more < fewer, "{learned:?}");
    }
    // Noise alone is 0.25; the rate is off by 0.40 in all.
    assert!(learned[5] < 0.27, "{learned:?}");
    assert!(found[5].0 > 0.35, "{found:?}");
}

#[test]
fn learning_never_errs_more_than_the_stated_margin_beyond_the_rate() {
    // The worst case is a rate that is exactly right: there is only noise to learn.
    for (site, crew, bias) in [
        (0.0, 0.0, 0.0),
        (0.05, 0.0, 0.0),
        (0.1, 0.05, 0.0),
        (0.3, 0.2, -0.3),
    ] {
        for absurd in [0.0, 0.02] {
            for (rate, learned) in errors(site, crew, bias, absurd, &[1, 2, 3, 5, 10, 20]) {
                assert!(
                    learned <= rate * (1.0 + STATED_MARGIN),
                    "site {site}, crew {crew}, bias {bias}, absurd {absurd}: {learned} against {rate}"
                );
            }
        }
    }
}

#[test]
fn one_absurd_record_moves_little_however_absurd() {
    let history: Vec<Record> = (0..12)
        .map(|visit| record(1, 1, if visit % 2 == 0 { 0.05 } else { -0.05 }))
        .collect();
    let honest = learned(&Factors::fit(&history, &Prior::default()).unwrap(), 1, 1).factor();
    let with = |log_ratio: f64| {
        let mut spoilt = history.clone();
        spoilt.push(record(1, 1, log_ratio));
        learned(&Factors::fit(&spoilt, &Prior::default()).unwrap(), 1, 1).factor()
    };
    let (ten, thousand) = (with(10_f64.ln()), with(1000_f64.ln()));
    assert!(ten / honest < 1.05, "{ten} against {honest}");
    assert!(
        (thousand - ten).abs() < 1e-6,
        "a hundred times as absurd moves no further"
    );
    // Without the robust weights it would have moved a good deal more.
    let plain = Prior {
        robust: false,
        ..Prior::default()
    };
    let mut spoilt = history.clone();
    spoilt.push(record(1, 1, 1000_f64.ln()));
    assert!(learned(&Factors::fit(&spoilt, &plain).unwrap(), 1, 1).factor() > 1.3);
}

#[test]
fn the_order_of_records_does_not_matter_and_a_repeat_gives_the_same_bits() {
    let mut chance = Chance(5);
    let records: Vec<Record> = (0..200)
        .map(|i| record(i % 17, i % 5, chance.normal(0.4)))
        .collect();
    let backwards: Vec<Record> = records.iter().rev().copied().collect();
    let forward = Factors::fit(&records, &Prior::default()).unwrap();
    assert_eq!(forward, Factors::fit(&records, &Prior::default()).unwrap());
    let backward = Factors::fit(&backwards, &Prior::default()).unwrap();
    for site in 0..17 {
        let (a, b) = (learned(&forward, site, 2), learned(&backward, site, 2));
        assert!((a.factor() - b.factor()).abs() < 1e-9);
    }
}

#[test]
fn a_factor_explains_itself_and_its_parts_multiply_to_it() {
    let mut records: Vec<Record> = (0..6).map(|_| record(1, 9, 0.3)).collect();
    records.extend((0..40).map(|visit| record(100 + visit, 7, -0.1)));
    let factors = Factors::fit(&records, &Prior::default()).unwrap();
    let here = learned(&factors, 1, 7);
    let product: f64 = here.parts().map(|part| part.factor).product();
    assert!((product - here.factor()).abs() < 1e-12);
    let counts: Vec<(Level, u32)> = here
        .parts()
        .map(|part| (part.level, part.records))
        .collect();
    assert_eq!(
        counts,
        [
            (Level::Practice, 46),
            (Level::Site, 6),
            (Level::SiteTask, 6),
            (Level::Crew, 40),
            (Level::Condition, 46),
        ]
    );
    let words = here.words(Minutes::new(41.2));
    assert!(
        words.starts_with("rate 41 min; this kind of work x"),
        "{words}"
    );
    assert!(
        words.contains("; this site x1.") && words.contains(" from 6;"),
        "{words}"
    );
    assert!(words.contains("; this crew x0.9"), "{words}");
    assert!(here.sigma().is_some());

    let all: Vec<_> = factors.all().collect();
    // A kind of work, 41 sites, the task on each, two crews and a condition.
    assert_eq!(all.len(), 1 + 41 + 41 + 2 + 1);
    let crew = all
        .iter()
        .find(|(subject, ..)| *subject == Subject::Crew(CrewId(7)))
        .unwrap();
    assert_eq!(crew.2, 40);
    assert!(
        here.parts()
            .any(|part| part.level == Level::Crew && part.factor.to_bits() == crew.1.to_bits())
    );

    let stranger = factors.learned(
        TaskKind::Edge,
        Method::Edger,
        SiteId(5),
        CrewId(5),
        Class {
            growth: Growth::Tall,
            wet: true,
        },
    );
    assert_eq!(stranger.parts().count(), 0);
    assert!((stranger.factor() - 1.0).abs() < 1e-15);
    assert_eq!(stranger.words(Minutes::new(41.2)), "rate 41 min");
}

#[test]
fn a_crews_own_factor_is_its_part_of_every_learned_factor() {
    let mut records = Vec::new();
    for visit in 0..24 {
        records.push(record(visit % 6, 1, 0.2));
        records.push(record(visit % 6, 2, -0.1));
    }
    let factors = Factors::fit(&records, &Prior::default()).unwrap();
    for crew in [1, 2] {
        let alone = factors.crew(CrewId(crew)).unwrap();
        assert_eq!(alone.records, 24);
        for site in [0, 3, 77] {
            let (with, without) = (learned(&factors, site, crew), learned(&factors, site, 99));
            let ratio = with.factor() / without.factor();
            assert!((ratio / alone.factor - 1.0).abs() < 1e-12, "{ratio}");
        }
    }
    assert!(factors.crew(CrewId(99)).is_none());
}

#[test]
fn a_factor_is_held_within_its_bounds_and_says_so() {
    let records: Vec<Record> = (0..300).map(|_| record(1, 1, 20_f64.ln())).collect();
    let wide = Prior {
        practice: 3.0,
        site: 3.0,
        robust: false,
        ..Prior::default()
    };
    let here = learned(&Factors::fit(&records, &wide).unwrap(), 1, 1);
    assert!((here.factor() - FACTOR_HIGH).abs() < 1e-12);
    let product: f64 = here.parts().map(|part| part.factor).product();
    assert!((product * here.held_back() - here.factor()).abs() < 1e-9);
    assert!(here.held_back() < 0.2);
}

#[test]
fn every_record_that_cannot_be_learned_from_is_named() {
    let mut records = vec![record(1, 1, 0.0); 4];
    records[1].actual = Minutes::new(f64::NAN);
    records[3].rate = Minutes::ZERO;
    let faults = Factors::fit(&records, &Prior::default()).unwrap_err();
    let places: Vec<Option<usize>> = faults.iter().map(|fault| fault.record).collect();
    assert_eq!(places, [Some(1), Some(3)]);
    let prior = Prior {
        noise: 0.0,
        ..Prior::default()
    };
    assert_eq!(Factors::fit(&[], &prior).unwrap_err()[0].record, None);
}

#[derive(Deserialize)]
struct Row {
    site: u128,
    crew: u128,
    log_ratio: f64,
}

#[derive(Deserialize)]
struct Fitted {
    what: String,
    key: u128,
    value: f64,
}

#[derive(Deserialize)]
struct Forecast {
    site: u128,
    crew: u128,
    predicted: f64,
    truth: f64,
}

fn read<T: for<'de> Deserialize<'de>>(name: &str) -> Vec<T> {
    let path = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("tests/reference")
        .join(name);
    csv::ReaderBuilder::new()
        .comment(Some(b'#'))
        .from_path(path)
        .unwrap()
        .deserialize()
        .map(Result::unwrap)
        .collect()
}

fn history(name: &str) -> Vec<Record> {
    read::<Row>(name)
        .iter()
        .map(|row| record(row.site, row.crew, row.log_ratio))
        .collect()
}

/// Against statsmodels `MixedLM` (REML), see `reference/mixed_model.py`: given the variances that
/// it estimated, an intercept left free and no robust weights, ours are the same predictions.
#[test]
fn with_a_mixed_models_variances_our_effects_are_its_predictions() {
    let fit: Vec<Fitted> = read("clean_fit.csv");
    let value = |what: &str, key: u128| {
        fit.iter()
            .find(|row| row.what == what && row.key == key)
            .unwrap()
            .value
    };
    // Variances: 0 is the site's, 1 the crew's, 2 the noise.
    let prior = Prior {
        practice: 1000.0,
        site: value("variance", 0).sqrt(),
        site_task: 0.0,
        crew: value("variance", 1).sqrt(),
        condition: 0.0,
        noise: value("variance", 2).sqrt(),
        robust: false,
    };
    let factors = Factors::fit(&history("clean.csv"), &prior).unwrap();
    let part = |site, crew, level| {
        learned(&factors, site, crew)
            .parts()
            .find(|part| part.level == level)
            .unwrap()
            .factor
            .ln()
    };
    let intercept = part(0, 0, Level::Practice);
    assert!(
        (intercept - value("intercept", 0)).abs() < 1e-4,
        "{intercept}"
    );
    for site in 0..30 {
        let ours = part(site, 0, Level::Site);
        assert!(
            (ours - value("site", site)).abs() < 1e-4,
            "site {site}: {ours}"
        );
    }
    for crew in 0..6 {
        let ours = part(0, crew, Level::Crew);
        assert!(
            (ours - value("crew", crew)).abs() < 1e-4,
            "crew {crew}: {ours}"
        );
    }
}

/// On the same history with one record in 25 absurd, ours must come nearer the truth than the
/// mixed model does, which has no defence.
#[test]
fn on_a_spoilt_history_ours_come_nearer_the_truth_than_a_mixed_model() {
    let factors = Factors::fit(&history("spoilt.csv"), &Prior::default()).unwrap();
    let (mut ours, mut theirs) = (0.0, 0.0);
    let rows: Vec<Forecast> = read("spoilt_fit.csv");
    assert_eq!(rows.len(), 180);
    for row in rows {
        ours += (learned(&factors, row.site, row.crew).factor().ln() - row.truth).powi(2);
        theirs += (row.predicted - row.truth).powi(2);
    }
    assert!(ours < 0.7 * theirs, "squared error {ours} against {theirs}");
}

/// On the clean history the mixed model has estimated its variances from 420 records and ours are
/// stated beforehand: theirs is the better informed, ours must come close.
#[test]
fn on_a_clean_history_ours_come_close_to_a_mixed_model() {
    let factors = Factors::fit(&history("clean.csv"), &Prior::default()).unwrap();
    let fit: Vec<Fitted> = read("clean_fit.csv");
    let value = |what: &str, key: u128| {
        fit.iter()
            .find(|row| row.what == what && row.key == key)
            .unwrap()
            .value
    };
    let (mut ours, mut theirs) = (0.0, 0.0);
    for row in read::<Forecast>("spoilt_fit.csv") {
        let forecast = value("intercept", 0) + value("site", row.site) + value("crew", row.crew);
        ours += (learned(&factors, row.site, row.crew).factor().ln() - row.truth).powi(2);
        theirs += (forecast - row.truth).powi(2);
    }
    assert!(ours < 1.1 * theirs, "squared error {ours} against {theirs}");
}
