//! Shortest paths over a network.

use std::collections::HashMap;

use fast_paths::{FastGraph, InputGraph, PathCalculator};
use forenoon_planner::index::PlaceIx;
use forenoon_planner::travel::{Coordinate, EARTH_RADIUS_METRES};
use petgraph::algo::kosaraju_scc;
use petgraph::graph::{DiGraph, NodeIndex};
use rstar::RTree;
use rstar::primitives::GeomWithData;

use crate::PLACES_MAX;
use crate::network::Network;

/// Speed from a place to the road and back, metres per hour: a truck on a drive or a yard. Common practice, no source.
const APPROACH_METRES_PER_HOUR: f64 = 15_000.0;

/// Why there is no table.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum EngineError {
    /// Too many places.
    #[error("{places} places, at most {PLACES_MAX} are allowed")]
    TooManyPlaces {
        /// Places given.
        places: usize,
    },
    /// A place is not on the Earth.
    #[error("place {} has no valid coordinate", place.0)]
    Coordinate {
        /// The place.
        place: PlaceIx,
    },
    /// A place lies far from all roads.
    #[error("place {} lies {metres} m from the nearest road, at most {limit} m are allowed", place.0)]
    OffRoad {
        /// The place.
        place: PlaceIx,
        /// How far it is, metres.
        metres: u32,
        /// How far it may be, metres.
        limit: u32,
    },
}

/// Times and distances between places, row by row: the entry from `a` to `b` of `n` places is at `a * n + b`.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Table {
    /// Seconds by the quickest way, rounded to the nearest.
    pub seconds: Vec<Option<i64>>,
    /// Metres of that way, rounded to the nearest.
    pub metres: Vec<Option<i64>>,
}

/// A point of the network on a plane, metres from the first.
type Spot = GeomWithData<[f64; 2], u32>;

/// A network prepared for queries.
pub struct Engine {
    graph: FastGraph,
    /// Millimetres of the quickest arc between two points.
    lengths: HashMap<(u32, u32), u32>,
    spots: RTree<Spot>,
    origin: Coordinate,
    points: Vec<Coordinate>,
}

impl std::fmt::Debug for Engine {
    fn fmt(&self, formatter: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        formatter
            .debug_struct("Engine")
            .field("points", &self.points.len())
            .field("arcs", &self.lengths.len())
            .finish_non_exhaustive()
    }
}

/// A place's way to the road.
pub(crate) struct Approach {
    point: usize,
    metres: f64,
}

impl Engine {
    /// Prepares a network: the slow part, done once for a file.
    pub fn new(network: &Network) -> Self {
        let mut input = InputGraph::new();
        let mut quickest: HashMap<(u32, u32), (u32, u32)> = HashMap::new();
        for arc in network.arcs() {
            let own = (arc.milliseconds, arc.millimetres);
            let kept = quickest.entry((arc.from, arc.to)).or_insert(own);
            *kept = own.min(*kept);
        }
        // In a fixed order, so that equal ways are always told apart alike.
        let mut arcs: Vec<_> = quickest.into_iter().collect();
        arcs.sort_unstable();
        for &((from, to), (milliseconds, _)) in &arcs {
            input.add_edge(from as usize, to as usize, milliseconds as usize);
        }
        input.freeze();
        let points = network.points().to_vec();
        let origin = points.first().copied().unwrap_or(Coordinate {
            latitude: 0.0,
            longitude: 0.0,
        });
        let spots = joined(points.len(), arcs.iter().map(|(ends, _)| *ends))
            .into_iter()
            .filter_map(|number| {
                let point = points.get(number as usize)?;
                Some(Spot::new(plane(origin, *point), number))
            })
            .collect();
        Self {
            graph: fast_paths::prepare(&input),
            lengths: arcs
                .into_iter()
                .map(|(ends, (_, millimetres))| (ends, millimetres))
                .collect(),
            spots: RTree::bulk_load(spots),
            origin,
            points,
        }
    }

