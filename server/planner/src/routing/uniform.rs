//! The plain problem: like vehicles, one depot, one window per stop, distance as cost.

use super::rules::Rules;
use super::{MAX_STOPS, MAX_VALUE};

/// What is wrong with the description of a [`Uniform`] problem.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum UniformError {
    /// There is nothing to visit.
    #[error("a problem needs at least one stop")]
    NoStops,
    /// More stops than the engine's limit.
    #[error("{stops} stops are more than the limit of {MAX_STOPS}; split the problem")]
    TooManyStops {
        /// Stops given.
        stops: usize,
    },
    /// No vehicle, or more than can be of use.
    #[error("{vehicles} vehicles; give from 1 to {MAX_STOPS}")]
    Vehicles {
        /// Vehicles given.
        vehicles: usize,
    },
    /// A field out of the range the engine reckons in.
    #[error("{field} of {} is {value}; give from 0 to {MAX_VALUE}", item(*.stop))]
    OutOfRange {
        /// Stop, or `None` for the depot and the vehicles.
        stop: Option<usize>,
        /// Field name.
        field: &'static str,
        /// Value given.
        value: i64,
    },
    /// A window that ends before it starts.
    #[error("the window of {} closes at {close}, before it opens at {open}", item(*.stop))]
    Window {
        /// Stop, or `None` for the depot.
        stop: Option<usize>,
        /// Opening time.
        open: i64,
        /// Closing time.
        close: i64,
    },
    /// A stop that does not fit any vehicle even alone.
    #[error("stop {stop} cannot be visited by a vehicle on its own: {cause}")]
    Unreachable {
        /// Stop.
        stop: usize,
        /// Why not.
        cause: &'static str,
    },
}

fn item(stop: Option<usize>) -> String {
    stop.map_or_else(|| "the depot".to_owned(), |stop| format!("stop {stop}"))
}

/// One stop, or the depot, of a [`Uniform`] problem.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Visit {
    /// Load taken aboard here.
    pub demand: i64,
    /// Earliest beginning of service.
    pub open: i64,
    /// Latest beginning of service.
    pub close: i64,
    /// Duration of service.
    pub service: i64,
}

/// Like vehicles that start and end at one depot; cost and travel time are the same symmetric distance.
#[derive(Debug, Clone)]
pub struct Uniform {
    stops: usize,
    places: usize,
    vehicles: usize,
    capacity: i32,
    depot_open: i32,
    depot_close: i32,
    /// Row-major distances, the depot last.
    distance: Vec<i32>,
    open: Vec<i32>,
    close: Vec<i32>,
    service: Vec<i32>,
    demand: Vec<i32>,
    skip_cost: i32,
}

