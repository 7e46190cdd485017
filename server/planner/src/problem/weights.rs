//! The named weights of the objective.

use crate::Seconds;

/// Weights of the objective's soft terms. Money in minor currency units; the defaults suit a currency whose minor unit
/// is a hundredth and wages of 20 to 30 units an hour. [`Weights::default`] is documented here field by field so that
/// nothing is hidden.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Weights {
    /// Share of each job's penalty, permille. Default 1,000. Higher: more jobs done at any price.
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
    /// Handling of each unit loaded, minor units. Default 50. Higher: lighter load-outs.
    pub load_unit: i64,
    /// Share of each job's cost of lateness after it is due, permille. Default 1,000.
    pub late_permille: i64,
    /// A promise broken, minor units each. Default 10,000.
    pub promise_broken: i64,
    /// Lateness against a broken promise, minor units per hour. Default 3,000: late is bad, later is worse.
    pub promise_late_per_hour: i64,
    /// Each exposure point over a crew's limit, minor units. Default 20.
    pub exposure_point: i64,
    /// Each hour over a crew's fair load, minor units. Default 500.
    pub unfair_per_hour: i64,
    /// A job that starts earlier or later than before by more than the tolerance, minor units each. Default 300.
    pub moved_job: i64,
    /// The tolerance for it, seconds. Default 900.
    pub moved_tolerance: Seconds,
    /// A job given to another crew than before, minor units each. Default 800.
    pub changed_crew: i64,
    /// A promise that the plan before kept and this one breaks, minor units each, on top of
    /// [`promise_broken`](Self::promise_broken). Default 5,000: somebody must phone.
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
