//! A fuzz over descriptions and numbers on stable Rust: nothing that is put in brings a panic out.

mod generators;

use forenoon_trade::appraise::{Means, appraise};
use forenoon_trade::compose::{Debris, Finish, Step, Visit, breaches, compose};
use forenoon_trade::equipment::{Equipment, ToolKind};
use forenoon_trade::estimate::{Crew, Work, estimate};
use forenoon_trade::exposure::heat::{Effort, Sun, adjusted_temperature, heat_index, work_rest};
use forenoon_trade::exposure::noise::REGULATION;
use forenoon_trade::exposure::vibration::DIRECTIVE;
use forenoon_trade::learn::{
    Class, CrewId, FACTOR_HIGH, FACTOR_LOW, Factors, Learned, Prior, Record, SiteId,
};
use forenoon_trade::price::{Currency, Money};
use forenoon_trade::rates::Rates;
use forenoon_trade::site::{Area, AreaKind, Condition, Ground};
use forenoon_trade::task::{Measure, Method, TaskKind};
use forenoon_trade::units::{
    Decibels, Degrees, Fahrenheit, Hours, Litres, Metres, MetresPerSecond, MetresPerSecondSquared,
    Minutes, RelativeHumidity, SquareMetres,
};
use forenoon_trade::wear::{Machine, Remaining, Repair, Severity, capital_recovery};
use generators::{density, obstacles, shape};
use proptest::prelude::*;

fn not_less(more: f64, less: f64) -> bool {
    more >= less * (1.0 - 1e-12)
}

/// Any number at all, with sensible ones in the majority so that descriptions get through.
fn number(low: f64, high: f64) -> impl Strategy<Value = f64> {
    prop_oneof![20 => low..=high, 1 => any::<f64>(), 1 => Just(low), 1 => Just(high)]
}

fn area_kind() -> impl Strategy<Value = AreaKind> {
    prop_oneof![
        number(0.01, 1.0e7).prop_map(|n| AreaKind::Turf(SquareMetres::new(n))),
        number(0.01, 1.0e5).prop_map(|n| AreaKind::HardEdge(Metres::new(n))),
        number(0.01, 1.0e5).prop_map(|n| AreaKind::Border(Metres::new(n))),
        number(0.01, 1.0e7).prop_map(|n| AreaKind::Brush(SquareMetres::new(n))),
        number(0.01, 1.0e7).prop_map(|n| AreaKind::Bed(SquareMetres::new(n))),
        number(0.01, 1.0e7).prop_map(|n| AreaKind::HardSurface(SquareMetres::new(n))),
    ]
}

