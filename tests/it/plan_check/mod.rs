//! Checks a finished plan against the contract alone.
//!
//! Every rule is computed again here from the messages' own words, with nothing shared with the planner.
//! The first tests show that the checker takes a plan made by hand and finds each fault put into it; the last
//! ones let it judge the server.

mod day;
mod distance;
mod hand_plan;
mod machines;
mod mutations;
mod planned;
mod sums;
mod world;

use forenoon_proto::v1::Plan;

use world::World;

/// The rules of a plan.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Rule {
    /// A visit lies within a window of its job.
    Window,
    /// A crew's day lies within its shift and the overtime allowed.
    Shift,
    /// The overtime told is what there is.
    Overtime,
    /// There is room for the break.
    Break,
    /// A drive takes as long as its distance does.
    Drive,
    /// Times follow one another.
    Sequence,
    /// A visit takes as long as its tasks, and a task as long as agreed.
    Duration,
    /// All tasks of a job, in their order.
    TaskOrder,
    /// A job is planned once at most, and only where it may be.
    Job,
    /// A job that may be done is planned or said to be unplanned, with a reason.
    Unplanned,
    /// The crew has the skills.
    Skill,
    /// No engine before the site's hour.
    Quiet,
    /// The customer is met when promised.
    Promise,
    /// A job is finished by its deadline.
    Deadline,
    /// A unit is on one load-out, and what works is aboard.
    LoadOut,
    /// The load fits, and is told as it is.
    LoadSpace,
    /// A unit is there and may go out.
    Fit,
    /// The units of a task can do it.
    Capability,
    /// An attachment is on a powerhead of its coupling.
    Coupling,
    /// The machine passes the gate.
    Gate,
    /// The machine may work on the slope.
    Slope,
    /// The sums are the sums.
    Totals,
}

/// A rule that a plan breaks, with where and how.
#[derive(Clone, Debug, PartialEq, Eq)]
struct Breach {
    rule: Rule,
    what: String,
}

/// Where breaches are gathered.
#[derive(Debug, Default)]
struct Breaches(Vec<Breach>);

impl Breaches {
    /// Takes a breach where a condition does not hold.
    fn demand(&mut self, holds: bool, rule: Rule, what: impl FnOnce() -> String) {
        if !holds {
            self.0.push(Breach { rule, what: what() });
        }
    }
}

/// Every rule that a plan breaks.
fn breaches(world: &World, plan: &Plan) -> Vec<Breach> {
    let mut found = Breaches::default();
    for crew_day in &plan.crew_days {
        day::check(world, crew_day, plan, &mut found);
        machines::check(world, crew_day, &mut found);
    }
    machines::check_exclusive(plan, &mut found);
    sums::check(world, plan, &mut found);
    found.0
}
