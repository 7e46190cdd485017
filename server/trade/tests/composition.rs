//! Which tasks a described site calls for, and in which order.

#![expect(
    clippy::unwrap_used,
    reason = "a test whose setting cannot be made must fail"
)]

use forenoon_trade::compose::{
    Breach, Composition, Debris, Notice, Rule, Step, Visit, breaches, compose,
};
use forenoon_trade::fault::Fault;
use forenoon_trade::rates::Rates;
use forenoon_trade::site::{Area, AreaKind, Condition, Ground, Obstacles};
use forenoon_trade::task::{Method, TaskKind};
use forenoon_trade::units::{Metres, Minutes, SquareMetres};

fn area(kind: AreaKind, condition: Condition) -> Area {
    Area {
        kind,
        ground: Ground {
            obstacles: Obstacles::None,
            ..Ground::default()
        },
        condition,
    }
}

fn turf() -> AreaKind {
    AreaKind::Turf(SquareMetres::new(300.0))
}

fn edge() -> AreaKind {
    AreaKind::HardEdge(Metres::new(40.0))
}

fn overgrown() -> Condition {
    Condition {
        turf_height: Metres::from_feet(3.5),
        first_service: true,
        ..Condition::default()
    }
}

fn job(visit: &Visit<'_>) -> Composition {
    compose(visit, &Rates::default()).unwrap()
}

fn order(job: &Composition) -> Vec<(TaskKind, Method)> {
    job.tasks
        .iter()
        .map(|task| (task.work.kind, task.work.method))
        .collect()
}

#[test]
fn a_maintained_lawn_is_walked_edged_mown_once_and_blown() {
    let areas = [
        area(turf(), Condition::default()),
        area(edge(), Condition::default()),
    ];
    assert_eq!(
        order(&job(&Visit::to(&areas))),
        [
            (TaskKind::WalkBefore, Method::OnFoot),
            (TaskKind::Edge, Method::Edger),
            (TaskKind::Mow, Method::Mower),
            (TaskKind::BlowOff, Method::Blower),
            (TaskKind::WalkAfter, Method::OnFoot),
        ]
    );
}

#[test]
fn an_overgrown_first_visit_is_knocked_down_before_a_mower_and_mown_twice() {
    let areas = [area(turf(), overgrown()), area(edge(), overgrown())];
    let job = job(&Visit::to(&areas));
    assert_eq!(
        order(&job),
        [
            (TaskKind::WalkBefore, Method::OnFoot),
            (TaskKind::Edge, Method::Edger),
            (TaskKind::KnockDown, Method::LineHead),
            (TaskKind::Mow, Method::Mower),
            (TaskKind::SecondPass, Method::Mower),
            (TaskKind::BlowOff, Method::Blower),
            (TaskKind::WalkAfter, Method::OnFoot),
        ]
    );
    assert!(job.notices.contains(&Notice::HiddenObstacles { area: 0 }));
    assert!(
        job.notices
            .contains(&Notice::KnockDownPastOneThird { area: 0 })
    );
    assert!(
        job.notices
            .iter()
            .any(|notice| matches!(notice, Notice::KeepClear { .. }))
    );
}

/// Every kind of work on one site, so that the whole order is written out once.
#[test]
fn the_whole_order_of_work() {
    let deep = Condition {
        edge_overgrowth: Metres::from_inches(8.0),
        ..overgrown()
    };
    let areas = [
        area(turf(), overgrown()),
        area(edge(), deep),
        area(
            AreaKind::Brush(SquareMetres::new(30.0)),
            Condition::default(),
        ),
        area(AreaKind::Bed(SquareMetres::new(30.0)), Condition::default()),
        area(
            AreaKind::HardSurface(SquareMetres::new(30.0)),
            Condition::default(),
        ),
    ];
    let before_mowing = [
        (TaskKind::WalkBefore, Method::OnFoot),
        (TaskKind::Edge, Method::FlatShovel),
        (TaskKind::Edge, Method::Edger),
        (TaskKind::KnockDown, Method::LineHead),
        (TaskKind::CutBrush, Method::LineHead),
        (TaskKind::Trim, Method::LineHead),
    ];
    let mowing = [
        (TaskKind::Mow, Method::Mower),
        (TaskKind::SecondPass, Method::Mower),
    ];
    let cleaning = [
        (TaskKind::Collect, Method::RakeAndBag),
        (TaskKind::BlowOff, Method::Blower),
    ];
    let after = [(TaskKind::WalkAfter, Method::OnFoot)];
    let usual = [&before_mowing[..], &mowing, &cleaning, &after].concat();
    assert_eq!(order(&job(&Visit::to(&areas))), usual);
    let sensitive = [&before_mowing[..], &cleaning, &mowing, &after].concat();
    assert_eq!(
        order(&job(&Visit {
            sensitive: true,
            ..Visit::to(&areas)
        })),
        sensitive
    );
}

