//! The one-third rule: turf comes down in stages unless a deadline overrides it.

#![expect(
    clippy::unwrap_used,
    reason = "a test whose setting cannot be made must fail"
)]

use forenoon_trade::compose::{Composition, Finish, Notice, Visit, compose};
use forenoon_trade::rates::Rates;
use forenoon_trade::site::{Area, AreaKind, Condition, Ground, Obstacles};
use forenoon_trade::task::TaskKind;
use forenoon_trade::units::{Metres, SquareMetres};

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

fn job(visit: &Visit<'_>) -> Composition {
    compose(visit, &Rates::default()).unwrap()
}

#[test]
fn turf_past_its_trigger_comes_down_a_third_at_a_time() {
    let condition = Condition {
        turf_height: Metres::from_inches(8.0),
        ..Condition::default()
    };
    let areas = [area(turf(), condition)];
    let job = job(&Visit::to(&areas));
    let heights = job
        .notices
        .iter()
        .find_map(|notice| match notice {
            Notice::CutInStages { area: 0, heights } => Some(heights.clone()),
            _ => None,
        })
        .unwrap();
    // 8 in to 5.33, 3.56, 3: each step takes a third at most.
    assert_eq!(heights.len(), 3);
    let mut before = condition.turf_height;
    for height in &heights {
        assert!(height.value() >= before.value() * 2.0 / 3.0 - 1e-12);
        before = *height;
    }
    assert_eq!(before, condition.set_height);
    let mow = job
        .tasks
        .iter()
        .find(|task| task.work.kind == TaskKind::Mow)
        .unwrap();
    assert_eq!(mow.work.condition.set_height, heights[0]);
}

#[test]
fn a_deadline_overrides_the_one_third_rule_and_says_so() {
    let condition = Condition {
        turf_height: Metres::from_inches(8.0),
        ..Condition::default()
    };
    let areas = [area(turf(), condition)];
    let job = job(&Visit {
        finish: Finish::ThisVisit,
        ..Visit::to(&areas)
    });
    let Some(Notice::DeadlineOverridesOneThird { removed_share, .. }) = job.notices.first() else {
        panic!("no notice: {:?}", job.notices);
    };
    assert!((removed_share - 5.0 / 8.0).abs() < 1e-12);
    let mow = job
        .tasks
        .iter()
        .find(|task| task.work.kind == TaskKind::Mow)
        .unwrap();
    assert_eq!(mow.work.condition.set_height, condition.set_height);
}

#[test]
fn turf_at_its_trigger_keeps_the_one_third_rule() {
    let set = Metres::from_inches(3.0);
    let condition = Condition {
        turf_height: set * 1.5,
        set_height: set,
        ..Condition::default()
    };
    let areas = [area(turf(), condition)];
    assert_eq!(job(&Visit::to(&areas)).notices, []);
}

/// Mowing heights of the University of Tennessee (a talk of 2014, as the trade press printed
/// them): for every grass the height to mow at, which keeps the one-third rule at the set height.
/// Zoysia's 0.56 is 0.5625 rounded. In inches: set height, mow at.
#[test]
fn the_published_mowing_heights_keep_the_one_third_rule() {
    for (grass, set, mow_at) in [
        ("tall fescue, lowest", 1.0, 1.5),
        ("tall fescue, highest", 3.0, 4.5),
        ("perennial rye, lowest", 0.25, 0.375),
        ("Kentucky bluegrass, lowest", 0.75, 1.125),
        ("creeping bent, highest", 0.25, 0.375),
        ("Bermuda, lowest", 0.5, 0.75),
        ("zoysia, lowest", 0.375, 0.56),
        ("centipede, lowest", 1.0, 1.5),
        ("St. Augustine, lowest", 2.0, 3.0),
        ("St. Augustine, highest", 4.0, 6.0),
    ] {
        let noticed = |height: f64| {
            let condition = Condition {
                turf_height: Metres::from_inches(height),
                set_height: Metres::from_inches(set),
                ..Condition::default()
            };
            let areas = [area(turf(), condition)];
            !job(&Visit::to(&areas)).notices.is_empty()
        };
        assert!(!noticed(mow_at), "{grass}: at the printed height");
        assert!(noticed(mow_at * 1.02), "{grass}: two per cent above it");
    }
}
