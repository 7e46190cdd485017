//! A branch small enough to reckon by hand: two crews, a handful of units, three sites.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use chrono::{DateTime, NaiveDate, Utc, Weekday};
use forenoon_desk::DayInputs;
use forenoon_desk::clock::DayClock;
use forenoon_desk::lessons::{Lessons, PastVisit};
use forenoon_store::entity::{branch, crew, job, site, tag_out, unit, worker};
use forenoon_store::value::{
    Absences, Area, AreaKind, AreaShape, Areas, Capabilities, Capability, Clippings, DayTimes,
    Disruptions, ExposureRule, ForbiddenEarlier, ForbiddenTasks, Hazards, JobState, Obstacles,
    PriceRule, Roles, Severity, Shift, Shifts, SiteCondition, Symptom, TagOutState, Tasks,
    TravelRule, UnitKind, UnitSystem, VisitWindow, VisitWindows, Words,
};
use forenoon_trade::rates::Rates;

pub(crate) const EPOCH: DateTime<Utc> = DateTime::UNIX_EPOCH;

/// Tuesday, 20 April 2027.
pub(crate) fn day() -> NaiveDate {
    NaiveDate::from_ymd_opt(2027, 4, 20).unwrap()
}

pub(crate) fn inputs() -> DayInputs {
    inputs_on(day())
}

pub(crate) fn inputs_on(day: NaiveDate) -> DayInputs {
    let sites = [site("elm", 0.00), site("fir", 0.02), site("oak", 0.04)];
    DayInputs {
        branch: branch(),
        clock: DayClock::new(chrono_tz::America::Chicago, day).unwrap(),
        crews: vec![
            crew("crew-1", Some("truck-1"), Some("trailer-1")),
            crew("crew-2", Some("truck-2"), None),
        ],
        workers: vec![
            worker("ann", "crew-1"),
            worker("bo", "crew-1"),
            worker("cy", "crew-2"),
        ],
        units: vec![
            carrier("truck-1", UnitKind::Vehicle, 2_000.0),
            carrier("truck-2", UnitKind::Vehicle, 2_000.0),
            carrier("trailer-1", UnitKind::Trailer, 6_000.0),
            mower("walk-21", UnitKind::WalkMower, 533.4, 200.0),
            mower("ride-60", UnitKind::RideOnMower, 1_524.0, 3_000.0),
            tool("blower-1", UnitKind::Blower, &[Capability::Blower], None),
            tool("power-1", UnitKind::Powerhead, &[], Some("square-26")),
            tool(
                "edger-1",
                UnitKind::Attachment,
                &[Capability::Edger],
                Some("square-26"),
            ),
            tool(
                "line-1",
                UnitKind::Attachment,
                &[Capability::LineHead],
                Some("square-26"),
            ),
            tool(
                "edger-2",
                UnitKind::Attachment,
                &[Capability::Edger],
                Some("round-28"),
            ),
        ],
        tags: BTreeMap::new(),
        jobs: vec![
            job("elm-mow", "elm"),
            job("fir-mow", "fir"),
            job("oak-mow", "oak"),
        ],
        sites: sites
            .into_iter()
            .map(|site| (site.id.clone(), site))
            .collect(),
        left_out: Vec::new(),
        visits: BTreeMap::new(),
        lessons: Arc::default(),
        drives: forenoon_desk::drives::Drives::default(),
        roads: None,
        heat: None,
        confidence_percent: 0,
        meetings: false,
        not_before: None,
        base: None,
        service_first: BTreeSet::new(),
        disruptions: Disruptions::default(),
        overruns: BTreeMap::new(),
        loads: Vec::new(),
        out: Vec::new(),
        stranded: BTreeSet::new(),
        moved: BTreeMap::new(),
        continued: BTreeMap::new(),
        split: BTreeMap::new(),
    }
}