fn described() -> impl Strategy<Value = Area> {
    (
        area_kind(),
        (
            number(0.0, 20.0),
            proptest::option::of(number(0.6, 30.0)),
            obstacles(),
            shape(),
        ),
        (
            number(0.0, 4.0),
            number(0.005, 0.3),
            density(),
            number(0.0, 0.02),
            number(0.0, 1.0),
        ),
        any::<[bool; 3]>(),
    )
        .prop_map(|(kind, ground, growth, [wet, laid, first_service])| {
            let (slope, gate, obstacles, shape) = ground;
            let (turf, set, density, stem, over) = growth;
            Area {
                kind,
                ground: Ground {
                    slope: Degrees::new(slope),
                    narrowest_gate: gate.map(Metres::new),
                    obstacles,
                    shape,
                },
                condition: Condition {
                    turf_height: Metres::new(turf),
                    set_height: Metres::new(set),
                    density,
                    wet,
                    laid,
                    stem: Metres::new(stem),
                    edge_overgrowth: Metres::new(over),
                    first_service,
                },
            }
        })
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 2000, ..ProptestConfig::default() })]

    /// The fuzz over descriptions: whatever is described, there is a job that keeps the rules and
    /// can be priced, or there are faults that name what is wrong. Never a panic.
    #[test]
    fn any_description_gives_a_lawful_job_or_named_faults(
        areas in proptest::collection::vec(described(), 0..6),
        (collect, sensitive, this_visit) in any::<(bool, bool, bool)>(),
        before in proptest::option::of(number(0.0, 480.0)),
        after in proptest::option::of(number(0.0, 480.0)),
        size in any::<u8>().prop_map(|size| size % 16),
    ) {
        let visit = Visit {
            areas: &areas,
            debris: if collect { Debris::MustCollect } else { Debris::Blowable },
            sensitive,
            finish: if this_visit { Finish::ThisVisit } else { Finish::InStages },
            meet_before: before.map(Minutes::new),
            meet_after: after.map(Minutes::new),
        };
        let rates = Rates::default();
        match compose(&visit, &rates) {
            Ok(job) => {
                let steps: Vec<Step> = job
                    .tasks
                    .iter()
                    .map(|task| Step { kind: task.work.kind, method: task.work.method, area: task.area })
                    .collect();
                prop_assert_eq!(breaches(&visit, &steps), vec![]);
                prop_assert!(job.notices.iter().all(|notice| !notice.to_string().is_empty()));
            }
            Err(faults) => prop_assert!(!faults.is_empty()),
        }
        let severity = Severity::default();
        let means = Means {
            crew: Crew { size },
            tool: &|task| Equipment::usual_for(task.work.method),
            aboard: &|_| 1,
            learned: &|_| Learned::NOTHING,
            rates: &rates,
            severity: &severity,
        };
        match appraise(&visit, &means) {
            Ok(appraisal) => {
                let median = appraisal.job.median.value();
                prop_assert!(median.is_finite() && median > 0.0);
                prop_assert!(appraisal.severity >= 1.0);
                let tasks: f64 =
                    appraisal.tasks.iter().map(|task| task.estimate.median.value()).sum();
                // The median of a sum of long-tailed times lies above the sum of their medians.
                prop_assert!(not_less(median, tasks));
            }
            Err(faults) => {
                prop_assert!(!faults.is_empty());
                prop_assert!(faults.iter().all(|fault| !fault.to_string().is_empty()));
            }
        }
    }

    /// More of any one area never makes the whole job shorter.
    #[test]
    fn a_job_with_more_turf_or_edge_never_takes_less_time(
        areas in proptest::collection::vec(described(), 1..5),
        (which, more) in (any::<prop::sample::Index>(), 1.0..3.0_f64),
        (collect, sensitive) in any::<(bool, bool)>(),
    ) {
        let rates = Rates::default();
        let severity = Severity::default();
        let means = Means {
            crew: Crew::ALONE,
            tool: &|task| Equipment::usual_for(task.work.method),
            aboard: &|_| 1,
            learned: &|_| Learned::NOTHING,
            rates: &rates,
            severity: &severity,
        };
        let median = |areas: &[Area]| {
            let debris = if collect { Debris::MustCollect } else { Debris::Blowable };
            let visit = Visit { debris, sensitive, ..Visit::to(areas) };
            appraise(&visit, &means).map(|appraisal| appraisal.job.median.value())
        };
        let mut larger = areas.clone();
        let place = which.index(larger.len());
        if let Some(area) = larger.get_mut(place) {
            area.kind = match area.kind {
                AreaKind::Turf(size) => AreaKind::Turf(size * more),
                AreaKind::HardEdge(size) => AreaKind::HardEdge(size * more),
                AreaKind::Border(size) => AreaKind::Border(size * more),
                AreaKind::Brush(size) => AreaKind::Brush(size * more),
                AreaKind::Bed(size) => AreaKind::Bed(size * more),
                AreaKind::HardSurface(size) => AreaKind::HardSurface(size * more),
            };
        }
        if let (Ok(less), Ok(more)) = (median(&areas), median(&larger)) {
            prop_assert!(not_less(more, less), "{more} against {less}");
        }
    }

    /// Any task, tool, crew and rates whatever: a time within bounds or a fault.
    #[test]
    fn any_task_gives_a_time_or_a_fault(
        (kind, method) in (proptest::sample::select(TaskKind::ALL.to_vec()), proptest::sample::select(Method::ALL.to_vec())),
        area in described(),
        (amount, by_area) in (number(0.01, 1.0e5), any::<bool>()),
        (width, speed, slope, bag) in (number(0.2, 5.0), number(0.2, 6.0), number(0.0, 60.0), number(5.0, 5000.0)),
        (passes, size) in any::<(u8, u8)>(),
        rate in any::<f64>(),
    ) {
        let work = Work {
            kind,
            method,
            measure: if by_area { Measure::Area(SquareMetres::new(amount)) } else { Measure::Length(Metres::new(amount)) },
            ground: area.ground,
            condition: area.condition,
            passes: passes % 14,
            meeting: Minutes::ZERO,
        };
        let tool = Equipment {
            working_width: Metres::new(width),
            speed: MetresPerSecond::new(speed),
            max_slope: Degrees::new(slope),
            bag: Some(Litres::new(bag)),
            ..Equipment::usual_for(method)
        };
        // A rate that was never checked must not become a time either.
        let mut rates = Rates::default();
        rates.allowance.value = rate;
        for rates in [Rates::default(), rates] {
            let found = estimate(&work, &tool, Crew { size: size % 14 }, &rates, &Learned::NOTHING);
            if let Ok(found) = found {
                prop_assert!(found.median.value().is_finite() && found.median.value() > 0.0);
            }
        }
    }

    #[test]
    fn any_history_gives_factors_within_bounds_or_names_its_records(
        actuals in proptest::collection::vec((number(0.001, 1.0e5), number(0.001, 1.0e5), 0_u8..4, 0_u8..3), 0..30),
        (tau, noise) in (number(0.0, 3.0), number(0.001, 3.0)),
    ) {
        let class = Class::of(&Condition::default());
        let records: Vec<Record> = actuals
            .iter()
            .map(|(rate, actual, site, crew)| Record {
                kind: TaskKind::Mow,
                method: Method::Mower,
                site: SiteId(u128::from(*site)),
                crew: CrewId(u128::from(*crew)),
                class,
                rate: Minutes::new(*rate),
                actual: Minutes::new(*actual),
            })
            .collect();
        let prior = Prior { site: tau, noise, ..Prior::default() };
        match Factors::fit(&records, &prior) {
            Ok(factors) => {
                let learned = factors.learned(TaskKind::Mow, Method::Mower, SiteId(1), CrewId(1), class);
                prop_assert!((FACTOR_LOW..=FACTOR_HIGH).contains(&learned.factor()));
                prop_assert!(learned.sigma().is_none_or(|sigma| sigma.is_finite() && sigma > 0.0));
                prop_assert!(learned.words(Minutes::new(41.0)).starts_with("rate 41 min"));
            }
            Err(faults) => prop_assert!(!faults.is_empty()),
        }
    }

    #[test]
    fn any_numbers_give_an_exposure_a_cost_or_a_fault(
        (a, b, c, d) in (any::<f64>(), any::<f64>(), number(0.0, 100.0), number(0.0, 140.0)),
        minor in any::<i64>(),
    ) {
        for (temperature, humidity) in [(a, b), (d, c)] {
            let (temperature, humidity) = (Fahrenheit::new(temperature), RelativeHumidity::new(humidity));
            if let Ok(index) = heat_index(temperature, humidity) {
                prop_assert!(index.value().is_finite());
            }
            if let Ok(adjusted) = adjusted_temperature(temperature, humidity, Sun::Full) {
                let stretch = work_rest(adjusted, Effort::Heavy).stretch();
                prop_assert!(stretch.is_none_or(|stretch| (1.0..=4.0).contains(&stretch)));
            }
        }
        // Not a number is never read as safe.
        prop_assert_eq!(work_rest(Fahrenheit::new(f64::NAN), Effort::Light).stretch(), None);
        for (level, time) in [(a, b), (d, c)] {
            if let Ok(dose) = REGULATION.dose(&[(Decibels::new(level), Minutes::new(time))]) {
                prop_assert!(dose.percent.is_finite() && dose.percent >= 0.0);
            }
            if let Ok(day) = DIRECTIVE.day(&[(MetresPerSecondSquared::new(level), Minutes::new(time))]) {
                prop_assert!(day.points.is_finite() && day.points >= 0.0);
            }
        }
        for (rate, years) in [(a, b), (c / 100.0, d)] {
            if let Ok(factor) = capital_recovery(rate, years) {
                prop_assert!(factor > 0.0 && factor <= 2.0 + 1e-9);
            }
        }
        let money = Money::from_minor(minor, Currency::USD);
        let machine = Machine {
            price: money,
            list_price: money,
            hours_a_year: Hours::new(c),
            rate: d / 140.0,
            repair: Repair { rf1: 0.44, rf2: c / 40.0 },
            remaining: Remaining { c1: 0.75, c2: 0.07, c3: 0.0 },
            running_per_hour: Money::zero(Currency::USD),
        };
        if let Ok(best) = machine.best_life() {
            prop_assert!((1..=30).contains(&best.years));
        }
        let _ = machine.keep_or_replace(a, &machine);
    }

    #[test]
    fn only_powered_tools_fill_a_day(minutes in 0.0..480.0_f64) {
        use forenoon_trade::exposure::{Limits, Run, usual_for};
        let day = |kind| {
            let (noise, vibration) = usual_for(kind).unzip();
            Limits::PUBLISHED.day(&[Run { noise, vibration, time: Minutes::new(minutes) }]).unwrap()
        };
        prop_assert!(day(ToolKind::Rake).noise.percent.abs() < f64::EPSILON);
        let line = day(ToolKind::LineHead);
        // 96 dBA fills a day in 480 / 2^(6 / 5) minutes; 5 m/s2 in two hours to the action value.
        let expected = 100.0 * minutes * 1.2_f64.exp2() / 480.0;
        prop_assert!((line.noise.percent - expected).abs() < 1e-6);
        prop_assert!((line.vibration.points - 100.0 * minutes / 120.0).abs() < 1e-6);
        prop_assert!(line.caution.contains("certify nothing"));
    }
}
