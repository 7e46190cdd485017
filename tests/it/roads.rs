//! A server with a file of roads drives by them, and by the branch's travel rule where there are none.
//!
//! The drives are those that `NetworkX` found through the same file (`server/roads/tests/town/make.py`).

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use forenoon_proto::v1::{Capability, Crew, ImportRecord, Plan, Role, Unit, UnitKind, Worker};
use forenoon_tests::actors::{Api, Dispatcher};
use forenoon_tests::database::Database;
use forenoon_tests::make::{
    crew_record, inches, lawn_to_mow, litres, place, shift, unit, unit_record, worker_record,
};
use forenoon_tests::server::{Server, command, run_to_end};
use forenoon_tests::small_branch::{BRANCH, BRANCH_ID, branch, day};

/// A place of the file's list, by its latitude and longitude as they are written there.
type Place = (String, String);

fn town() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../server/roads/tests/town")
}

/// Seconds between places as the other library found them, and the first places of the list.
fn drives(count: usize) -> (Vec<Place>, BTreeMap<(Place, Place), f64>) {
    let text = std::fs::read_to_string(town().join("drives.csv")).expect("the drives");
    let mut places = Vec::new();
    let mut seconds = BTreeMap::new();
    for line in text.lines().skip(1) {
        let cells: Vec<String> = line.split(',').map(str::to_owned).collect();
        let at = |cell: usize| (cells[cell].clone(), cells[cell + 1].clone());
        if !places.contains(&at(0)) && places.len() < count {
            places.push(at(0));
        }
        seconds.insert((at(0), at(2)), cells[4].parse().expect("seconds"));
    }
    (places, seconds)
}

fn degrees(spot: &Place) -> (f64, f64) {
    let number = |text: &str| text.parse().expect("degrees");
    (number(&spot.0), number(&spot.1))
}

/// A crew with a mower, and a lawn at each place.
fn records(places: &[Place]) -> Vec<ImportRecord> {
    let mut records = vec![
        unit_record(Unit {
            capabilities: vec![Capability::Carrier.into()],
            carries: Some(litres(4_000.0)),
            ..unit(BRANCH, "truck", UnitKind::Vehicle, 0.0)
        }),
        unit_record(Unit {
            capabilities: vec![Capability::Mower.into()],
            cutting_width: Some(inches(30.0)),
            ..unit(BRANCH, "mower", UnitKind::WalkMower, 500.0)
        }),
        crew_record(Crew {
            name: format!("{BRANCH}/crews/ash"),
            display_name: "Ash".to_owned(),
            shifts: (1..=5).map(|day| shift(day, (7, 0), (17, 0))).collect(),
            vehicle: format!("{BRANCH}/units/truck"),
            ..Default::default()
        }),
        worker_record(Worker {
            name: format!("{BRANCH}/workers/ada"),
            display_name: "Ada".to_owned(),
            crew: format!("{BRANCH}/crews/ash"),
            roles: vec![Role::CrewLead.into(), Role::Crew.into()],
            ..Default::default()
        }),
    ];
    for (number, spot) in places.iter().enumerate() {
        let (latitude, longitude) = degrees(spot);
        let there = place(latitude, longitude);
        records.extend(lawn_to_mow(BRANCH, number, there, day()));
    }
    records
}

/// Seconds driven to each stop, with the place before and the place of the stop; the yard is the first place.
fn legs(plan: &Plan, places: &[Place]) -> Vec<(Place, Place, f64)> {
    let mut before = places[0].clone();
    let mut legs = Vec::new();
    for stop in &plan.crew_days[0].stops {
        let number = stop.job.rsplit('-').next().expect("an id");
        let number: usize = number.parse().expect("a number");
        let here = places[number + 1].clone();
        let drive = stop.drive.as_ref().expect("a drive");
        legs.push((before, here.clone(), drive.seconds as f64));
        before = here;
    }
    legs
}

async fn planned(server: &Server, places: &[Place], seconds_per_stop: i32) -> Plan {
    let api = Api::of(server);
    let mut house = branch();
    let (latitude, longitude) = degrees(&places[0]);
    house.yard = Some(place(latitude, longitude));
    house.travel.as_mut().expect("a rule").seconds_per_stop = seconds_per_stop;
    api.create_branch(BRANCH_ID, house).await;
    api.import(BRANCH, records(&places[1..])).await;
    Dispatcher::new(&api, BRANCH).plan(day(), 1, 500).await
}

#[tokio::test]
async fn drives_go_by_the_roads_of_the_file() {
    let (mut places, seconds) = drives(9);
    // Beyond the last street, where only the travel rule reaches: great circle times 1.3 at 40 km/h.
    let beyond: Place = ("41.5".to_owned(), "-91.8".to_owned());
    places.push(beyond.clone());
    let database = Database::sqlite();
    let file = town().join("town.osm.pbf");
    let file = file.to_str().expect("a path in UTF-8");
    let server = Server::start_with(&database, ["--listen", "127.0.0.1:0", "--roads", file]).await;
    let plan = planned(&server, &places, 90).await;
    let legs = legs(&plan, &places);
    assert_eq!(legs.len(), 9, "{plan:?}");
    for (from, to, found) in &legs {
        let expected = if *from == beyond || *to == beyond {
            rule_seconds(degrees(from), degrees(to))
        } else {
            seconds[&(from.clone(), to.clone())]
        };
        assert!(
            (found - expected - 90.0).abs() <= 1.5,
            "{from:?} to {to:?}: {found}, not {expected} and 90"
        );
    }

    // Without the file the rule goes for all, and says otherwise.
    let database = Database::sqlite();
    let server = Server::start(&database).await;
    let plan = planned(&server, &places, 90).await;
    for (from, to, found) in self::legs(&plan, &places) {
        let expected = rule_seconds(degrees(&from), degrees(&to));
        assert!(
            (found - expected - 90.0).abs() <= 1.5,
            "{found}, {expected}"
        );
    }
}

/// Great-circle distance by the haversine formula on the IUGG mean radius, times 1.3, at 40 km/h.
fn rule_seconds(from: (f64, f64), to: (f64, f64)) -> f64 {
    let radians = |degrees: f64| degrees.to_radians();
    let half = |a: f64, b: f64| ((radians(b) - radians(a)) / 2.0).sin().powi(2);
    let chord =
        half(from.0, to.0) + radians(from.0).cos() * radians(to.0).cos() * half(from.1, to.1);
    2.0 * 6_371_008.8 * chord.sqrt().asin() * 1.3 / (40_000.0 / 3_600.0)
}

#[test]
fn a_file_that_holds_no_roads_ends_the_start() {
    let database = Database::sqlite();
    for (file, words) in [
        (town().join("make.py"), "make.py"),
        (town().join("gone.osm.pbf"), "cannot be read"),
    ] {
        let mut server = command(&database);
        server
            .args(["--listen", "127.0.0.1:0", "--roads"])
            .arg(&file);
        let ended = run_to_end(server);
        assert_eq!(ended.status.code(), Some(12), "{}", ended.messages);
        assert!(ended.messages.contains(words), "{}", ended.messages);
    }
}