#[test]
fn every_hard_edge_takes_an_edger_whatever_the_visit_and_the_state() {
    for first_service in [false, true] {
        for inches in [0.0, 3.0, 6.0, 12.0] {
            let condition = Condition {
                first_service,
                edge_overgrowth: Metres::from_inches(inches),
                ..Condition::default()
            };
            let areas = [area(edge(), condition)];
            let edging: Vec<Method> = job(&Visit::to(&areas))
                .tasks
                .iter()
                .filter(|task| task.work.kind == TaskKind::Edge)
                .map(|task| task.work.method)
                .collect();
            // Six to twelve inches over the edge: a flat shovel first. Common practice, no source.
            if inches >= 6.0 {
                assert_eq!(edging, [Method::FlatShovel, Method::Edger]);
            } else {
                assert_eq!(edging, [Method::Edger]);
            }
        }
    }
}

#[test]
fn stems_near_half_an_inch_call_for_a_blade_head() {
    for (inches, method, rule) in [
        (0.10, Method::LineHead, Rule::BrushBeforeTurf),
        (0.30, Method::LineHead, Rule::BrushBeforeTurf),
        (0.45, Method::BladeHead, Rule::BladeForStems),
        (0.50, Method::BladeHead, Rule::BladeForStems),
        (1.00, Method::BladeHead, Rule::BladeForStems),
    ] {
        let condition = Condition {
            stem: Metres::from_inches(inches),
            ..Condition::default()
        };
        let areas = [area(AreaKind::Brush(SquareMetres::new(50.0)), condition)];
        let job = job(&Visit::to(&areas));
        let cut = job
            .tasks
            .iter()
            .find(|task| task.work.kind == TaskKind::CutBrush)
            .unwrap();
        assert_eq!((cut.work.method, cut.rule), (method, rule), "{inches} in");
    }
}

#[test]
fn stems_beyond_any_hand_held_head_are_a_fault_of_that_area() {
    let condition = Condition {
        stem: Metres::from_inches(3.0),
        ..Condition::default()
    };
    let areas = [
        area(turf(), Condition::default()),
        area(AreaKind::Brush(SquareMetres::new(50.0)), condition),
    ];
    let faults = compose(&Visit::to(&areas), &Rates::default()).unwrap_err();
    assert_eq!(faults.len(), 1);
    assert_eq!(faults[0].area, Some(1));
    assert!(matches!(
        faults[0].fault,
        Fault::StemTooThick {
            method: Method::BladeHead,
            ..
        }
    ));
}

#[test]
fn debris_that_cannot_be_blown_is_collected_and_the_mower_collects() {
    let areas = [
        area(turf(), Condition::default()),
        area(edge(), Condition::default()),
    ];
    let visit = Visit {
        debris: Debris::MustCollect,
        ..Visit::to(&areas)
    };
    let job = job(&visit);
    let kinds = order(&job);
    assert!(kinds.contains(&(TaskKind::Mow, Method::CollectingMower)));
    assert!(kinds.contains(&(TaskKind::Collect, Method::RakeAndBag)));
    assert!(!kinds.iter().any(|(kind, _)| *kind == TaskKind::BlowOff));
}

#[test]
fn brush_cuttings_are_collected_even_where_debris_may_be_blown() {
    let areas = [
        area(
            AreaKind::Brush(SquareMetres::new(50.0)),
            Condition::default(),
        ),
        area(edge(), Condition::default()),
    ];
    let kinds = order(&job(&Visit::to(&areas)));
    assert!(kinds.contains(&(TaskKind::Collect, Method::RakeAndBag)));
    assert!(kinds.contains(&(TaskKind::BlowOff, Method::Blower)));
}

