//! Task estimates per second on one core. Run with `cargo bench -p forenoon-trade`.

use criterion::{Criterion, Throughput, criterion_group, criterion_main};
use forenoon_trade::equipment::Equipment;
use forenoon_trade::estimate::{Crew, Work, estimate, explain};
use forenoon_trade::learn::Learned;
use forenoon_trade::rates::Rates;
use forenoon_trade::site::{Condition, Ground};
use forenoon_trade::task::{Measure, Method, TaskKind};
use forenoon_trade::units::{Metres, Minutes, SquareMetres};
use std::hint::black_box;

/// One task of each kind, on a mid-sized lot.
fn tasks() -> Vec<(Work, Equipment)> {
    let area = Measure::Area(SquareMetres::new(600.0));
    let length = Measure::Length(Metres::new(80.0));
    [
        (TaskKind::WalkBefore, Method::OnFoot, area),
        (TaskKind::Edge, Method::Edger, length),
        (TaskKind::KnockDown, Method::LineHead, area),
        (TaskKind::CutBrush, Method::BladeHead, area),
        (TaskKind::Trim, Method::LineHead, length),
        (TaskKind::Mow, Method::CollectingMower, area),
        (TaskKind::SecondPass, Method::Mower, area),
        (TaskKind::Collect, Method::RakeAndBag, area),
        (TaskKind::BlowOff, Method::Blower, area),
        (TaskKind::WalkAfter, Method::OnFoot, area),
    ]
    .into_iter()
    .map(|(kind, method, measure)| {
        let work = Work {
            kind,
            method,
            measure,
            ground: Ground::default(),
            condition: Condition::default(),
            passes: 1,
            meeting: Minutes::ZERO,
        };
        (work, Equipment::usual_for(method))
    })
    .collect()
}

fn estimates(c: &mut Criterion) {
    let rates = Rates::default();
    let tasks = tasks();
    let mut group = c.benchmark_group("ten kinds of task");
    group.throughput(Throughput::Elements(tasks.len() as u64));
    group.bench_function("estimate", |b| {
        b.iter(|| {
            for (work, tool) in black_box(&tasks) {
                let _ = black_box(estimate(
                    work,
                    tool,
                    Crew { size: 2 },
                    &rates,
                    &Learned::NOTHING,
                ));
            }
        });
    });
    group.bench_function("explain", |b| {
        b.iter(|| {
            for (work, tool) in black_box(&tasks) {
                let _ = black_box(explain(
                    work,
                    tool,
                    Crew { size: 2 },
                    &rates,
                    &Learned::NOTHING,
                ));
            }
        });
    });
    group.finish();
}

criterion_group!(benches, estimates);
criterion_main!(benches);
