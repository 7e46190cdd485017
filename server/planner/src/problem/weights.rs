//! The named weights of the objective.

use crate::Seconds;

/// Weights of the objective's soft terms. Money in minor currency units; the defaults suit a currency whose minor unit
/// is a hundredth and wages of 20 to 30 units an hour. Each field tells its default and what a higher weight does to plans,
/// so that nothing is hidden. A weight of 0 takes its term out of the objective.
///
/// A share in permille scales what crews, jobs and units cost by themselves: 1,000 takes that as it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Weights {
    /// Share of each job's penalty, permille. Default 1,000. Higher: more jobs done at any price, by longer tours and more
    /// overtime.
    pub unplanned_permille: i64,
    /// Share of the wage charged while driving, permille. Default 1,000. Higher: shorter tours.
    pub driving_permille: i64,
    /// Vehicle cost per kilometre, minor units. Default 60. Higher: fewer kilometres, also where roads are quick.
    pub distance_per_km: i64,
    /// Share of the wage charged while working, permille. Default 1,000. Higher: quicker machines and better-suited
    /// crews.
    pub work_permille: i64,
    /// Share of the wage charged while waiting, permille. Default 250, as idle people still tidy the vehicle. Higher:
    /// tighter days.
    pub idle_permille: i64,
    /// Share of the crew's extra for overtime, permille. Default 1,000. Higher: home on time.
    pub overtime_permille: i64,
    /// Share of the units' wear, permille. Default 1,000. Higher: cheap machines first.
    pub wear_permille: i64,
    /// Handling of each unit loaded, minor units. Default 50. Higher: lighter load-outs and fewer changes of units on the
    /// way, at the price of slower tools.
    pub load_unit: i64,
    /// Share of each job's cost of lateness after it is due, permille. Default 1,000. Higher: jobs with a due instant come
    /// earlier in the day and in the week, and others wait.
    pub late_permille: i64,
    /// A promise broken, minor units each, however late. Default 10,000. Higher: fewer customers who are let down, by waits,
    /// detours and jobs left out. A promise that must be kept is no matter of weights.
    pub promise_broken: i64,
    /// Lateness against a broken promise, minor units per hour. Default 3,000: late is bad, later is worse. Higher: where a
    /// promise is broken, by less.
    pub promise_late_per_hour: i64,
    /// Each exposure point over a crew's limit, minor units. Default 20. Higher: noise and vibration spread over more crews,
    /// and noisy work is left out rather than piled on one.
    pub exposure_point: i64,
    /// Each hour of driving and working over a crew's fair load, minor units. Default 500. Higher: days of more equal
    /// length, at the price of longer tours.
    pub unfair_per_hour: i64,
    /// A job that starts earlier or later than before by more than the tolerance, minor units each, however much. Default
    /// 300. Higher: a new plan keeps nearer to the times of the one before, and improves on it less.
    pub moved_job: i64,
    /// The tolerance for it, seconds. Default 900. Higher: more jobs may shift a little for nothing; where it is 0, each
    /// second counts as a move.
    pub moved_tolerance: Seconds,
    /// A job given to another crew than before, minor units each. Default 800. Higher: jobs stay with who knows of them,
    /// though another crew be nearer.
    pub changed_crew: i64,
    /// A promise that the plan before kept and this one breaks, minor units each, on top of
    /// [`promise_broken`](Self::promise_broken). Default 5,000: somebody must phone. Higher: a new plan lets others down
    /// rather than those who were told that they are served in time.
    pub changed_promise: i64,
}

impl Default for Weights {
    fn default() -> Self {
        Self {
            unplanned_permille: 1_000,
            driving_permille: 1_000,
            distance_per_km: 60,
            work_permille: 1_000,
            idle_permille: 250,
            overtime_permille: 1_000,
            wear_permille: 1_000,
            load_unit: 50,
            late_permille: 1_000,
            promise_broken: 10_000,
            promise_late_per_hour: 3_000,
            exposure_point: 20,
            unfair_per_hour: 500,
            moved_job: 300,
            moved_tolerance: 900,
            changed_crew: 800,
            changed_promise: 5_000,
        }
    }
}
