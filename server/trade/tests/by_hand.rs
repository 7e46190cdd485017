//! Estimates reckoned by hand, one factor at a time.
//!
//! The default rates, but for an allowance of 1 and an overlap of 0.8, so that the figures come out
//! round. These guard the formulas, not the truth of the rates.

#![expect(
    clippy::unwrap_used,
    reason = "a test whose setting cannot be made must fail"
)]

use forenoon_trade::equipment::{Equipment, ToolKind};
use forenoon_trade::estimate::{Crew, Work, estimate, explain};
use forenoon_trade::fault::Fault;
use forenoon_trade::learn::{Class, CrewId, Factors, Learned, Prior, Record, SiteId};
use forenoon_trade::rates::Rates;
use forenoon_trade::site::{Condition, Density, Ground, Obstacles, Shape};
use forenoon_trade::task::{Measure, Method, TaskKind};
use forenoon_trade::units::{
    Degrees, Hours, Litres, Metres, MetresPerSecond, Minutes, SquareMetres,
};

fn rates() -> Rates {
    let mut rates = Rates::default();
    rates.set("allowance", 1.0).unwrap();
    rates.set("mow_overlap", 0.8).unwrap();
    rates
}

fn work(kind: TaskKind, method: Method, amount: f64) -> Work {
    Work {
        kind,
        method,
        measure: match kind {
            TaskKind::Edge | TaskKind::Trim => Measure::Length(Metres::new(amount)),
            _ => Measure::Area(SquareMetres::new(amount)),
        },
        ground: Ground {
            obstacles: Obstacles::None,
            ..Ground::default()
        },
        condition: Condition::default(),
        passes: 1,
        meeting: Minutes::ZERO,
    }
}

fn with(mut work: Work, change: impl Fn(&mut Work)) -> Work {
    change(&mut work);
    work
}

#[track_caller]
fn takes(work: &Work, tool: &Equipment, size: u8, minutes: f64) {
    let found = estimate(work, tool, Crew { size }, &rates(), &Learned::NOTHING).unwrap();
    let median = found.median.value();
    assert!(
        (median - minutes).abs() < 5e-4,
        "{median} min, reckoned {minutes}"
    );
}

/// Half a metre of deck at a metre a second.
fn mower(kind: ToolKind) -> Equipment {
    Equipment {
        kind,
        working_width: Metres::new(0.5),
        speed: MetresPerSecond::new(1.0),
        ..Equipment::walk_mower(Metres::new(0.5))
    }
}

/// 600 m2, near a rectangle: runs of 30 m. 1200 s are 20 min; turning 3 s in 30 is x1.1; overlap
/// /0.8; a minute to set up: 28.5. A slower mower loses less of its time in turning.
#[test]
fn mowing() {
    let base = work(TaskKind::Mow, Method::Mower, 600.0);
    let walk = mower(ToolKind::WalkMower);
    takes(&base, &walk, 1, 28.5);
    takes(&base, &walk, 2, 27.5 / 1.85 + 1.0);
    takes(
        &base,
        &mower(ToolKind::RideMower),
        1,
        20.0 * (1.0 + 4.0 / 30.0) / 0.8 + 2.5,
    );
    for (what, changed, minutes) in [
        (
            "wet",
            with(base, |w| w.condition.wet = true),
            25.0 * 1.08 / 0.8 + 1.0,
        ),
        (
            "laid",
            with(base, |w| w.condition.laid = true),
            25.0 * 1.08 / 0.8 + 1.0,
        ),
        (
            "6 in over 3 in",
            with(base, |w| w.condition.turf_height = Metres::from_inches(6.0)),
            32.875,
        ),
        (
            "ten degrees",
            with(base, |w| w.ground.slope = Degrees::new(10.0)),
            32.25,
        ),
        (
            "thick",
            with(base, |w| w.condition.density = Density::Thick),
            33.5,
        ),
        (
            "many obstacles",
            with(base, |w| w.ground.obstacles = Obstacles::Many),
            39.5,
        ),
        (
            "irregular",
            with(base, |w| w.ground.shape = Shape::Irregular),
            31.868,
        ),
        (
            "strip",
            with(base, |w| w.ground.shape = Shape::Strip),
            20.0 * 1.043_301 / 0.8 + 1.0,
        ),
        ("two passes", with(base, |w| w.passes = 2), 56.0),
        // The mower is out already, and the first pass has cut what stood tall.
        (
            "second pass",
            with(base, |w| {
                w.kind = TaskKind::SecondPass;
                w.condition.turf_height = Metres::from_inches(6.0);
                w.condition.laid = true;
            }),
            27.5,
        ),
    ] {
        let found = estimate(&changed, &walk, Crew::ALONE, &rates(), &Learned::NOTHING).unwrap();
        let median = found.median.value();
        assert!(
            (median - minutes).abs() < 5e-4,
            "{what}: {median} min, reckoned {minutes}"
        );
    }
    // An inch off 600 m2 packs to 457 l: seven bags of 70 l at a minute and a half.
    let collecting = with(base, |w| w.method = Method::CollectingMower);
    takes(
        &collecting,
        &walk.with_bag(Litres::new(70.0)),
        1,
        28.5 + 7.0 * 1.5,
    );
}

