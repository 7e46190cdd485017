//! What a morning of many branches asks of solvers and databases.
//!
//! `cargo run --release -p forenoon-server --example load_model [BRANCHES [SOLVE_SECONDS [REPLAN_SECONDS [READ_MS
//! [WRITE_MS [LOOK_MS]]]]]]`. Arrivals are drawn with a seed; service times are those given, as measured elsewhere. Searches queue
//! for cores, first come first served; database calls are counted second by second, and connections follow from Little's
//! law at the busiest second.
//!
//! Shape of the day (common practice, no source): four time zones with 47, 33, 7 and 13 % of the branches (from memory);
//! eight crews of twelve jobs; a plan about 05:45 and one more after corrections; sheets read by crews about 06:30; four
//! reports a job between 07:00 and 15:30; two units fail; three screens watch.

#![expect(
    clippy::expect_used,
    clippy::print_stdout,
    reason = "a model stops with what went wrong, and prints what it found"
)]

use std::cmp::Reverse;
use std::collections::{BTreeMap, BinaryHeap};

use rand::{RngExt, SeedableRng};
use rand_xoshiro::Xoshiro256PlusPlus;

const SEED: u64 = 1;
const SECONDS_PER_HOUR: f64 = 3_600.0;
/// Hours behind the first zone, and shares of branches in percent.
const ZONES: [(f64, u32); 4] = [(0.0, 47), (1.0, 33), (2.0, 7), (3.0, 13)];
const CREWS: u32 = 8;
const JOBS_A_CREW: u32 = 12;
const REPORTS_A_JOB: u32 = 4;
const BREAKDOWNS: u32 = 2;
const WATCHERS: u32 = 3;
/// Most time that a core or a connection is to be busy.
const USE_MAX: f64 = 0.6;
/// Longest wait for a core that one search in a hundred may have, in seconds.
const WAIT_MAX: f64 = 5.0;

/// Cores of a replica.
const CORES_A_REPLICA: usize = 4;
/// Seconds between two looks of a replica.
const LOOK_EVERY: f64 = 2.0;

struct Times {
    solve: f64,
    replan: f64,
    read: f64,
    write: f64,
    look: f64,
}

#[derive(Default)]
struct Day {
    /// Searches: when they are asked for and how long they take, in seconds.
    searches: Vec<(f64, f64)>,
    /// Reads and writes by second.
    seconds: BTreeMap<u32, (u32, u32)>,
}

impl Day {
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "a second of a day"
    )]
    fn call(&mut self, at: f64, reads: u32, writes: u32) {
        let second = self.seconds.entry(at.max(0.0) as u32).or_default();
        second.0 += reads;
        second.1 += writes;
    }

    fn branch(&mut self, chance: &mut Xoshiro256PlusPlus, times: &Times) {
        let mut share = chance.random_range(0..100);
        let mut behind = 0.0;
        for (hours, percent) in ZONES {
            if share < percent {
                behind = hours;
                break;
            }
            share -= percent;
        }
        let hour = |of_day: f64| (of_day + behind) * SECONDS_PER_HOUR;
        // A dispatcher's clock: within a quarter of an hour, most in the middle.
        let spread = |chance: &mut Xoshiro256PlusPlus, minutes: f64| {
            let one: f64 = chance.random();
            let other: f64 = chance.random();
            (one + other - 1.0) * minutes * 60.0
        };
        let begun = hour(5.75) + spread(chance, 15.0);
        for plan in [begun, begun + 600.0 + spread(chance, 5.0)] {
            self.searches.push((plan, times.solve));
            // The reading, the lease taken and given back with the plan, a look at the plan and its sheets.
            self.call(plan, 3, 2);
            self.beats(plan, times.solve);
        }
        self.call(begun + 900.0, 1, 1);
        for _ in 0..WATCHERS {
            self.call(begun + spread(chance, 15.0), 1, 0);
        }
        for _ in 0..CREWS {
            let read = hour(6.5) + spread(chance, 15.0);
            self.call(read, 2, 0);
            self.call(read + 600.0, 0, 1);
            for _ in 0..JOBS_A_CREW * REPORTS_A_JOB {
                let at = hour(7.0) + chance.random::<f64>() * 8.5 * SECONDS_PER_HOUR;
                // Each is told to all who watch from one read.
                self.call(at, 1, 1);
            }
        }
        for _ in 0..BREAKDOWNS {
            let at = hour(7.0) + chance.random::<f64>() * 8.5 * SECONDS_PER_HOUR;
            self.call(at, 1, 1);
            self.searches.push((at + 60.0, times.replan));
            self.call(at + 60.0, 3, 3);
        }
    }

    /// Signs of life of a lease, one a second as long as a search runs.
    fn beats(&mut self, from: f64, seconds: f64) {
        let mut at = 1.0;
        while at < seconds {
            self.call(from + at, 0, 1);
            at += 1.0;
        }
    }

    /// The wait of one search in a hundred with so many cores, in seconds.
    fn wait(&self, cores: usize) -> f64 {
        const PER_SECOND: f64 = 1_000.0;
        #[expect(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "milliseconds of a day"
        )]
        let millis = |seconds: f64| (seconds.max(0.0) * PER_SECOND) as u64;
        let mut free: BinaryHeap<Reverse<u64>> = (0..cores).map(|_| Reverse(0)).collect();
        let mut waits = Vec::with_capacity(self.searches.len());
        for (at, takes) in &self.searches {
            let Reverse(earliest) = free.pop().expect("a core");
            let begins = Ord::max(earliest, millis(*at));
            waits.push(begins - millis(*at));
            free.push(Reverse(begins + millis(*takes)));
        }
        waits.sort_unstable();
        waits
            .get(waits.len() * 99 / 100)
            .map_or(0.0, |wait| *wait as f64 / PER_SECOND)
    }
}