#[test]
fn on_a_sensitive_site_blow_off_comes_before_mowing() {
    let areas = [area(turf(), overgrown()), area(edge(), overgrown())];
    let place = |sensitive, wanted| {
        let visit = Visit {
            sensitive,
            ..Visit::to(&areas)
        };
        job(&visit)
            .tasks
            .iter()
            .position(|task| task.work.kind == wanted)
            .unwrap()
    };
    assert!(place(true, TaskKind::BlowOff) < place(true, TaskKind::Mow));
    assert!(place(true, TaskKind::BlowOff) > place(true, TaskKind::KnockDown));
    assert!(place(false, TaskKind::BlowOff) > place(false, TaskKind::SecondPass));
}

#[test]
fn walks_carry_the_meetings_that_were_promised_and_no_others() {
    let areas = [area(turf(), Condition::default())];
    let visit = Visit {
        meet_after: Some(Minutes::new(10.0)),
        ..Visit::to(&areas)
    };
    let job = job(&visit);
    let first = job.tasks.first().unwrap().work;
    let last = job.tasks.last().unwrap().work;
    assert_eq!(
        (first.kind, first.meeting),
        (TaskKind::WalkBefore, Minutes::ZERO)
    );
    assert_eq!(
        (last.kind, last.meeting),
        (TaskKind::WalkAfter, Minutes::new(10.0))
    );
}

#[test]
fn a_first_cut_is_mown_twice_and_a_kept_first_visit_once() {
    for (inches, first_service, twice) in [
        (4.0, false, false),
        // Too tall to mow on any visit: knocked down, so mown twice.
        (12.0, false, true),
        (4.0, true, false),
        (5.0, false, false),
        (5.0, true, true),
        (7.0, false, true),
    ] {
        let condition = Condition {
            turf_height: Metres::from_inches(inches),
            first_service,
            ..Condition::default()
        };
        let areas = [area(turf(), condition)];
        let found = order(&job(&Visit::to(&areas)))
            .iter()
            .any(|(kind, _)| *kind == TaskKind::SecondPass);
        assert_eq!(found, twice, "{inches} in, first service {first_service}");
    }
}

#[test]
fn what_is_composed_breaches_nothing_and_what_is_spoilt_does() {
    let areas = [area(turf(), overgrown()), area(edge(), overgrown())];
    for sensitive in [false, true] {
        for debris in [Debris::Blowable, Debris::MustCollect] {
            let visit = Visit {
                sensitive,
                debris,
                ..Visit::to(&areas)
            };
            let steps: Vec<Step> = job(&visit)
                .tasks
                .iter()
                .map(|task| Step {
                    kind: task.work.kind,
                    method: task.work.method,
                    area: task.area,
                })
                .collect();
            assert_eq!(breaches(&visit, &steps), []);

            let without_walk = &steps[1..];
            assert_eq!(
                breaches(&visit, without_walk),
                [Breach::WalkMissing(TaskKind::WalkBefore)]
            );
            let mut line_edged = steps.clone();
            line_edged[1].method = Method::LineHead;
            assert_eq!(
                breaches(&visit, &line_edged),
                [Breach::LineHeadOnHardEdge { area: Some(1) }]
            );
            let no_knock_down: Vec<Step> = steps
                .iter()
                .copied()
                .filter(|step| step.kind != TaskKind::KnockDown)
                .collect();
            assert_eq!(
                breaches(&visit, &no_knock_down),
                [Breach::MowerWithoutKnockDown { area: 0 }]
            );
            let mut swapped = steps.clone();
            swapped.swap(1, 2);
            assert_eq!(
                breaches(&visit, &swapped),
                [Breach::OutOfOrder {
                    first: TaskKind::KnockDown,
                    then: TaskKind::Edge
                }]
            );
        }
    }
}

#[test]
fn every_fault_of_a_description_is_named_at_once() {
    let mut bad = area(turf(), Condition::default());
    bad.condition.set_height = Metres::new(f64::NAN);
    bad.kind = AreaKind::Turf(SquareMetres::ZERO);
    let areas = [area(edge(), Condition::default()), bad];
    let visit = Visit {
        meet_before: Some(Minutes::new(-1.0)),
        ..Visit::to(&areas)
    };
    let faults = compose(&visit, &Rates::default()).unwrap_err();
    let places: Vec<Option<usize>> = faults.iter().map(|fault| fault.area).collect();
    assert_eq!(places, [None, Some(1), Some(1)]);
    assert!(compose(&Visit::to(&[]), &Rates::default()).is_err());
}