#[test]
fn edging() {
    let base = work(TaskKind::Edge, Method::Edger, 48.0);
    let tool = |work: &Work| Equipment::usual_for(work.method);
    for (what, changed, minutes) in [
        ("kept", base, 2.5),
        (
            "first",
            with(base, |w| w.condition.first_service = true),
            3.5,
        ),
        (
            "5 cm over",
            with(base, |w| w.condition.edge_overgrowth = Metres::new(0.05)),
            3.3,
        ),
        // Beyond six inches the shovel has been.
        (
            "half a metre over",
            with(base, |w| w.condition.edge_overgrowth = Metres::new(0.5)),
            2.0 * (1.0 + 8.0 * 0.1524) + 0.5,
        ),
        (
            "line head",
            with(base, |w| w.method = Method::LineHead),
            3.1,
        ),
        (
            "flat shovel",
            with(base, |w| {
                w.method = Method::FlatShovel;
                w.condition.edge_overgrowth = Metres::new(0.2);
            }),
            8.2,
        ),
    ] {
        let found = estimate(
            &changed,
            &tool(&changed),
            Crew::ALONE,
            &rates(),
            &Learned::NOTHING,
        )
        .unwrap();
        let median = found.median.value();
        assert!(
            (median - minutes).abs() < 5e-4,
            "{what}: {median} min, reckoned {minutes}"
        );
    }
}

#[test]
fn clearing_trimming_and_cleaning() {
    let knock_down = work(TaskKind::KnockDown, Method::LineHead, 192.0);
    let blow = work(TaskKind::BlowOff, Method::Blower, 72.0);
    for (what, work, minutes) in [
        ("knee high", knock_down, 10.5),
        (
            "a metre",
            with(knock_down, |w| w.condition.turf_height = Metres::new(1.0)),
            15.5,
        ),
        // (8 / 5.5)^2 is 2.1, so three passes.
        (
            "stems of 8 mm",
            with(knock_down, |w| w.condition.stem = Metres::new(0.008)),
            30.5,
        ),
        (
            "brush",
            work(TaskKind::CutBrush, Method::BladeHead, 36.0),
            10.5,
        ),
        (
            "1000 ft an hour",
            work(TaskKind::Trim, Method::LineHead, 50.8),
            10.5,
        ),
        (
            "1000 sq ft in 0.42 h",
            work(TaskKind::Collect, Method::RakeAndBag, 92.903_04),
            25.4,
        ),
        ("paving", blow, 1.5),
        (
            "after knocking down",
            with(blow, |w| w.condition.laid = true),
            2.5,
        ),
    ] {
        let tool = Equipment::usual_for(work.method);
        let found = estimate(&work, &tool, Crew::ALONE, &rates(), &Learned::NOTHING).unwrap();
        let median = found.median.value();
        assert!(
            (median - minutes).abs() < 5e-4,
            "{what}: {median} min, reckoned {minutes}"
        );
    }
}

/// 900 m2: 120 m round at 1.2 m/s is 100 s, and a minute. A search adds 900 / 1.5 s.
#[test]
fn walking() {
    let round = 100.0 / 60.0 + 1.0;
    let tall = |w: &mut Work| w.condition.turf_height = Metres::new(1.0);
    let before = work(TaskKind::WalkBefore, Method::OnFoot, 900.0);
    let after = work(TaskKind::WalkAfter, Method::OnFoot, 900.0);
    let on_foot = Equipment::ON_FOOT;
    takes(&before, &on_foot, 1, round);
    takes(&before, &on_foot, 4, round);
    takes(&with(before, tall), &on_foot, 1, round + 10.0);
    takes(&with(after, tall), &on_foot, 1, round);
    takes(
        &with(after, |w| w.meeting = Minutes::new(5.0)),
        &on_foot,
        3,
        round + 5.0,
    );
}

/// Guards the widest mower that a branch may record: 20 ft, as narrow to a gate as 100 mm.
#[test]
fn the_widest_mower_on_record_mows() {
    let widest = Equipment {
        working_width: Metres::new(6.096),
        machine_width: Metres::new(6.096),
        ..mower(ToolKind::RideMower)
    };
    let mow = work(TaskKind::Mow, Method::Mower, 6_000.0);
    for machine_width in [widest.machine_width, Metres::new(0.1)] {
        let tool = Equipment {
            machine_width,
            ..widest
        };
        assert!(estimate(&mow, &tool, Crew::ALONE, &rates(), &Learned::NOTHING).is_ok());
    }
}