impl Uniform {
    /// Builds the problem. `distance(a, b)` is asked once for each pair `a < b`, where place `stops.len()` is the
    /// depot; `depot.demand` and `depot.service` are not used.
    ///
    /// # Errors
    ///
    /// Every fault found, each naming the stop and field.
    pub fn new(
        stops: &[Visit],
        depot: Visit,
        vehicles: usize,
        capacity: i64,
        mut distance: impl FnMut(usize, usize) -> i64,
    ) -> Result<Self, Vec<UniformError>> {
        let mut faults = Vec::new();
        if stops.is_empty() {
            faults.push(UniformError::NoStops);
        }
        if stops.len() > MAX_STOPS {
            faults.push(UniformError::TooManyStops { stops: stops.len() });
        }
        if vehicles == 0 || vehicles > MAX_STOPS {
            faults.push(UniformError::Vehicles { vehicles });
        }
        if !faults.is_empty() {
            return Err(faults);
        }
        let mut checked =
            |stop: Option<usize>, field: &'static str, value: i64| match i32::try_from(value) {
                Ok(small) if (0..=MAX_VALUE).contains(&small) => small,
                _ => {
                    faults.push(UniformError::OutOfRange { stop, field, value });
                    0
                }
            };
        let count = stops.len();
        let places = count + 1;
        let capacity = checked(None, "vehicle capacity", capacity);
        let depot_open = checked(None, "window opening", depot.open);
        let depot_close = checked(None, "window closing", depot.close);
        let mut column = |field: &'static str, of: fn(&Visit) -> i64| -> Vec<i32> {
            stops
                .iter()
                .enumerate()
                .map(|(at, visit)| checked(Some(at), field, of(visit)))
                .collect()
        };
        let demand = column("demand", |visit| visit.demand);
        let open = column("window opening", |visit| visit.open);
        let close = column("window closing", |visit| visit.close);
        let service = column("service", |visit| visit.service);
        let mut matrix = vec![0; places * places];
        for from in 0..places {
            for to in from + 1..places {
                let value = checked(Some(from), "distance", distance(from, to));
                matrix[from * places + to] = value;
                matrix[to * places + from] = value;
            }
        }
        if depot.open > depot.close {
            faults.push(UniformError::Window {
                stop: None,
                open: depot.open,
                close: depot.close,
            });
        }
        for (stop, visit) in stops.iter().enumerate() {
            if visit.open > visit.close {
                faults.push(UniformError::Window {
                    stop: Some(stop),
                    open: visit.open,
                    close: visit.close,
                });
            }
        }
        if !faults.is_empty() {
            return Err(faults);
        }
        // Leaving a stop out must cost more than any detour that could serve it.
        let longest = matrix.iter().copied().max().unwrap_or(0);
        let problem = Self {
            stops: count,
            places,
            vehicles,
            capacity,
            depot_open,
            depot_close,
            distance: matrix,
            open,
            close,
            service,
            demand,
            skip_cost: longest.saturating_mul(4).clamp(1, MAX_VALUE),
        };
        let faults: Vec<_> = (0..count)
            .filter_map(|stop| {
                problem
                    .alone(stop)
                    .err()
                    .map(|cause| UniformError::Unreachable { stop, cause })
            })
            .collect();
        if faults.is_empty() {
            Ok(problem)
        } else {
            Err(faults)
        }
    }

    /// Whether a vehicle can visit `stop` and nothing else.
    fn alone(&self, stop: usize) -> Result<(), &'static str> {
        let leg = self.cost(stop, self.stops);
        let begin = self.begin(stop, self.depot_open + leg);
        if self.demand[stop] > self.capacity {
            Err("its demand is above the capacity")
        } else if begin == i32::MAX {
            Err("its window closes before arrival")
        } else if begin + self.service[stop] + leg > self.depot_close {
            Err("the vehicle would be back too late")
        } else {
            Ok(())
        }
    }
}

impl Rules for Uniform {
    const UNIFORM: bool = true;

    fn stops(&self) -> usize {
        self.stops
    }
    fn routes(&self) -> usize {
        self.vehicles
    }
    fn places(&self) -> usize {
        self.places
    }
    #[inline]
    fn cost(&self, from: usize, to: usize) -> i32 {
        self.distance[from * self.places + to]
    }
    #[inline]
    fn arrive(&self, from: usize, to: usize, depart: i32) -> i32 {
        depart + self.distance[from * self.places + to]
    }
    #[inline]
    fn leave_by(&self, from: usize, to: usize, by: i32) -> i32 {
        by - self.distance[from * self.places + to]
    }
    #[inline]
    fn begin(&self, stop: usize, arrive: i32) -> i32 {
        if arrive > self.close[stop] {
            i32::MAX
        } else {
            arrive.max(self.open[stop])
        }
    }
    #[inline]
    fn begin_by(&self, stop: usize, by: i32) -> i32 {
        if by < self.open[stop] {
            -1
        } else {
            by.min(self.close[stop])
        }
    }
    #[inline]
    fn service(&self, _route: usize, stop: usize) -> i32 {
        self.service[stop]
    }
    #[inline]
    fn service_least(&self, stop: usize) -> i32 {
        self.service[stop]
    }
    fn skip_cost(&self, _stop: usize) -> i32 {
        self.skip_cost
    }
    #[inline]
    fn demand(&self, stop: usize) -> i32 {
        self.demand[stop]
    }
    #[inline]
    fn capacity(&self, _route: usize) -> i32 {
        self.capacity
    }
    #[inline]
    fn start_place(&self, _route: usize) -> usize {
        self.stops
    }
    #[inline]
    fn end_place(&self, _route: usize) -> usize {
        self.stops
    }
    #[inline]
    fn start_time(&self, _route: usize) -> i32 {
        self.depot_open
    }
    #[inline]
    fn end_time(&self, _route: usize) -> i32 {
        self.depot_close
    }
}
