//! The working of an estimate gives the estimate, and the estimate allocates nothing.

use allocation_counter::measure;
use forenoon_trade::equipment::Equipment;
use forenoon_trade::estimate::{Crew, Work, estimate, explain};
use forenoon_trade::learn::Learned;
use forenoon_trade::rates::Rates;
use forenoon_trade::site::{Condition, Density, Ground, Obstacles, Shape};
use forenoon_trade::task::{Measure, Method, TaskKind};
use forenoon_trade::units::{Degrees, Metres, Minutes, SquareMetres};
use std::hint::black_box;

/// One task of each kind and every method that can do it, with every factor at work.
fn tasks() -> Vec<(Work, Equipment)> {
    let mut tasks = Vec::new();
    for kind in TaskKind::ALL {
        for method in Method::ALL.into_iter().filter(|method| method.can_do(kind)) {
            let measure = match kind {
                TaskKind::Edge | TaskKind::Trim => Measure::Length(Metres::new(60.0)),
                _ => Measure::Area(SquareMetres::new(450.0)),
            };
            let work = Work {
                kind,
                method,
                measure,
                ground: Ground {
                    slope: Degrees::new(8.0),
                    narrowest_gate: Some(Metres::new(1.2)),
                    obstacles: Obstacles::Some,
                    shape: Shape::Irregular,
                },
                condition: Condition {
                    turf_height: Metres::new(0.2),
                    density: Density::Thick,
                    wet: true,
                    laid: true,
                    stem: Metres::new(0.008),
                    edge_overgrowth: Metres::new(0.05),
                    first_service: true,
                    ..Condition::default()
                },
                passes: 2,
                meeting: Minutes::new(3.0),
            };
            tasks.push((work, Equipment::usual_for(method)));
        }
    }
    tasks
}

#[test]
fn the_working_replays_to_the_answer() {
    let rates = Rates::default();
    let crew = Crew { size: 3 };
    let tasks = tasks();
    assert_eq!(tasks.len(), 16, "every kind with each of its methods");
    for (work, tool) in &tasks {
        let quick = estimate(work, tool, crew, &rates, &Learned::NOTHING).unwrap();
        let (slow, working) = explain(work, tool, crew, &rates, &Learned::NOTHING).unwrap();
        assert_eq!(quick, slow, "{work:?}");
        let replayed = working.replayed();
        let error = (replayed.value() - quick.median.value()).abs();
        assert!(
            error < 1e-9 * quick.median.value(),
            "{work:?}: {replayed} is not {}",
            quick.median
        );
    }
}

// Counted on this thread only: the harness allocates on its own when it likes.
#[test]
fn the_answer_allocates_nothing() {
    let rates = Rates::default();
    let crew = Crew { size: 3 };
    let tasks = tasks();
    let quick = measure(|| {
        for _ in 0..1000 {
            for (work, tool) in &tasks {
                let _ = black_box(estimate(
                    black_box(work),
                    tool,
                    crew,
                    &rates,
                    &Learned::NOTHING,
                ));
            }
        }
    });
    assert_eq!(quick.count_total, 0, "{quick:?}");

    // The counter does count: the explained estimate allocates its lines.
    let explained = measure(|| {
        for (work, tool) in &tasks {
            let _ = black_box(explain(work, tool, crew, &rates, &Learned::NOTHING));
        }
    });
    assert!(explained.count_total >= tasks.len() as u64);
}