    /// Times and distances between all places by the quickest way. A place is reached from the nearest point of the
    /// largest part of the network in which every point can be reached from every other, at most `reach_metres` away.
    ///
    /// # Errors
    /// When there are too many places, or one is not on the Earth or too far from a road.
    pub fn table(&self, places: &[Coordinate], reach_metres: u32) -> Result<Table, EngineError> {
        if places.len() > PLACES_MAX {
            return Err(EngineError::TooManyPlaces {
                places: places.len(),
            });
        }
        let approaches = places
            .iter()
            .enumerate()
            .map(|(at, place)| self.approach(PlaceIx::from_ix(at), *place, reach_metres))
            .collect::<Result<Vec<_>, _>>()?;
        let mut paths = self.paths();
        let mut table = Table {
            seconds: Vec::with_capacity(places.len() * places.len()),
            metres: Vec::with_capacity(places.len() * places.len()),
        };
        for (row, from) in approaches.iter().enumerate() {
            for (column, to) in approaches.iter().enumerate() {
                let drive = if row == column {
                    Some((0.0, 0.0))
                } else {
                    self.drive(&mut paths, from, to)
                };
                table.seconds.push(drive.map(|(seconds, _)| whole(seconds)));
                table.metres.push(drive.map(|(_, metres)| whole(metres)));
            }
        }
        Ok(table)
    }

    /// What finds ways, to be used again and again.
    pub(crate) fn paths(&self) -> PathCalculator {
        fast_paths::create_calculator(&self.graph)
    }

    /// How a place is reached.
    pub(crate) fn approach(
        &self,
        place: PlaceIx,
        at: Coordinate,
        reach_metres: u32,
    ) -> Result<Approach, EngineError> {
        let on_earth =
            (-90.0..=90.0).contains(&at.latitude) && (-180.0..=180.0).contains(&at.longitude);
        if !on_earth {
            return Err(EngineError::Coordinate { place });
        }
        let nearest = self
            .spots
            .nearest_neighbor(plane(self.origin, at))
            .and_then(|spot| Some((spot.data as usize, self.points.get(spot.data as usize)?)));
        let found = nearest.map(|(point, road)| Approach {
            point,
            metres: Coordinate::distance_metres(at, *road),
        });
        match found {
            Some(approach) if approach.metres <= f64::from(reach_metres) => Ok(approach),
            other => Err(EngineError::OffRoad {
                place,
                metres: other.map_or(u32::MAX, |approach| {
                    u32::try_from(whole(approach.metres)).unwrap_or(u32::MAX)
                }),
                limit: reach_metres,
            }),
        }
    }

    /// Seconds and metres of the quickest way.
    pub(crate) fn drive(
        &self,
        paths: &mut PathCalculator,
        from: &Approach,
        to: &Approach,
    ) -> Option<(f64, f64)> {
        let path = paths.calc_path(&self.graph, from.point, to.point)?;
        let millimetres: u64 = path
            .get_nodes()
            .windows(2)
            .filter_map(|ends| {
                let ends = (u32::try_from(ends[0]).ok()?, u32::try_from(ends[1]).ok()?);
                self.lengths.get(&ends)
            })
            .map(|&millimetres| u64::from(millimetres))
            .sum();
        let beside = from.metres + to.metres;
        let (milliseconds, millimetres) = (path.get_weight() as f64, millimetres as f64);
        Some((
            milliseconds / 1_000.0 + beside * 3_600.0 / APPROACH_METRES_PER_HOUR,
            millimetres / 1_000.0 + beside,
        ))
    }
}

/// Points of the largest part in which every point can be reached from every other.
fn joined(points: usize, arcs: impl Iterator<Item = (u32, u32)>) -> Vec<u32> {
    let mut graph: DiGraph<(), (), u32> = DiGraph::with_capacity(points, 2 * points);
    for _ in 0..points {
        graph.add_node(());
    }
    for (from, to) in arcs {
        graph.add_edge(NodeIndex::from(from), NodeIndex::from(to), ());
    }
    let parts = kosaraju_scc(&graph);
    let mut best: Vec<u32> = Vec::new();
    for part in parts {
        let mut part: Vec<u32> = part
            .into_iter()
            .filter_map(|node| u32::try_from(node.index()).ok())
            .collect();
        part.sort_unstable();
        let larger = part.len() > best.len() || (part.len() == best.len() && part < best);
        if larger {
            best = part;
        }
    }
    best
}

/// Metres east and north of `origin`, near enough to choose the nearest of the points of one county.
fn plane(origin: Coordinate, at: Coordinate) -> [f64; 2] {
    let metres = EARTH_RADIUS_METRES.to_radians();
    [
        (at.longitude - origin.longitude) * origin.latitude.to_radians().cos() * metres,
        (at.latitude - origin.latitude) * metres,
    ]
}

#[expect(
    clippy::cast_possible_truncation,
    reason = "far below 2^53: a drive within one file"
)]
fn whole(value: f64) -> i64 {
    value.round() as i64
}
