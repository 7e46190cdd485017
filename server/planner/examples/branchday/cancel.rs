//! How long everything a caller can start takes to return once it is cancelled.
//!
//! Each kind of work is started again and again and cancelled at an instant drawn from the length it would have. Two
//! times are taken from the instant of the cancel on: the wall's, and that of the processor, which other work on the
//! machine does not lengthen. Work on several threads is charged with the processor time of all of them together.

use std::sync::mpsc::channel;
use std::thread;
use std::time::{Duration, Instant};

use forenoon_planner::problem::Progress;
use forenoon_planner::replan::{ProposalSettings, as_of, propose, unit_out};
use forenoon_planner::risk::simulate_until;
use forenoon_planner::value::{TrialSettings, WhatIf, what_if};
use forenoon_planner::{
    Cancel, Heat, Iterations, Problem, Settings, Spent, UnitIx, explain_until, solve,
};
use nix::sys::time::TimeValLike;
use nix::time::{ClockId, clock_gettime};
use nix::unistd::{Pid, gettid};
use rand::{RngExt, SeedableRng};
use rand_xoshiro::Xoshiro256PlusPlus;

use crate::support;

/// Ten past ten on the axis of the generated days.
const NOW: i64 = 10 * 3_600 + 600;
/// Iterations of each strategy of a re-plan, and of each search of a value.
const ITERATIONS: u64 = 1_000;
/// Lives of a day in a simulation.
const RUNS: u32 = 20_000;
/// Every work is cancelled within this time.
const SEARCHED: Duration = Duration::from_secs(1);

/// The kernel's clock for the processor time of one thread, as numbered in `linux/posix-timers.h`.
fn clock_of(thread: Pid) -> ClockId {
    const PER_THREAD: i32 = 4;
    const SCHEDULED: i32 = 2;
    ClockId::from_raw((!thread.as_raw() << 3) | PER_THREAD | SCHEDULED)
}

fn nanoseconds(clock: ClockId) -> i64 {
    clock_gettime(clock)
        .expect("the thread lives")
        .num_nanoseconds()
}

/// A kind of work: its name, what it does, and the clock it is charged by.
struct Work<'w>(&'w str, &'w dyn Fn(&Cancel), ClockId);

/// Milliseconds from the cancel to the return, of the wall and of the processor.
type Latency = (f64, f64);

/// Does the work and cancels it `after` so long; none if it was done before.
fn cancelled(work: &dyn Fn(&Cancel), after: Duration, charged: ClockId) -> Option<Latency> {
    let cancel = &Cancel::new();
    let (done, waits) = channel();
    thread::scope(|scope| {
        let raised = scope.spawn(move || {
            // Whichever comes first: the instant, or the end of the work.
            waits.recv_timeout(after).is_err().then(|| {
                let (at, used) = (Instant::now(), nanoseconds(charged));
                cancel.raise();
                (at, used)
            })
        });
        work(cancel);
        let (returned, used) = (Instant::now(), nanoseconds(charged));
        done.send(()).ok();
        let (at, used_then) = raised.join().expect("the other thread ends")?;
        let wall = returned.checked_duration_since(at)?.as_secs_f64() * 1_000.0;
        Some((wall, (used - used_then) as f64 / 1e6))
    })
}

fn print(
    name: &str,
    count: usize,
    length: Duration,
    mut latency: impl FnMut(Duration) -> Option<Latency>,
    rng: &mut Xoshiro256PlusPlus,
) {
    let (mut walls, mut processors) = (Vec::new(), Vec::new());
    let mut tries = 0;
    while walls.len() < count && tries < 3 * count {
        tries += 1;
        // Denser at the beginning, where models and first plans are made.
        let after = length.mul_f64(rng.random_range(0.0..1.0_f64).powi(2));
        if let Some((wall, processor)) = latency(after) {
            walls.push(wall);
            processors.push(processor);
        }
    }
    let line = |list: &mut Vec<f64>| {
        list.sort_by(f64::total_cmp);
        let at = |permille: usize| {
            let last = list.len().checked_sub(1);
            last.map_or(f64::NAN, |last| list[(last * permille).div_ceil(1_000)])
        };
        format!("{:.2},{:.2},{:.2}", at(500), at(990), at(1_000))
    };
    println!(
        "{name},{:.0},{},{},{}",
        length.as_secs_f64() * 1_000.0,
        walls.len(),
        line(&mut walls),
        line(&mut processors)
    );
}

/// Prints for each kind of work: its length in milliseconds, cancels, and median, 99th percentile and worst of the
/// milliseconds from cancel to return, of the wall and of the processor.
pub(crate) fn print_latencies(problem: &Problem, seed: u64, count: usize) {
    println!(
        "work,length,cancels,wall_p50,wall_p99,wall_worst,processor_p50,processor_p99,processor_worst"
    );
    let mut rng = Xoshiro256PlusPlus::seed_from_u64(seed);
    let here = clock_of(gettid());
    let whole = ClockId::CLOCK_PROCESS_CPUTIME_ID;

    let planned = |cancel: &Cancel| {
        let settings = Settings {
            seed,
            budget: &Spent(|_| 0.5),
            cancel,
            warm_start: None,
            heat: Heat::Full,
        };
        let solved = solve(problem, &settings, &mut |_| {});
        assert!(solved.cancelled);
    };
    // The first plan leaves most jobs to be explained.
    let first = support::planned(problem, 1, 0, None);
    let explained = |cancel: &Cancel| {
        explain_until(problem, &first, cancel);
    };
    let valued = |cancel: &Cancel| {
        let settings = TrialSettings {
            seed,
            budgets: [&Iterations(ITERATIONS); 2],
            cancel,
        };
        what_if(problem, &first, WhatIf::OneMoreUnit(UnitIx(0)), &settings);
    };
    let simulated = |cancel: &Cancel| {
        simulate_until(problem, &first, seed, RUNS, cancel);
    };
    // A day that has begun, and a unit that fails.
    let now = as_of(problem, &first, NOW);
    let out = now.crews().iter().find_map(|crew| match &crew.progress {
        Progress::UnderWay(way) => way.aboard.first().copied(),
        Progress::NotStarted => None,
    });
    let hit = unit_out(&now, out.expect("a crew is out"), NOW);
    let proposed = |cancel: &Cancel| {
        let settings = ProposalSettings {
            seed,
            budget_each: &Iterations(ITERATIONS),
            cancel,
        };
        propose(&hit, &first, &settings);
    };
    let works = [
        Work("plan", &planned, here),
        Work("proposals", &proposed, whole),
        Work("explanations", &explained, here),
        Work("value", &valued, here),
        Work("risk", &simulated, here),
    ];
    for Work(name, work, charged) in works {
        let began = Instant::now();
        cancelled(work, SEARCHED, charged);
        let length = began.elapsed().min(SEARCHED);
        print(
            name,
            count,
            length,
            |after| cancelled(work, after, charged),
            &mut rng,
        );
    }
}
