//! A branch with sites, crews, workers and units, through the services.

use forenoon_proto::google::r#type::{DayOfWeek, LatLng, Money, TimeOfDay};
use forenoon_proto::v1;
use forenoon_proto::v1::crew_service_client::CrewServiceClient;
use forenoon_proto::v1::site_service_client::SiteServiceClient;
use forenoon_proto::v1::unit_service_client::UnitServiceClient;
use prost_types::FieldMask;
use tonic::Status;
use tonic::transport::Channel;
use tonic_types::StatusExt;

use crate::house::{House, faults};

pub(crate) const NORTH: &str = "branches/north";

pub(crate) fn site_client(house: &House) -> SiteServiceClient<Channel> {
    SiteServiceClient::new(house.channel())
}

pub(crate) fn crew_client(house: &House) -> CrewServiceClient<Channel> {
    CrewServiceClient::new(house.channel())
}

pub(crate) fn unit_client(house: &House) -> UnitServiceClient<Channel> {
    UnitServiceClient::new(house.channel())
}

/// Opens branch `north`, in dollars and feet.
pub(crate) async fn open(house: &House) {
    open_with(house, v1::UnitSystem::UsCustomary).await;
}

/// Opens branch `north`, in dollars.
pub(crate) async fn open_with(house: &House, system: v1::UnitSystem) {
    open_branch(house, "north", "North yard", system).await;
}

/// Opens a branch, in dollars.
pub(crate) async fn open_branch(house: &House, id: &str, name: &str, system: v1::UnitSystem) {
    let branch = v1::Branch {
        display_name: name.into(),
        time_zone: "America/Chicago".into(),
        currency_code: "USD".into(),
        unit_system: system.into(),
        yard: at(41.5, -93.6),
        ..v1::Branch::default()
    };
    let request = v1::CreateBranchRequest {
        branch_id: id.into(),
        branch: Some(branch),
        request_id: String::new(),
    };
    let created = house.branches().create_branch(request).await;
    created.expect("created");
}

#[expect(clippy::unnecessary_wraps, reason = "a field of a message")]
pub(crate) fn at(latitude: f64, longitude: f64) -> Option<LatLng> {
    Some(LatLng {
        latitude,
        longitude,
    })
}

#[expect(clippy::unnecessary_wraps, reason = "a field of a message")]
pub(crate) fn dollars(units: i64) -> Option<Money> {
    Some(Money {
        currency_code: "USD".into(),
        units,
        nanos: 0,
    })
}

#[expect(clippy::unnecessary_wraps, reason = "a field of a message")]
pub(crate) fn euros(units: i64) -> Option<Money> {
    Some(Money {
        currency_code: "EUR".into(),
        units,
        nanos: 0,
    })
}

#[expect(clippy::unnecessary_wraps, reason = "a field of a message")]
pub(crate) fn clock(hours: i32, minutes: i32) -> Option<TimeOfDay> {
    Some(TimeOfDay {
        hours,
        minutes,
        seconds: 0,
        nanos: 0,
    })
}

/// A length, a surface or a volume in one of its units, as `length(Feet(3.0))`.
macro_rules! measures {
    ($($function:ident: $message:ident, $module:ident);+) => {$(
        pub(crate) fn $function(value: v1::$module::Value) -> Option<v1::$message> {
            Some(v1::$message { value: Some(value) })
        }
    )+};
}
measures!(length: Length, length; surface: Surface, surface; volume: Volume, volume);

/// Calls for one resource: create, read, change the fields of a mask (none changes all), delete.
macro_rules! calls {
    ($client:ident, $message:ident, $field:ident, $id:ident: $add:ident $create:ident
     $CreateRequest:ident, $read:ident $get:ident $GetRequest:ident, $change:ident $update:ident
     $UpdateRequest:ident, $remove:ident $delete:ident $DeleteRequest:ident) => {
        pub(crate) async fn $add(
            house: &House,
            id: &str,
            one: v1::$message,
        ) -> Result<v1::$message, Status> {
            let request = v1::$CreateRequest {
                parent: NORTH.into(),
                $id: id.into(),
                $field: Some(one),
                request_id: String::new(),
            };
            let response = $client(house).$create(request).await?.into_inner();
            Ok(response.$field.expect("the one created"))
        }

        pub(crate) async fn $read(house: &House, name: &str) -> Result<v1::$message, Status> {
            let request = v1::$GetRequest { name: name.into() };
            let response = $client(house).$get(request).await?.into_inner();
            Ok(response.$field.expect("the one asked for"))
        }

        pub(crate) async fn $change(
            house: &House,
            one: v1::$message,
            paths: &[&str],
        ) -> Result<v1::$message, Status> {
            let request = v1::$UpdateRequest {
                $field: Some(one),
                update_mask: (!paths.is_empty()).then(|| mask(paths)),
                request_id: String::new(),
            };
            let response = $client(house).$update(request).await?.into_inner();
            Ok(response.$field.expect("the one changed"))
        }

        pub(crate) async fn $remove(house: &House, name: &str, etag: &str) -> Result<(), Status> {
            let request = v1::$DeleteRequest {
                name: name.into(),
                etag: etag.into(),
                request_id: String::new(),
            };
            $client(house).$delete(request).await.map(|_| ())
        }
    };
}
calls!(site_client, Site, site, site_id: add_site create_site CreateSiteRequest,
    read_site get_site GetSiteRequest, change_site update_site UpdateSiteRequest,
    remove_site delete_site DeleteSiteRequest);
