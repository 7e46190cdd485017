//! The roads of a file.

use std::collections::HashMap;

use forenoon_planner::travel::Coordinate;
use osmpbf::{Element, ElementReader, Way};

use crate::road::{Direction, road};
use crate::{BYTES_MAX, POINTS_MAX};

/// One stretch of road in one direction, between two points of the file.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Arc {
    /// Number of the point where it begins.
    pub from: u32,
    /// Number of the point where it ends.
    pub to: u32,
    /// Time to drive it, milliseconds, at least 1.
    pub milliseconds: u32,
    /// Length, millimetres.
    pub millimetres: u32,
}

/// A network of roads.
#[derive(Debug, Clone, PartialEq)]
pub struct Network {
    points: Vec<Coordinate>,
    arcs: Vec<Arc>,
}

/// Why a file gives no network.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum ReadError {
    /// The file is beyond the limit.
    #[error("the file has {bytes} bytes, at most {BYTES_MAX} are allowed")]
    TooLong {
        /// Bytes found.
        bytes: usize,
    },
    /// The file has too many points on roads.
    #[error("the roads have more than {POINTS_MAX} points: take a smaller extract")]
    TooManyPoints,
    /// The bytes are no such file.
    #[error("not a file of map data: {0}")]
    Layout(String),
    /// A road runs through a point that the file does not hold.
    #[error("way {way} runs through node {node}, which the file does not hold")]
    Node {
        /// Number of the way in the file.
        way: i64,
        /// Number of the node.
        node: i64,
    },
    /// A node is not on the Earth.
    #[error("node {node} has no valid coordinate")]
    Coordinate {
        /// Number of the node in the file.
        node: i64,
    },
    /// No road at all.
    #[error("the file holds no road")]
    NoRoad,
}

/// Longest stretch between two points, metres: longer ones are no roads but faults of the file.
const STRETCH_METRES_MAX: f64 = 100_000.0;

struct Line {
    way: i64,
    nodes: Vec<i64>,
    metres_per_hour: u32,
    direction: Direction,
}

impl Network {
    /// Reads the roads of a file in the PBF layout. What is not a road is passed over.
    ///
    /// # Errors
    /// When the file is too long, damaged, holds no road, or misses a node that a road runs through.
    pub fn read(bytes: &[u8]) -> Result<Self, ReadError> {
        if bytes.len() > BYTES_MAX {
            return Err(ReadError::TooLong { bytes: bytes.len() });
        }
        let lines = lines(bytes)?;
        let mut numbers: HashMap<i64, u32> = HashMap::new();
        for &node in lines.iter().flat_map(|line| &line.nodes) {
            let next = u32::try_from(numbers.len()).unwrap_or(u32::MAX);
            numbers.entry(node).or_insert(next);
            if numbers.len() > POINTS_MAX {
                return Err(ReadError::TooManyPoints);
            }
        }
        let places = places(bytes, &numbers)?;
        let mut network = Self {
            points: Vec::with_capacity(places.len()),
            arcs: Vec::new(),
        };
        for line in &lines {
            network.add(line, &numbers, &places)?;
        }
        network.points = places.into_iter().flatten().collect();
        if network.arcs.is_empty() {
            return Err(ReadError::NoRoad);
        }
        Ok(network)
    }

    /// Points of the roads; arcs count them from 0.
    pub fn points(&self) -> &[Coordinate] {
        &self.points
    }

    /// Stretches of road, one for each direction in which they may be driven.
    pub fn arcs(&self) -> &[Arc] {
        &self.arcs
    }

    fn add(
        &mut self,
        line: &Line,
        numbers: &HashMap<i64, u32>,
        places: &[Option<Coordinate>],
    ) -> Result<(), ReadError> {
        let find = |node: i64| -> Result<(u32, Coordinate), ReadError> {
            let missing = ReadError::Node {
                way: line.way,
                node,
            };
            let number = *numbers.get(&node).ok_or(missing.clone())?;
            let place = places.get(number as usize).copied().flatten();
            Ok((number, place.ok_or(missing)?))
        };
        let mut before = None;
        for &node in &line.nodes {
            let (to, place) = find(node)?;
            if let Some((from, start)) = before.replace((to, place))
                && from != to
            {
                let metres = Coordinate::distance_metres(start, place);
                if metres <= STRETCH_METRES_MAX {
                    self.add_stretch(from, to, metres, line);
                }
            }
        }
        Ok(())
    }

    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "a stretch is at most 100 km, at 3 km/h at least"
    )]
    fn add_stretch(&mut self, from: u32, to: u32, metres: f64, line: &Line) {
        let milliseconds = metres * 3_600_000.0 / f64::from(line.metres_per_hour);
        let forward = Arc {
            from,
            to,
            milliseconds: (milliseconds.round() as u32).max(1),
            millimetres: (metres * 1_000.0).round() as u32,
        };
        if line.direction != Direction::Backward {
            self.arcs.push(forward);
        }
        if line.direction != Direction::Forward {
            self.arcs.push(Arc {
                from: to,
                to: from,
                ..forward
            });
        }
    }
}

/// The roads, as the numbers of their nodes.
fn lines(bytes: &[u8]) -> Result<Vec<Line>, ReadError> {
    let mut lines = Vec::new();
    let mut keep = |way: &Way| {
        if let Some(road) = road(way.tags()) {
            lines.push(Line {
                way: way.id(),
                nodes: way.refs().collect(),
                metres_per_hour: road.metres_per_hour,
                direction: road.direction,
            });
        }
    };
    ElementReader::new(bytes)
        .for_each(|element| {
            if let Element::Way(way) = element {
                keep(&way);
            }
        })
        .map_err(|error| ReadError::Layout(error.to_string()))?;
    Ok(lines)
}

/// Where the numbered nodes are.
fn places(bytes: &[u8], numbers: &HashMap<i64, u32>) -> Result<Vec<Option<Coordinate>>, ReadError> {
    let mut places = vec![None; numbers.len()];
    let mut fault = None;
    let mut keep = |node: i64, latitude: f64, longitude: f64| {
        let Some(&number) = numbers.get(&node) else {
            return;
        };
        if !(-90.0..=90.0).contains(&latitude) || !(-180.0..=180.0).contains(&longitude) {
            fault = Some(ReadError::Coordinate { node });
        } else if let Some(place) = places.get_mut(number as usize) {
            *place = Some(Coordinate {
                latitude,
                longitude,
            });
        }
    };
    ElementReader::new(bytes)
        .for_each(|element| match element {
            Element::Node(node) => keep(node.id(), node.lat(), node.lon()),
            Element::DenseNode(node) => keep(node.id(), node.lat(), node.lon()),
            Element::Way(_) | Element::Relation(_) => {}
        })
        .map_err(|error| ReadError::Layout(error.to_string()))?;
    fault.map_or(Ok(places), Err)
}