fn branch() -> branch::Model {
    branch::Model {
        id: "north".to_owned(),
        display_name: "North yard".to_owned(),
        time_zone: "America/Chicago".to_owned(),
        currency_code: "USD".to_owned(),
        unit_system: UnitSystem::UsCustomary,
        yard_latitude: 41.6,
        yard_longitude: -93.6,
        travel: TravelRule {
            road_factor: 1.3,
            kilometres_per_hour: 40.0,
            seconds_per_stop: 60,
        },
        exposure: ExposureRule::default(),
        price: PriceRule {
            labour_per_hour_minor: Some(2_400),
            ..PriceRule::default()
        },
        revision: 1,
        create_time: EPOCH,
        update_time: EPOCH,
    }
}

/// Works every day from 07:00 to 15:30.
fn crew(id: &str, vehicle: Option<&str>, trailer: Option<&str>) -> crew::Model {
    let week = [
        Weekday::Mon,
        Weekday::Tue,
        Weekday::Wed,
        Weekday::Thu,
        Weekday::Fri,
        Weekday::Sat,
        Weekday::Sun,
    ];
    crew::Model {
        branch_id: "north".to_owned(),
        id: id.to_owned(),
        display_name: id.to_owned(),
        shifts: Shifts(
            week.map(|day| Shift {
                day,
                times: DayTimes {
                    start_second_of_day: 7 * 3_600,
                    end_second_of_day: 15 * 3_600 + 1_800,
                },
            })
            .to_vec(),
        ),
        vehicle_id: vehicle.map(str::to_owned),
        trailer_id: trailer.map(str::to_owned),
        overtime_allowed_seconds: 3_600,
        base_latitude: None,
        base_longitude: None,
        break_seconds: 1_800,
        revision: 1,
        create_time: EPOCH,
        update_time: EPOCH,
    }
}

pub(crate) fn worker(id: &str, crew: &str) -> worker::Model {
    worker::Model {
        branch_id: "north".to_owned(),
        id: id.to_owned(),
        display_name: id.to_owned(),
        crew_id: Some(crew.to_owned()),
        roles: Roles::default(),
        skills: Words::default(),
        phone: String::new(),
        cost_per_hour_minor: None,
        revision: 1,
        create_time: EPOCH,
        update_time: EPOCH,
    }
}

pub(crate) fn tool(
    id: &str,
    kind: UnitKind,
    capabilities: &[Capability],
    coupling: Option<&str>,
) -> unit::Model {
    unit::Model {
        branch_id: "north".to_owned(),
        id: id.to_owned(),
        display_name: id.to_owned(),
        serial_number: id.to_owned(),
        model: String::new(),
        kind,
        capabilities: Capabilities(capabilities.to_vec()),
        coupling: coupling.map(str::to_owned),
        cutting_width_millimetres: None,
        machine_width_millimetres: None,
        max_slope_percent: 0.0,
        load_space_litres: 50.0,
        carries_litres: 0.0,
        bag_litres: 0.0,
        purchase_price_minor: None,
        run_hours: 0.0,
        service_interval_hours: 0.0,
        noise_dba: 0.0,
        vibration_metres_per_second_squared: 0.0,
        absences: Absences::default(),
        retired: false,
        revision: 1,
        create_time: EPOCH,
        update_time: EPOCH,
    }
}

fn mower(id: &str, kind: UnitKind, width_millimetres: f64, space_litres: f64) -> unit::Model {
    unit::Model {
        cutting_width_millimetres: Some(width_millimetres),
        max_slope_percent: 25.0,
        load_space_litres: space_litres,
        ..tool(id, kind, &[Capability::Mower], None)
    }
}

fn carrier(id: &str, kind: UnitKind, litres: f64) -> unit::Model {
    unit::Model {
        carries_litres: litres,
        ..tool(id, kind, &[Capability::Carrier], None)
    }
}

