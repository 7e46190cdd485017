//! What must hold for any description, sensible or not.

#![expect(
    clippy::panic,
    reason = "a test whose setting cannot be made must fail"
)]

mod generators;

use forenoon_trade::equipment::Equipment;
use forenoon_trade::estimate::{Crew, Estimate, Job, Work, estimate, explain};
use forenoon_trade::learn::{Class, CrewId, Factors, Learned, Prior, Record, SiteId};
use forenoon_trade::price::{Currency, JobCost, MachineUse, Money, PriceBook};
use forenoon_trade::rates::Rates;
use forenoon_trade::site::{Condition, Density, Ground, Obstacles};
use forenoon_trade::task::{Measure, Method, TaskKind};
use forenoon_trade::units::{Degrees, Metres, MetresPerSecond, Minutes, SquareMetres};
use generators::{density, obstacles, shape};
use proptest::prelude::*;
use rust_decimal::Decimal;

/// A task that every method of its kind may take on: gentle slope, mowable turf, thin stems.
fn work() -> impl Strategy<Value = Work> {
    let pairs: Vec<(TaskKind, Method)> = TaskKind::ALL
        .into_iter()
        .flat_map(|kind| {
            Method::ALL
                .into_iter()
                .filter(move |method| method.can_do(kind))
                .map(move |method| (kind, method))
        })
        .collect();
    (
        proptest::sample::select(pairs),
        0.01..3.0e4_f64,
        (0.0..15.0_f64, obstacles(), shape()),
        (
            0.0..0.254_f64,
            0.005..0.3_f64,
            density(),
            0.0..0.012_f64,
            0.0..1.0_f64,
        ),
        any::<[bool; 3]>(),
        1_u8..=12,
        0.0..480.0_f64,
    )
        .prop_map(
            |((kind, method), amount, ground, growth, flags, passes, meeting)| {
                let (slope, obstacles, shape) = ground;
                let (turf, set, density, stem, over) = growth;
                let [wet, laid, first_service] = flags;
                let measure = match kind {
                    TaskKind::Edge | TaskKind::Trim => Measure::Length(Metres::new(amount)),
                    _ => Measure::Area(SquareMetres::new(amount)),
                };
                Work {
                    kind,
                    method,
                    measure,
                    ground: Ground {
                        slope: Degrees::new(slope),
                        narrowest_gate: None,
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
                    passes,
                    meeting: Minutes::new(meeting),
                }
            },
        )
}

fn with_crew(work: &Work, size: u8) -> Estimate {
    let tool = Equipment::usual_for(work.method);
    estimate(
        work,
        &tool,
        Crew { size },
        &Rates::default(),
        &Learned::NOTHING,
    )
    .unwrap_or_else(|fault| panic!("{fault}: {work:?}"))
}

fn minutes(work: &Work) -> f64 {
    with_crew(work, 1).median.value()
}

fn not_less(more: f64, less: f64) -> bool {
    more >= less * (1.0 - 1e-12)
}

proptest! {
    #[test]
    fn minutes_are_finite_and_positive_and_their_parts_fit(work in work(), size in 1_u8..=12) {
        let estimate = with_crew(&work, size);
        for part in [estimate.median, estimate.labour] {
            prop_assert!(part.value().is_finite() && part.value() > 0.0, "{estimate:?}");
        }
        let median = estimate.median.value();
        prop_assert!((0.0..=median * (1.0 + 1e-9)).contains(&estimate.fixed.value()));
        let shared = estimate.alone.value() / Crew { size }.effective(&Rates::default());
        prop_assert!((estimate.fixed.value() + shared - median).abs() <= 1e-9 * median);
        prop_assert!((estimate.labour.value() - median * f64::from(size)).abs() <= 1e-9 * median * 12.0);
        prop_assert!(estimate.spread.sigma() > 0.0 && estimate.spread.sigma() < 2.0);
    }

    #[test]
    fn more_of_it_never_takes_less_time(work in work(), more in 1.0..3.0_f64) {
        let mut larger = work;
        larger.measure = match work.measure {
            Measure::Area(area) => Measure::Area(area * more),
            Measure::Length(length) => Measure::Length(length * more),
        };
        prop_assert!(not_less(minutes(&larger), minutes(&work)));
    }

    #[test]
    fn a_harder_state_never_takes_less_time(work in work(), taller in 0.0..0.1_f64, steeper in 0.0..10.0_f64) {
        let minutes_now = minutes(&work);
        let mut changed = Vec::new();
        let mut change = |edit: &dyn Fn(&mut Work)| {
            let mut harder = work;
            edit(&mut harder);
            changed.push(harder);
        };
        change(&|work| work.condition.wet = true);
        change(&|work| work.condition.laid = true);
        change(&|work| work.condition.first_service = true);
        change(&|work| work.condition.density = Density::Thick);
        change(&|work| work.ground.obstacles = Obstacles::Many);
        change(&|work| work.passes = 12);
        change(&|work| work.condition.edge_overgrowth = Metres::new(1.0));
        change(&|work| {
            let height = work.condition.turf_height + Metres::new(taller);
            work.condition.turf_height = height.min(Metres::new(0.254));
        });
        change(&|work| {
            let slope = work.ground.slope + Degrees::new(steeper);
            work.ground.slope = slope.min(Degrees::new(15.0));
        });
        change(&|work| work.condition.stem = work.condition.stem.max(Metres::new(0.012)));
        for harder in changed {
            prop_assert!(not_less(minutes(&harder), minutes_now), "{harder:?}");
        }
    }

    #[test]
    fn a_wider_usable_deck_never_takes_longer(
        work in work(),
        narrow in 0.25..1.9_f64,
        wider in 0.0..1.0_f64,
        speed in 0.3..5.0_f64,
        riding in any::<bool>(),
        gate in 0.5..3.0_f64,
    ) {
        let mut work = work;
        work.kind = TaskKind::Mow;
        work.method = Method::Mower;
        work.measure = match work.measure {
            Measure::Length(length) => Measure::Area(length.by(Metres::new(1.0))),
            area @ Measure::Area(_) => area,
        };
        work.ground.narrowest_gate = Some(Metres::new(gate));
        let deck = |metres: f64| {
            let width = Metres::new(metres);
            let mower = if riding { Equipment::ride_mower(width) } else { Equipment::walk_mower(width) };
            Equipment { speed: MetresPerSecond::new(speed), ..mower }
        };
        let of = |tool: &Equipment| {
            estimate(&work, tool, Crew::ALONE, &Rates::default(), &Learned::NOTHING)
        };
        // Usable means that it passes the gate; one that does not is refused, not slowed.
        if let (Ok(narrow), Ok(wide)) = (of(&deck(narrow)), of(&deck(narrow + wider))) {
            prop_assert!(not_less(narrow.median.value(), wide.median.value()));
        }
        prop_assert_eq!(of(&deck(narrow)).is_ok(), narrow + 0.06 + 0.05 <= gate);
    }

    #[test]
    fn more_people_never_take_longer_nor_fewer_people_minutes(work in work(), size in 1_u8..12) {
        let (fewer, more) = (with_crew(&work, size), with_crew(&work, size + 1));
        prop_assert!(not_less(fewer.median.value(), more.median.value()));
        prop_assert!(not_less(more.labour.value(), fewer.labour.value()));
    }

    #[test]
    fn the_tasks_of_a_job_sum_to_the_job(
        works in proptest::collection::vec(work(), 1..12),
        size in 1_u8..6,
        tools in 1_u8..4,
    ) {
        let rates = Rates::default();
        let parts = |size| -> Vec<(Method, Estimate)> {
            works.iter().map(|work| (work.method, with_crew(work, size))).collect()
        };
        let of = |size, tools| Job::of(&parts(size), Crew { size }, |_| tools, &rates);
        let job = of(size, tools);
        let mean = |median: Minutes, spread: forenoon_trade::spread::Spread| spread.mean(median).value();
        let means: f64 = parts(size).iter().map(|(_, task)| mean(task.median, task.spread)).sum();
        let stretch = 1.0 + job.waiting / (job.median - job.waiting);
        prop_assert!((mean(job.median, job.spread) / (means * stretch) - 1.0).abs() < 1e-9);
        prop_assert!(job.waiting.value() >= -1e-9);
        // What is set aside is the lines and the wait, and never more than the skewed middle.
        let medians: f64 = parts(size).iter().map(|(_, task)| task.median.value()).sum();
        prop_assert!((job.planned.value() / (medians * stretch) - 1.0).abs() < 1e-9);
        prop_assert!(job.planned.value() <= job.median.value() * (1.0 + 1e-12));
        // Alone nobody waits for a tool.
        prop_assert!(of(1, 1).waiting.value().abs() < 1e-6 * job.median.value());
        // More tools or more people never make the job longer, spreads being equal.
        prop_assert!(not_less(job.median.value(), of(size, tools + 1).median.value()));
    }

    #[test]
    fn the_working_replays_with_learned_factors_too(
        work in work(),
        size in 1_u8..6,
        ratios in proptest::collection::vec(0.2..5.0_f64, 1..40),
    ) {
        let rates = Rates::default();
        let record = |actual| Record {
            kind: work.kind,
            method: work.method,
            site: SiteId(1),
            crew: CrewId(2),
            class: Class::of(&work.condition),
            rate: Minutes::new(30.0),
            actual: Minutes::new(30.0 * actual),
        };
        let records: Vec<Record> = ratios.into_iter().map(record).collect();
        let factors = Factors::fit(&records, &Prior::default()).unwrap();
        let learned = factors.learned(
            work.kind,
            work.method,
            SiteId(1),
            CrewId(2),
            Class::of(&work.condition),
        );
        let tool = Equipment::usual_for(work.method);
        let (estimate, working) =
            explain(&work, &tool, Crew { size }, &rates, &learned).unwrap();
        let plain = with_crew(&work, size).median.value();
        let median = estimate.median.value();
        prop_assert!((working.replayed().value() / median - 1.0).abs() < 1e-9);
        // The meeting goes at the crew's pace and is nothing that was learned of the work.
        let meeting = work.meeting.value();
        let expected = (plain - meeting) * learned.factor() + meeting * learned.pace();
        prop_assert!((median / expected - 1.0).abs() < 1e-9);
    }

    #[test]
    fn the_lines_of_a_quote_sum_to_its_total(
        labour in 0.0..1.0e5_f64,
        machines in proptest::collection::vec((0.0..1.0e4_f64, 0_i64..100_000), 0..6),
        bags in 0_u32..500,
        (wage, minimum, bag, step) in (0_i64..20_000, 0_i64..50_000, 0_i64..5_000, 0_i64..1_000),
        (overhead, margin) in (0_i64..200, 0_i64..=99),
    ) {
        let usd = |minor| Money::from_minor(minor, Currency::USD);
        let book = PriceBook {
            labour_per_hour: usd(wage),
            overhead: Decimal::new(overhead, 2),
            margin: Decimal::new(margin, 2),
            minimum: usd(minimum),
            disposal_per_bag: usd(bag),
            step: usd(step),
        };
        let machines: Vec<MachineUse> = machines
            .into_iter()
            .map(|(minutes, minor)| MachineUse {
                effective: Minutes::new(minutes),
                per_effective_hour: usd(minor),
            })
            .collect();
        let quote = book
            .quote(&JobCost { labour: Minutes::new(labour), machines: &machines, bags })
            .unwrap();
        let sum: i64 = quote.lines().iter().map(|(_, money)| money.minor()).sum();
        prop_assert_eq!(sum, quote.total.minor());
        prop_assert!(quote.lines().iter().all(|(_, money)| money.minor() >= 0));
        prop_assert!(quote.total.minor() >= minimum);
        prop_assert!(step == 0 || quote.total.minor() % step == 0);
    }
}