/// A walk of `100 / 60 + 1` min that takes twice that here, and a meeting of 5 min that is as long as it was promised. A
/// crew's own pace goes over both.
#[test]
fn a_meeting_after_what_is_learned() {
    let after = with(work(TaskKind::WalkAfter, Method::OnFoot, 900.0), |w| {
        w.meeting = Minutes::new(5.0);
    });
    let class = Class::of(&after.condition);
    let record = Record {
        kind: after.kind,
        method: after.method,
        site: SiteId(1),
        crew: CrewId(1),
        class,
        rate: Minutes::new(3.0),
        actual: Minutes::new(6.0),
    };
    let factors = Factors::fit(&[record; 20], &Prior::default()).unwrap();
    let of = |crew| {
        let learned = factors.learned(after.kind, after.method, SiteId(1), CrewId(crew), class);
        let crew = Crew { size: 2 };
        let on_foot = Equipment::ON_FOOT;
        let (found, working) = explain(&after, &on_foot, crew, &rates(), &learned).unwrap();
        assert!((working.replayed().value() - found.median.value()).abs() < 1e-9);
        assert!((found.fixed.value() - found.median.value()).abs() < 1e-9);
        (found.median.value(), learned)
    };
    let round = 100.0 / 60.0 + 1.0;
    let (unknown, learned) = of(2);
    assert!(learned.factor() > 1.5 && (unknown - round * learned.factor() - 5.0).abs() < 1e-9);
    let (known, learned) = of(1);
    assert!(learned.pace() > 1.02);
    assert!((known - round * learned.factor() - 5.0 * learned.pace()).abs() < 1e-9);
}

#[test]
fn people_minutes_running_and_spread() {
    let of = |work: &Work, size| {
        let tool = Equipment {
            kind: ToolKind::WalkMower,
            ..mower(ToolKind::WalkMower)
        };
        estimate(work, &tool, Crew { size }, &rates(), &Learned::NOTHING).unwrap()
    };
    let base = work(TaskKind::Mow, Method::Mower, 600.0);
    let two = of(&base, 2);
    assert!((two.labour.value() - 2.0 * two.median.value()).abs() < 1e-9);
    assert!(
        (two.running.value() - 27.5).abs() < 1e-9,
        "the mower runs as long for two people"
    );
    assert!((two.spread.sigma() - 0.15).abs() < 1e-12);
    // 0.15 and 0.20 in quadrature.
    let first = of(&with(base, |w| w.condition.first_service = true), 1);
    assert!((first.spread.sigma() - 0.25).abs() < 1e-12);
}

#[test]
fn each_reason_a_task_cannot_be_done_has_its_own_fault() {
    let mow = work(TaskKind::Mow, Method::Mower, 100.0);
    let of = |work: &Work, tool: &Equipment, size| {
        estimate(work, tool, Crew { size }, &rates(), &Learned::NOTHING).unwrap_err()
    };
    let walk = mower(ToolKind::WalkMower);
    let line = Equipment::hand(ToolKind::LineHead);
    let tall = with(mow, |w| w.condition.turf_height = Metres::new(0.3));
    let steep = with(mow, |w| w.ground.slope = Degrees::new(15.1));
    let gated = with(mow, |w| w.ground.narrowest_gate = Some(Metres::new(0.5)));
    let long = with(mow, |w| w.measure = Measure::Length(Metres::new(9.0)));
    let edger = with(mow, |w| w.method = Method::Edger);
    let bagless = with(mow, |w| w.method = Method::CollectingMower);
    assert!(matches!(of(&tall, &walk, 1), Fault::TooTallToMow { .. }));
    assert!(matches!(of(&steep, &walk, 1), Fault::TooSteep { .. }));
    assert!(matches!(of(&gated, &walk, 1), Fault::GateTooNarrow { .. }));
    assert!(matches!(of(&long, &walk, 1), Fault::WrongMeasure { .. }));
    assert!(matches!(of(&edger, &walk, 1), Fault::WrongMethod { .. }));
    assert!(matches!(of(&bagless, &walk, 1), Fault::WrongTool { .. }));
    assert!(matches!(of(&mow, &line, 1), Fault::WrongTool { .. }));
    assert!(matches!(
        of(&mow, &walk, 0),
        Fault::OutOfRange {
            field: "crew.size",
            ..
        }
    ));
    let none = with(mow, |w| w.passes = 0);
    assert!(matches!(
        of(&none, &walk, 1),
        Fault::OutOfRange {
            field: "work.passes",
            ..
        }
    ));
}

#[test]
fn a_line_of_a_working_reads_as_a_sum_does() {
    let mow = with(work(TaskKind::Mow, Method::Mower, 600.0), |w| {
        w.condition.wet = true;
    });
    let walk = mower(ToolKind::WalkMower);
    let (_, working) = explain(&mow, &walk, Crew::ALONE, &rates(), &Learned::NOTHING).unwrap();
    let lines: Vec<String> = working.lines().iter().map(ToString::to_string).collect();
    for line in [
        "area: 600.000 m2 (as given)",
        "area over width times speed: = 20.000 min (computed)",
        "wet turf: x 1.250 (common practice, no source)",
        "overlap: x 1.250 (company setting)",
        "fetch, start and put back: + 1.000 min (common practice, no source)",
    ] {
        assert!(
            lines.iter().any(|found| found == line),
            "{line} is not in {lines:#?}"
        );
    }
    assert_eq!(Hours::new(1.5).to_string(), "1.5 h");
}