/// A lawn of 10,000 sq ft and a drive edge of 100 ft, so far north of the yard.
fn site(id: &str, north: f64) -> site::Model {
    site::Model {
        branch_id: "north".to_owned(),
        id: id.to_owned(),
        display_name: format!("{id} place"),
        customer: format!("{id} owner"),
        contact: None,
        address: String::new(),
        latitude: 41.6 + north,
        longitude: -93.6,
        areas: Areas(vec![
            area("lawn", AreaKind::Turf),
            area("drive", AreaKind::HardEdge),
        ]),
        hazards: Hazards::default(),
        clippings: Clippings::MayLie,
        clippings_note: String::new(),
        quiet_until_second_of_day: None,
        sensitive: false,
        access_note: String::new(),
        revision: 1,
        create_time: EPOCH,
        update_time: EPOCH,
    }
}

pub(crate) fn area(id: &str, kind: AreaKind) -> Area {
    let length = matches!(kind, AreaKind::HardEdge);
    Area {
        area_id: id.to_owned(),
        display_name: id.to_owned(),
        kind,
        surface_square_metres: (!length).then_some(929.0304),
        length_metres: length.then_some(30.48),
        slope_percent: 4.0,
        narrowest_gate_millimetres: None,
        obstacles: Obstacles::Few,
        shape: AreaShape::Ordinary,
    }
}

/// A weekly visit; its tasks are composed by the rules.
pub(crate) fn job(id: &str, site_id: &str) -> job::Model {
    let mut job = job::Model {
        branch_id: "north".to_owned(),
        id: id.to_owned(),
        display_name: id.to_owned(),
        site_id: site_id.to_owned(),
        tasks: Tasks::default(),
        area_ids: Words::default(),
        condition: SiteCondition::default(),
        windows: VisitWindows(vec![VisitWindow {
            first_day: NaiveDate::from_ymd_opt(2027, 1, 1).unwrap(),
            last_day: NaiveDate::from_ymd_opt(2027, 12, 31).unwrap(),
            times: Vec::new(),
        }]),
        first_day: NaiveDate::from_ymd_opt(2027, 1, 1).unwrap(),
        last_day: NaiveDate::from_ymd_opt(2027, 12, 31).unwrap(),
        priority: 3,
        deadline: None,
        deadline_source: String::new(),
        promise: None,
        skills: Words::default(),
        price_minor: None,
        note: String::new(),
        state: JobState::Open,
        cancel_reason: String::new(),
        revision: 1,
        create_time: EPOCH,
        update_time: EPOCH,
    };
    job.tasks = Tasks(
        forenoon_desk::compose::composed(&job, &site(site_id, 0.0))
            .unwrap()
            .tasks,
    );
    job
}

/// An open tag on a unit.
pub(crate) fn tag(unit: &str, severity: Severity) -> (String, tag_out::Model) {
    let tag = tag_out::Model {
        branch_id: "north".to_owned(),
        id: "t-1".to_owned(),
        number: 1,
        unit_id: unit.to_owned(),
        symptom: Symptom::Vibration,
        description: "shakes".to_owned(),
        severity,
        forbidden_tasks: ForbiddenTasks::default(),
        found_by_id: None,
        job_id: None,
        contact: None,
        state: TagOutState::Tagged,
        diagnosis: String::new(),
        expected_return_time: None,
        repair: String::new(),
        repaired_by_id: None,
        inspection: String::new(),
        inspected_by_id: None,
        released_by_id: None,
        release_time: None,
        reopens_id: None,
        severity_time: None,
        forbidden_earlier: ForbiddenEarlier::default(),
        revision: 1,
        create_time: EPOCH,
        update_time: EPOCH,
    };
    (unit.to_owned(), tag)
}

/// What past visits teach a branch.
pub(crate) fn lessons(inputs: &DayInputs, past: &[PastVisit]) -> Arc<Lessons> {
    let size = |crew: &str| inputs.crew_size(crew);
    Arc::new(Lessons::from_visits(
        past,
        &inputs.units,
        size,
        inputs.clock.zone(),
        &Rates::default(),
    ))
}
