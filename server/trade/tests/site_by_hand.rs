//! What follows from a described site, reckoned by hand: trimming, cleaning, severity, waiting.

use forenoon_trade::compose::{Debris, Visit, compose};
use forenoon_trade::estimate::{Crew, Estimate, Job, Tooled, Work};
use forenoon_trade::learn::{Class, CrewId, Factors, Growth, Prior, Record, SiteId};
use forenoon_trade::rates::Rates;
use forenoon_trade::site::{Area, AreaKind, Condition, Ground, Obstacles};
use forenoon_trade::task::{Measure, Method, TaskKind};
use forenoon_trade::units::{Metres, Minutes, SquareMetres};
use forenoon_trade::wear::Severity;

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

/// Two tools, ten and twenty minutes alone and nothing fixed, two people: 30 / 1.85 is 16.2, but
/// the scarcest tool has work for 20.
#[test]
fn a_job_waits_for_its_scarcest_tool() {
    let part = |alone: f64| Estimate {
        median: Minutes::new(alone / 1.85),
        spread: forenoon_trade::spread::Spread::new(0.0),
        fixed: Minutes::ZERO,
        alone: Minutes::new(alone),
        running: Minutes::new(alone),
        labour: Minutes::new(2.0 * alone / 1.85),
    };
    let parts = [(Method::Edger, part(10.0)), (Method::Mower, part(20.0))];
    let job = Job::of(&parts, Crew { size: 2 }, |_| 1, &Rates::default());
    assert!((job.median.value() - 20.0).abs() < 1e-9);
    assert!((job.waiting.value() - (20.0 - 30.0 / 1.85)).abs() < 1e-9);
    let job = Job::of(&parts, Crew { size: 2 }, |_| 2, &Rates::default());
    assert!((job.median.value() - 30.0 / 1.85).abs() < 1e-9);
    assert!((job.planned.value() - 30.0 / 1.85).abs() < 1e-9);

    // The edger and the line head on one powerhead: both wait for it, 10 + 14 minutes.
    let tooled = |alone, tools| Tooled {
        estimate: part(alone),
        tools,
    };
    let tasks = [
        tooled(10.0, [Some(1), Some(9)]),
        tooled(14.0, [Some(2), Some(9)]),
        tooled(26.0, [Some(3), None]),
    ];
    let job = Job::with_tools(&tasks, Crew { size: 2 }, &Rates::default());
    assert!((job.planned.value() - 50.0 / 1.85).abs() < 1e-9);
    let job = Job::with_tools(&tasks[..2], Crew { size: 2 }, &Rates::default());
    assert!((job.planned.value() - 24.0).abs() < 1e-9);
    // A walk comes before: it adds to the wait.
    let walk = Estimate {
        fixed: Minutes::new(3.0),
        alone: Minutes::ZERO,
        median: Minutes::new(3.0),
        ..part(0.0)
    };
    let with_walk = [
        Tooled {
            estimate: walk,
            tools: [None, None],
        },
        tasks[0],
        tasks[1],
    ];
    let job = Job::with_tools(&with_walk, Crew { size: 2 }, &Rates::default());
    assert!((job.planned.value() - 27.0).abs() < 1e-9);
}

#[test]
fn trimming_follows_from_obstacles_borders_and_beds() {
    let trim_of = |kind, obstacles| {
        let ground = Ground {
            obstacles,
            ..Ground::default()
        };
        let areas = [Area {
            kind,
            ground,
            condition: Condition::default(),
        }];
        let job = compose(&Visit::to(&areas), &Rates::default()).unwrap();
        job.tasks
            .iter()
            .find(|task| task.work.kind == TaskKind::Trim)
            .map(|task| task.work.measure)
    };
    let turf = AreaKind::Turf(SquareMetres::new(200.0));
    let metres = |metres| Some(Measure::Length(Metres::new(metres)));
    assert_eq!(trim_of(turf, Obstacles::None), None);
    assert_eq!(trim_of(turf, Obstacles::Few), metres(6.0));
    assert_eq!(trim_of(turf, Obstacles::Some), metres(16.0));
    assert_eq!(trim_of(turf, Obstacles::Many), metres(36.0));
    assert_eq!(
        trim_of(AreaKind::Border(Metres::new(25.0)), Obstacles::None),
        metres(25.0)
    );
    assert_eq!(
        trim_of(AreaKind::Bed(SquareMetres::new(9.0)), Obstacles::None),
        metres(12.0)
    );
}