calls!(crew_client, Crew, crew, crew_id: add_crew create_crew CreateCrewRequest,
    read_crew get_crew GetCrewRequest, change_crew update_crew UpdateCrewRequest,
    remove_crew delete_crew DeleteCrewRequest);
calls!(crew_client, Worker, worker, worker_id: add_worker create_worker CreateWorkerRequest,
    read_worker get_worker GetWorkerRequest, change_worker update_worker UpdateWorkerRequest,
    remove_worker delete_worker DeleteWorkerRequest);
calls!(unit_client, Unit, unit, unit_id: add_unit create_unit CreateUnitRequest,
    read_unit get_unit GetUnitRequest, change_unit update_unit UpdateUnitRequest,
    remove_unit delete_unit DeleteUnitRequest);

fn mask(paths: &[&str]) -> FieldMask {
    FieldMask {
        paths: paths.iter().map(|&path| path.to_owned()).collect(),
    }
}

/// A site with each kind of area and a hazard.
pub(crate) fn site() -> v1::Site {
    use v1::{length::Value as Long, surface::Value as Wide};
    let area = |id: &str, kind: v1::AreaKind| v1::Area {
        area_id: id.into(),
        display_name: id.replace('-', " "),
        kind: kind.into(),
        slope_percent: 8.0,
        obstacles: v1::Obstacles::Few.into(),
        shape: v1::AreaShape::Ordinary.into(),
        ..v1::Area::default()
    };
    v1::Site {
        display_name: "Mill Lane 4".into(),
        customer: "Orla Vantrell".into(),
        contact: Some(v1::Contact {
            display_name: "Orla".into(),
            phone: "555-0104".into(),
            email: "orla@larkmoor.example".into(),
        }),
        address: "4 Mill Lane, Larkmoor".into(),
        location: at(41.52, -93.61),
        areas: vec![
            v1::Area {
                surface: surface(Wide::SquareFeet(4_200.0)),
                narrowest_gate: length(Long::Inches(42.0)),
                ..area("back-lawn", v1::AreaKind::Turf)
            },
            v1::Area {
                length: length(Long::Feet(250.0)),
                ..area("walk", v1::AreaKind::HardEdge)
            },
            v1::Area {
                surface: surface(Wide::SquareFeet(90.0)),
                length: length(Long::Feet(40.0)),
                ..area("rose-bed", v1::AreaKind::Bed)
            },
        ],
        hazards: vec![v1::Hazard {
            hazard_id: "pipe".into(),
            description: "Standpipe in the grass, 2 ft from the fence".into(),
            location: at(41.520_1, -93.610_2),
            area_id: "back-lawn".into(),
        }],
        clippings: v1::Clippings::CustomerHeap.into(),
        clippings_note: "Heap behind the shed".into(),
        quiet_until: clock(8, 30),
        sensitive: true,
        access_note: "Gate sticks.\nClose it behind you.".into(),
        ..v1::Site::default()
    }
}

fn unit(serial: &str, kind: v1::UnitKind, capability: Option<v1::Capability>) -> v1::Unit {
    v1::Unit {
        display_name: serial.to_lowercase(),
        serial_number: serial.into(),
        kind: kind.into(),
        capabilities: capability.into_iter().map(i32::from).collect(),
        ..v1::Unit::default()
    }
}

/// A collecting walk mower with every field that goes with it.
pub(crate) fn mower(serial: &str) -> v1::Unit {
    use v1::{length::Value as Long, volume::Value as Room};
    v1::Unit {
        model: "walk-behind with bag".into(),
        cutting_width: length(Long::Inches(36.0)),
        machine_width: length(Long::Inches(38.0)),
        max_slope_percent: 27.0,
        load_space: volume(Room::CubicFeet(45.0)),
        bag: volume(Room::CubicFeet(3.8)),
        purchase_price: dollars(5_400),
        run_hours: 312.5,
        service_interval_hours: 50.0,
        absences: vec![v1::Absence {
            start_time: Some("2027-04-21T12:00:00Z".parse().expect("an instant")),
            end_time: Some("2027-04-21T17:00:00Z".parse().expect("an instant")),
            reason: "Blade being ground".into(),
        }],
        ..unit(
            serial,
            v1::UnitKind::WalkMower,
            Some(v1::Capability::CollectingMower),
        )
    }
}

