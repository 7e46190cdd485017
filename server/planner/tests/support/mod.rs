//! Generated problems for tests, benchmarks and examples. Everything comes from a seed.

#![allow(
    dead_code,
    unreachable_pub,
    missing_docs,
    reason = "each user takes the part it needs"
)]
#![allow(
    clippy::unwrap_used,
    clippy::panic,
    clippy::wildcard_imports,
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    clippy::too_many_lines,
    clippy::struct_excessive_bools,
    reason = "generators of bounded numbers"
)]

pub mod branch_day;
pub mod compared;
pub mod exact_cases;
pub mod plain;
pub mod random_problem;
pub mod two_meetings;
pub mod wanted_plans;

use forenoon_planner::index::UnitIx;
use forenoon_planner::plan::{CrewPlan, Visit};
use forenoon_planner::{Cancel, Heat, Iterations, Plan, Problem, Settings, solve};

/// What a search of so many iterations finds.
pub fn planned(problem: &Problem, seed: u64, iterations: u64, warm_start: Option<&Plan>) -> Plan {
    let settings = Settings {
        seed,
        budget: &Iterations(iterations),
        cancel: &Cancel::new(),
        warm_start,
        heat: Heat::Full,
    };
    solve(problem, &settings, &mut |_| {}).plan
}

/// Units that a crew has at its start or takes on its way.
pub fn units_of(day: &CrewPlan) -> impl Iterator<Item = UnitIx> {
    let loaded = day.stops.iter().filter_map(|stop| match &stop.visit {
        Visit::Yard { load, .. } | Visit::Meet { take: load, .. } => Some(load),
        Visit::Job { .. } => None,
    });
    day.load_out.iter().chain(loaded.flatten()).copied()
}