#[test]
fn what_is_cleaned_follows_from_what_lies_there() {
    let condition = Condition {
        turf_height: Metres::new(1.0),
        ..Condition::default()
    };
    let ground = Ground::default();
    let turf = Area {
        kind: AreaKind::Turf(SquareMetres::new(100.0)),
        ground,
        condition,
    };
    let brush = Area {
        kind: AreaKind::Brush(SquareMetres::new(30.0)),
        ground,
        condition,
    };
    let edge = Area {
        kind: AreaKind::HardEdge(Metres::new(40.0)),
        ground,
        condition,
    };
    let paving = Area {
        kind: AreaKind::HardSurface(SquareMetres::new(75.0)),
        ground,
        condition,
    };
    let cleaned = |areas: &[Area], debris, kind| {
        let visit = Visit {
            debris,
            ..Visit::to(areas)
        };
        let job = compose(&visit, &Rates::default()).unwrap();
        job.tasks
            .iter()
            .find(|task| task.work.kind == kind)
            .map(|task| match task.work.measure {
                Measure::Area(area) => area.value(),
                Measure::Length(length) => length.value(),
            })
    };
    let (blow, collect) = (TaskKind::BlowOff, TaskKind::Collect);
    // A metre and a half of paving beside an edge, unless the paving itself is described.
    assert_eq!(cleaned(&[turf, edge], Debris::Blowable, blow), Some(60.0));
    assert_eq!(
        cleaned(&[turf, edge, paving], Debris::Blowable, blow),
        Some(75.0)
    );
    assert_eq!(cleaned(&[turf], Debris::Blowable, blow), None);
    assert_eq!(cleaned(&[turf, edge], Debris::Blowable, collect), None);
    assert_eq!(
        cleaned(&[turf, edge], Debris::MustCollect, collect),
        Some(160.0)
    );
    assert_eq!(
        cleaned(&[turf, brush], Debris::Blowable, collect),
        Some(30.0)
    );
}

#[test]
fn the_site_as_a_whole_is_as_wet_and_tall_and_new_as_the_worst_of_it() {
    let worst = Condition {
        wet: true,
        first_service: true,
        turf_height: Metres::new(1.0),
        ..Condition::default()
    };
    let ground = Ground::default();
    let kind = AreaKind::Turf(SquareMetres::new(50.0));
    let areas = [Condition::default(), worst].map(|condition| Area {
        kind,
        ground,
        condition,
    });
    let visit = Visit {
        meet_before: Some(Minutes::new(7.0)),
        ..Visit::to(&areas)
    };
    let walk = compose(&visit, &Rates::default())
        .unwrap()
        .tasks
        .first()
        .unwrap()
        .work;
    assert!(walk.condition.wet && walk.condition.first_service && walk.condition.laid);
    assert_eq!(walk.condition.turf_height, Metres::new(1.0));
    assert_eq!(walk.measure, Measure::Area(SquareMetres::new(100.0)));
    assert_eq!(walk.meeting, Minutes::new(7.0));
}

#[test]
fn severity_by_state() {
    let severity = Severity::default();
    let mow = work(TaskKind::Mow, Method::Mower, 100.0);
    let cut = work(TaskKind::CutBrush, Method::BladeHead, 100.0);
    for (what, work, expected) in [
        ("kept", mow, 1.0),
        ("kept and wet", with(mow, |w| w.condition.wet = true), 1.2),
        (
            "tall",
            with(mow, |w| w.condition.turf_height = Metres::from_inches(5.0)),
            1.5,
        ),
        ("laid", with(mow, |w| w.condition.laid = true), 3.5),
        ("brush", cut, 4.0),
        (
            "stems",
            with(cut, |w| w.condition.stem = Metres::from_inches(0.5)),
            5.0,
        ),
        ("edge", work(TaskKind::Edge, Method::Edger, 10.0), 1.0),
    ] {
        assert!((severity.of(&work) - expected).abs() < 1e-12, "{what}");
        let effective = severity.effective(&work, Minutes::new(30.0));
        assert!((effective.value() - 30.0 * expected).abs() < 1e-9, "{what}");
    }
}

/// A learned spread rests on the noise of the records and on what is still uncertain: more and
/// steadier records narrow it, unsteady ones widen it.
#[test]
fn a_learned_spread_follows_the_records() {
    let class = Class {
        growth: Growth::Kept,
        wet: false,
    };
    let sigma = |records: u32, swing: f64| {
        let records: Vec<Record> = (0..records)
            .map(|visit| Record {
                kind: TaskKind::Mow,
                method: Method::Mower,
                site: SiteId(1),
                crew: CrewId(1),
                class,
                rate: Minutes::new(30.0),
                actual: Minutes::new(30.0) * (if visit % 2 == 0 { swing } else { -swing }).exp(),
            })
            .collect();
        Factors::fit(&records, &Prior::default())
            .unwrap()
            .learned(TaskKind::Mow, Method::Mower, SiteId(1), CrewId(1), class)
            .sigma()
    };
    assert_eq!(sigma(4, 0.1), None, "four records are too few");
    let (few, many) = (sigma(6, 0.1).unwrap(), sigma(60, 0.1).unwrap());
    assert!(many < few, "{many} against {few}");
    assert!(sigma(60, 0.4).unwrap() > many * 1.5);
}