fn main() {
    let given: Vec<f64> = std::env::args()
        .skip(1)
        .map(|text| text.parse().expect("a number"))
        .collect();
    let figure = |place: usize, usual: f64| given.get(place).copied().unwrap_or(usual);
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "a number of branches"
    )]
    let branches = figure(0, 10_000.0) as u32;
    let times = Times {
        solve: figure(1, 5.0),
        replan: figure(2, 0.2),
        read: figure(3, 2.0) / 1_000.0,
        write: figure(4, 2.0) / 1_000.0,
        look: figure(5, 20.0) / 1_000.0,
    };
    let mut chance = Xoshiro256PlusPlus::seed_from_u64(SEED);
    let mut day = Day::default();
    for _ in 0..branches {
        day.branch(&mut chance, &times);
    }
    day.searches.sort_by(|one, other| one.0.total_cmp(&other.0));
    let solving: f64 = day.searches.iter().map(|(_, takes)| takes).sum();
    let mut cores = 1;
    while day.wait(cores) > WAIT_MAX {
        cores += Ord::max(cores / 20, 1);
    }
    let busy =
        |second: &(u32, u32)| f64::from(second.0) * times.read + f64::from(second.1) * times.write;
    let busiest = day
        .seconds
        .values()
        .max_by(|one, other| busy(one).total_cmp(&busy(other)))
        .expect("a call");
    let writes_max = day.seconds.values().map(|second| second.1).max();
    let sums = day.seconds.values().fold((0_u64, 0_u64), |sums, second| {
        (sums.0 + u64::from(second.0), sums.1 + u64::from(second.1))
    });
    println!("{branches} branches, seed {SEED}");
    println!(
        "searches: {} with {:.0} s of processor, {:.1} s a branch",
        day.searches.len(),
        solving,
        solving / f64::from(branches)
    );
    println!(
        "cores for searches, one in a hundred waiting {WAIT_MAX} s at most: {cores} (wait {:.1} s)",
        day.wait(cores)
    );
    println!(
        "transactions of the day: {} reads, {} writes",
        sums.0, sums.1
    );
    println!(
        "busiest second: {} reads and {} writes; most writes in a second: {}",
        busiest.0,
        busiest.1,
        writes_max.unwrap_or_default()
    );
    let replicas = cores.div_ceil(CORES_A_REPLICA);
    let looks = replicas as f64 / LOOK_EVERY;
    let looking = looks * times.look;
    println!(
        "looks for events that no message told of: {looks:.1} a second of {replicas} replicas, each for all branches \
         watched there; {looking:.2} connections busy with them if that is all of them"
    );
    println!(
        "connections busy in the busiest second: {:.1}; at {USE_MAX} of use: {:.0}",
        busy(busiest) + looking,
        ((busy(busiest) + looking) / USE_MAX).ceil()
    );
}