pub(crate) fn powerhead(serial: &str) -> v1::Unit {
    v1::Unit {
        coupling: "square-26".into(),
        ..unit(serial, v1::UnitKind::Powerhead, None)
    }
}

pub(crate) fn edger(serial: &str) -> v1::Unit {
    v1::Unit {
        coupling: "square-26".into(),
        ..unit(
            serial,
            v1::UnitKind::Attachment,
            Some(v1::Capability::Edger),
        )
    }
}

pub(crate) fn blower(serial: &str) -> v1::Unit {
    unit(serial, v1::UnitKind::Blower, Some(v1::Capability::Blower))
}

pub(crate) fn truck(serial: &str) -> v1::Unit {
    v1::Unit {
        carries: volume(v1::volume::Value::CubicFeet(60.0)),
        ..unit(serial, v1::UnitKind::Vehicle, Some(v1::Capability::Carrier))
    }
}

pub(crate) fn trailer(serial: &str) -> v1::Unit {
    v1::Unit {
        carries: volume(v1::volume::Value::CubicFeet(190.0)),
        ..unit(serial, v1::UnitKind::Trailer, Some(v1::Capability::Carrier))
    }
}

/// The name of a unit of the branch.
pub(crate) fn unit_name(id: &str) -> String {
    format!("{NORTH}/units/{id}")
}

/// The name of a crew of the branch.
pub(crate) fn crew_name(id: &str) -> String {
    format!("{NORTH}/crews/{id}")
}

/// The name of a worker of the branch.
pub(crate) fn worker_name(id: &str) -> String {
    format!("{NORTH}/workers/{id}")
}

/// The worker in a crew.
pub(crate) fn in_crew(id: &str, one: v1::Worker) -> v1::Worker {
    v1::Worker {
        crew: crew_name(id),
        ..one
    }
}

pub(crate) fn shift(day: DayOfWeek, from: (i32, i32), to: (i32, i32)) -> v1::Shift {
    v1::Shift {
        day: day.into(),
        start_time: clock(from.0, from.1),
        end_time: clock(to.0, to.1),
    }
}

/// A crew on foot with two shifts on Tuesday, the second to midnight.
pub(crate) fn crew(display_name: &str) -> v1::Crew {
    v1::Crew {
        display_name: display_name.into(),
        shifts: vec![
            shift(DayOfWeek::Tuesday, (7, 0), (12, 0)),
            shift(DayOfWeek::Tuesday, (20, 0), (24, 0)),
            shift(DayOfWeek::Wednesday, (7, 0), (16, 0)),
        ],
        overtime_allowed: seconds(3_600),
        break_length: seconds(1_800),
        base: at(41.49, -93.62),
        ..v1::Crew::default()
    }
}

#[expect(clippy::unnecessary_wraps, reason = "a field of a message")]
pub(crate) fn seconds(seconds: i64) -> Option<prost_types::Duration> {
    Some(prost_types::Duration { seconds, nanos: 0 })
}

/// A worker in no crew.
pub(crate) fn worker(display_name: &str, skills: &[&str]) -> v1::Worker {
    v1::Worker {
        display_name: display_name.into(),
        roles: vec![v1::Role::Crew.into(), v1::Role::CrewLead.into()],
        skills: skills.iter().map(|&skill| skill.to_owned()).collect(),
        phone: "555-0110".into(),
        cost_per_hour: dollars(27),
        ..v1::Worker::default()
    }
}

/// Asserts that a call was refused for exactly these fields, each with its reason.
#[track_caller]
pub(crate) fn refused_for<T: std::fmt::Debug>(
    outcome: Result<T, Status>,
    what: &str,
    expected: &[(&str, &str)],
) {
    let refused = outcome.expect_err(what);
    let mut expected: Vec<_> = expected
        .iter()
        .map(|(field, reason)| ((*field).to_owned(), (*reason).to_owned()))
        .collect();
    expected.sort();
    assert_eq!(faults(&refused), expected, "{what}");
}

/// The obstacles of a refusal, each with its kind and what stands in the way.
#[track_caller]
pub(crate) fn obstacles<T: std::fmt::Debug>(outcome: Result<T, Status>) -> Vec<(String, String)> {
    let refused = outcome.expect_err("something stands in the way");
    assert_eq!(
        refused.code(),
        tonic::Code::FailedPrecondition,
        "{refused:?}"
    );
    refused
        .get_details_precondition_failure()
        .expect("a PreconditionFailure")
        .violations
        .into_iter()
        .map(|one| {
            assert!(!one.description.is_empty());
            (one.r#type, one.subject)
        })
        .collect()
}
