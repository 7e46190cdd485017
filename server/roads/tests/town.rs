//! The map of an invented town against two other libraries.
//!
//! `tests/town/make.py` wrote the map with pyosmium (BSD licence) and drove through it with `NetworkX`'s Dijkstra, from the
//! file, by rules of its own. Here petgraph's Dijkstra (MIT or Apache-2.0) goes over the network that was read.

#![expect(clippy::panic, reason = "a test stops with its message")]

use forenoon_planner::travel::{Coordinate, Travel, Triangle};
use forenoon_roads::{Engine, EngineError, Network, ReadError};
use petgraph::algo::dijkstra;
use petgraph::graph::{DiGraph, NodeIndex};

const TOWN: &[u8] = include_bytes!("town/town.osm.pbf");

fn town() -> Network {
    Network::read(TOWN).unwrap_or_else(|error| panic!("{error}"))
}

/// Places and the drives between all of them, row by row, as `NetworkX` found them: seconds and metres.
fn drives() -> (Vec<Coordinate>, Vec<(f64, f64)>) {
    let rows: Vec<Vec<f64>> = include_str!("town/drives.csv")
        .lines()
        .skip(1)
        .map(|line| {
            let numbers = line.split(',').map(str::parse::<f64>);
            numbers
                .collect::<Result<_, _>>()
                .unwrap_or_else(|error| panic!("{line}: {error}"))
        })
        .collect();
    let mut places: Vec<Coordinate> = Vec::new();
    for row in &rows {
        let place = Coordinate {
            latitude: row[2],
            longitude: row[3],
        };
        if !places.contains(&place) {
            places.push(place);
        }
    }
    (places, rows.iter().map(|row| (row[4], row[5])).collect())
}

/// Guards the whole way from the file to the table: another reader, other rules and another search must come to the same
/// times and lengths, to the second and the metre.
#[test]
fn times_are_those_of_another_library() {
    let (places, drives) = drives();
    let table = Engine::new(&town())
        .table(&places, 50)
        .unwrap_or_else(|error| panic!("{error}"));
    assert_eq!(table.seconds.len(), 24 * 24);
    for (at, (seconds, metres)) in drives.into_iter().enumerate() {
        // A map's coordinates have seven places: a few millimetres on each stretch.
        for (name, found, expected) in [
            ("seconds", table.seconds[at], seconds),
            ("metres", table.metres[at], metres),
        ] {
            let found = found.unwrap_or_else(|| panic!("no way for entry {at}"));
            assert!(
                (found as f64 - expected).abs() <= 1.0,
                "entry {at}: {found} {name}, not {expected}"
            );
        }
    }
    let travel = Travel::from_table(
        places.len(),
        &table.seconds,
        Some(&table.metres),
        Triangle::Refuse {
            tolerance_seconds: 2,
        },
    );
    assert!(travel.is_ok(), "{travel:?}");
}

/// Guards the shortest-path engine: between all points of the network, whatever part they lie in, it must find the very
/// milliseconds that petgraph's Dijkstra finds, and no way where there is none.
#[test]
fn every_path_is_as_quick_as_dijkstra_says() {
    let network = town();
    let mut graph: DiGraph<(), u32, u32> = DiGraph::default();
    let mut input = fast_paths::InputGraph::new();
    for _ in network.points() {
        graph.add_node(());
    }
    for arc in network.arcs() {
        graph.add_edge(
            NodeIndex::from(arc.from),
            NodeIndex::from(arc.to),
            arc.milliseconds,
        );
        input.add_edge(
            arc.from as usize,
            arc.to as usize,
            arc.milliseconds as usize,
        );
    }
    input.freeze();
    let prepared = fast_paths::prepare(&input);
    let mut paths = fast_paths::create_calculator(&prepared);
    let (mut ways, mut none) = (0, 0);
    for from in graph.node_indices() {
        let reached = dijkstra(&graph, from, None, |edge| u64::from(*edge.weight()));
        for to in graph.node_indices().filter(|to| *to != from) {
            let path = paths.calc_path(&prepared, from.index(), to.index());
            let found = path.map(|path| path.get_weight() as u64);
            assert_eq!(found, reached.get(&to).copied(), "{from:?} to {to:?}");
            if found.is_some() {
                ways += 1;
            } else {
                none += 1;
            }
        }
    }
    assert!(ways > 20_000 && none > 500, "{ways} {none}");
}

/// Guards the direction of one-way streets: there and back must differ somewhere, or they were not read.
#[test]
fn one_way_streets_make_a_difference() {
    let (places, _) = drives();
    let table = Engine::new(&town())
        .table(&places, 50)
        .unwrap_or_else(|error| panic!("{error}"));
    let count = places.len();
    let unlike = (0..count * count)
        .filter(|at| table.seconds[*at] != table.seconds[at % count * count + at / count])
        .count();
    assert!(unlike > 100, "{unlike}");
}

/// Guards the edge: a place far from all roads, or off the Earth, is named.
#[test]
fn places_off_the_roads_are_named() {
    let (mut places, _) = drives();
    let engine = Engine::new(&town());
    places[3].latitude += 0.5;
    let error = engine.table(&places, 300).err();
    assert!(
        matches!(error, Some(EngineError::OffRoad { place, limit: 300, .. }) if place.0 == 3),
        "{error:?}"
    );
    places[3].latitude = f64::NAN;
    let error = engine.table(&places, 300).err();
    assert!(
        matches!(error, Some(EngineError::Coordinate { place }) if place.0 == 3),
        "{error:?}"
    );
    let many = vec![places[0]; forenoon_roads::PLACES_MAX + 1];
    assert!(matches!(
        engine.table(&many, 300),
        Err(EngineError::TooManyPlaces { .. })
    ));
}

/// Guards against hostile files: cut off or altered bytes give an error or a network, never a panic, and nothing that is
/// no such file passes for one.
#[test]
fn damaged_files_are_refused() {
    let mut rng = fastrand::Rng::with_seed(5);
    assert!(matches!(
        Network::read(b"no map at all"),
        Err(ReadError::Layout(_))
    ));
    assert_eq!(Network::read(b""), Err(ReadError::NoRoad));
    let mut refused = 0;
    for _ in 0..400 {
        let mut bytes = TOWN[..rng.usize(1..=TOWN.len())].to_vec();
        for _ in 0..rng.usize(0..4) {
            let at = rng.usize(..bytes.len());
            bytes[at] = rng.u8(..);
        }
        refused += usize::from(Network::read(&bytes).is_err());
    }
    assert!(refused > 300, "{refused}");
}
