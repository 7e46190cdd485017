//! What the engine must be told about a problem.
//!
//! The engine knows stops, routes and the order of stops on a route. Everything else (what a leg costs, how long a
//! visit lasts with this route's equipment, who may visit whom, what leaving a stop out costs) it asks through
//! [`Rules`]. The trait is monomorphised and its constants switch whole branches off, so a plain problem pays nothing
//! for what a rich one needs.
//!
//! Units: `cost` and `time` are integers in any unit the caller chooses, the same unit throughout one problem.

/// The description of one routing problem, asked by the engine in its inner loops.
///
/// Stops are `0..stops()`, routes `0..routes()`, places `0..places()`; stop `i` lies at place `i`, so depots and yards
/// take the places from `stops()` on.
///
/// # What must hold
///
/// * Every cost lies in `0..=MAX_VALUE`, every time in `0..=MAX_VALUE` (see [`super::MAX_VALUE`]).
/// * First in, first out: leaving later never means arriving or beginning earlier.
/// * Number the stops so that near stops have near numbers (see [`super::spatial_order`]): the search is then up to
///   half again as fast, as what it reads lies together in memory.
/// * `leave_by` undoes `arrive`, and `begin_by` undoes `begin`: each gives the latest value whose image still keeps
///   the bound.
pub trait Rules: Sync {
    /// Whether [`Rules::end_cost`] can be more than zero.
    const END_COST: bool = false;
    /// Whether [`Rules::assign_cost`] can refuse or charge.
    const ADMISSION: bool = false;
    /// Whether [`Rules::locked`] can be true.
    const LOCKS: bool = false;
    /// Whether costs are symmetric, obey the triangle inequality (up to rounding), and all routes are alike. Allows
    /// pruning by distance and the moves that swap route tails.
    const UNIFORM: bool = false;

    /// Whether moves that take a stop to another route need no question to the rules but times, loads and legs.
    const PLAIN: bool = Self::UNIFORM && !Self::LOCKS && !Self::END_COST && !Self::ADMISSION;

    /// Number of stops.
    fn stops(&self) -> usize;
    /// Number of routes that may be used.
    fn routes(&self) -> usize;
    /// Number of places: the stops and all start and end places.
    fn places(&self) -> usize;

    /// Cost of the leg between two places.
    fn cost(&self, from: usize, to: usize) -> i32;
    /// Time of arrival at `to` when leaving `from` at `depart`.
    fn arrive(&self, from: usize, to: usize, depart: i32) -> i32;
    /// Latest time to leave `from` so as to be at `to` by `by`. May be negative.
    fn leave_by(&self, from: usize, to: usize, by: i32) -> i32;

    /// Earliest time service can begin at `stop` on arrival at `arrive`; [`i32::MAX`] when no window is left.
    fn begin(&self, stop: usize, arrive: i32) -> i32;
    /// Latest time service can begin at `stop`, not after `by`; negative when no window opens by then.
    fn begin_by(&self, stop: usize, by: i32) -> i32;
    /// Time from the beginning of service to being ready to leave, when `route` serves `stop`.
    fn service(&self, route: usize, stop: usize) -> i32;
    /// The least of [`Rules::service`] over all routes.
    fn service_least(&self, stop: usize) -> i32;
    /// Cost of leaving `stop` out of the plan.
    fn skip_cost(&self, stop: usize) -> i32;
    /// Load that `stop` adds to its route.
    fn demand(&self, stop: usize) -> i32;

    /// Load a route can carry.
    fn capacity(&self, route: usize) -> i32;
    /// Place where a route starts.
    fn start_place(&self, route: usize) -> usize;
    /// Place where a route ends.
    fn end_place(&self, route: usize) -> usize;
    /// Time a route may leave its start.
    fn start_time(&self, route: usize) -> i32;
    /// Time by which a route must be at its end.
    fn end_time(&self, route: usize) -> i32;
    /// Cost of using a route at all.
    fn open_cost(&self, _route: usize) -> i32 {
        0
    }
    /// Routes of one kind are interchangeable while empty; only one empty route of each kind is tried. Kinds are
    /// `0..routes()` at most.
    fn kind(&self, _route: usize) -> usize {
        0
    }
    /// Cost of being at the end of `route` at `time` (overtime); must not fall as time grows, and be zero for an
    /// unused route.
    fn end_cost(&self, _route: usize, _time: i32) -> i32 {
        0
    }
    /// Cost of giving `stop` to `route`, `None` when the route may not serve it.
    fn assign_cost(&self, _route: usize, _stop: usize) -> Option<i32> {
        Some(0)
    }
    /// Whether `stop` must keep its place: it is never taken out and nothing is put before it on its route.
    fn locked(&self, _stop: usize) -> bool {
        false
    }
}
