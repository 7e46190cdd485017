//! A branch small enough to plan by hand: two crews at work, eleven machines and tools, eight jobs.
//!
//! Its traps: one mower alone passes the alley's gate and may climb the bank, so one crew must do both; one
//! powerhead alone drives both the edger and the brush blade; the brush wants a skill that one crew has and
//! has to be gone by noon; a customer waits between 10:00 and 10:30; the school is quiet until 9:30; one job
//! asks for a tool that nobody has; another is for the day after.

use forenoon_proto::google::r#type::{Date, LatLng};
use forenoon_proto::v1::{
    Area, AreaKind, Branch, Capability, Clippings, Contact, Crew, Hazard, ImportRecord, Job,
    PriceRule, Promise, Role, Severity, Site, Symptom, TagOut, Task, TaskKind, TravelRule, Unit,
    UnitKind, UnitSystem, Worker,
};

use crate::make::{
    crew_record, date, dollars, inches, job_record, litres, metres, minutes, moment, on, place,
    shift, site_record, square_metres, task, time, times, unit, unit_record, worker_record,
};

/// The id of the branch.
pub const BRANCH_ID: &str = "larkmoor";
/// The branch.
pub const BRANCH: &str = "branches/larkmoor";
/// The mechanic.
pub const MECHANIC: &str = "branches/larkmoor/workers/gus";
/// The lead of the first crew.
pub const LEAD: &str = "branches/larkmoor/workers/ada";
/// The first crew: truck, trailer, a worker with a chainsaw.
pub const ASH: &str = "branches/larkmoor/crews/ash";
/// The second crew: truck only, a break at noon, overtime allowed.
pub const BIRCH: &str = "branches/larkmoor/crews/birch";

/// Tuesday, far enough ahead to stay in the future.
pub fn day() -> Date {
    date(2035, 4, 17)
}

/// The resource name of a unit.
pub fn unit_name(id: &str) -> String {
    format!("{BRANCH}/units/{id}")
}

/// A tag by which a unit must not be used, as a crew lead hangs it.
pub fn unsafe_tag(unit: &str, symptom: Symptom) -> TagOut {
    TagOut {
        unit: unit.to_owned(),
        symptom: symptom.into(),
        severity: Severity::Unsafe.into(),
        found_by: LEAD.to_owned(),
        ..Default::default()
    }
}

/// The resource name of a job.
pub fn job_name(id: &str) -> String {
    format!("{BRANCH}/jobs/{id}")
}

/// The branch, in an invented town.
pub fn branch() -> Branch {
    Branch {
        display_name: "Larkmoor Grounds".to_owned(),
        time_zone: "America/Chicago".to_owned(),
        currency_code: "USD".to_owned(),
        unit_system: UnitSystem::UsCustomary.into(),
        yard: Some(place(41.2000, -92.8000)),
        travel: Some(TravelRule {
            road_factor: 1.3,
            kilometres_per_hour: 40.0,
            seconds_per_stop: 120,
        }),
        price: Some(PriceRule {
            labour_per_hour: Some(dollars(24)),
            overhead_basis_points: 2_500,
            margin_basis_points: 1_500,
            minimum_charge: Some(dollars(45)),
            disposal_per_bag: Some(dollars(3)),
        }),
        ..Default::default()
    }
}

/// Everything in the branch, for one import.
pub fn records() -> Vec<ImportRecord> {
    let mut records = Vec::new();
    records.extend(units().into_iter().map(unit_record));
    records.extend(crews().into_iter().map(crew_record));
    records.extend(workers().into_iter().map(worker_record));
    records.extend(sites().into_iter().map(site_record));
    records.extend(jobs().into_iter().map(job_record));
    records
}

/// The vehicles, one of them without a crew, machines and tools.
pub fn units() -> Vec<Unit> {
    vec![
        vehicle("truck-1", UnitKind::Vehicle, 4_000.0),
        vehicle("truck-2", UnitKind::Vehicle, 4_500.0),
        vehicle("truck-3", UnitKind::Vehicle, 2_000.0),
        vehicle("trailer-1", UnitKind::Trailer, 6_000.0),
        mower("ride-60", UnitKind::RideOnMower, 60.0, 20.0, 2_500.0),
        mower("walk-30", UnitKind::WalkMower, 30.0, 25.0, 700.0),
        Unit {
            capabilities: vec![Capability::Mower.into(), Capability::CollectingMower.into()],
            bag: Some(litres(60.0)),
            ..mower("walk-21", UnitKind::WalkMower, 21.0, 36.0, 400.0)
        },
        coupled("head-a", UnitKind::Powerhead, "square-26", None),
        coupled("head-b", UnitKind::Powerhead, "round-24", None),
        coupled(
            "edger-a",
            UnitKind::Attachment,
            "square-26",
            Some(Capability::Edger),
        ),
        coupled(
            "blade-a",
            UnitKind::Attachment,
            "square-26",
            Some(Capability::BladeHead),
        ),
        coupled(
            "line-b",
            UnitKind::Attachment,
            "round-24",
            Some(Capability::LineHead),
        ),
        tool("blower-1", UnitKind::Blower, Capability::Blower),
        tool("blower-2", UnitKind::Blower, Capability::Blower),
        tool("rake-1", UnitKind::HandTool, Capability::Rake),
    ]
}

fn vehicle(id: &str, kind: UnitKind, carries_litres: f64) -> Unit {
    Unit {
        capabilities: vec![Capability::Carrier.into()],
        carries: Some(litres(carries_litres)),
        load_space: None,
        ..unit(BRANCH, id, kind, 0.0)
    }
}

fn mower(id: &str, kind: UnitKind, width_inches: f64, slope: f64, load_litres: f64) -> Unit {
    Unit {
        capabilities: vec![Capability::Mower.into()],
        cutting_width: Some(inches(width_inches)),
        max_slope_percent: slope,
        ..unit(BRANCH, id, kind, load_litres)
    }
}

fn coupled(id: &str, kind: UnitKind, coupling: &str, capability: Option<Capability>) -> Unit {
    Unit {
        capabilities: capability.into_iter().map(Into::into).collect(),
        coupling: coupling.to_owned(),
        ..unit(BRANCH, id, kind, 60.0)
    }
}

fn tool(id: &str, kind: UnitKind, capability: Capability) -> Unit {
    Unit {
        capabilities: vec![capability.into()],
        ..unit(BRANCH, id, kind, 50.0)
    }
}

/// The crews: two on every working day, one that nobody works in.
pub fn crews() -> Vec<Crew> {
    vec![
        Crew {
            name: ASH.to_owned(),
            display_name: "Ash".to_owned(),
            shifts: (1..=5).map(|day| shift(day, (7, 0), (15, 30))).collect(),
            vehicle: unit_name("truck-1"),
            trailer: unit_name("trailer-1"),
            overtime_allowed: Some(minutes(0)),
            ..Default::default()
        },
        Crew {
            name: BIRCH.to_owned(),
            display_name: "Birch".to_owned(),
            shifts: (1..=5).map(|day| shift(day, (7, 30), (15, 30))).collect(),
            vehicle: unit_name("truck-2"),
            overtime_allowed: Some(minutes(60)),
            break_length: Some(minutes(30)),
            ..Default::default()
        },
        Crew {
            name: format!("{BRANCH}/crews/spare"),
            display_name: "Spare".to_owned(),
            ..Default::default()
        },
    ]
}

/// The people.
pub fn workers() -> Vec<Worker> {
    vec![
        worker("ada", ASH, &[Role::Crew, Role::CrewLead], &[]),
        worker("ben", ASH, &[Role::Crew], &["chainsaw"]),
        worker("cora", BIRCH, &[Role::Crew, Role::CrewLead], &[]),
        worker("dev", BIRCH, &[Role::Crew], &[]),
        worker("gus", "", &[Role::Mechanic], &[]),
        worker("ivy", "", &[Role::Dispatcher], &[]),
    ]
}

fn worker(id: &str, crew: &str, roles: &[Role], skills: &[&str]) -> Worker {
    Worker {
        name: format!("{BRANCH}/workers/{id}"),
        display_name: format!("Worker {id}"),
        crew: crew.to_owned(),
        roles: roles.iter().map(|&role| role.into()).collect(),
        skills: skills.iter().map(|&skill| skill.to_owned()).collect(),
        phone: "555-0100".to_owned(),
        ..Default::default()
    }
}

/// The customers' places.
pub fn sites() -> Vec<Site> {
    vec![
        Site {
            quiet_until: Some(time(9, 30)),
            ..site(
                "school",
                place(41.2210, -92.8120),
                vec![turf("field", 4_000.0)],
            )
        },
        site(
            "alley",
            place(41.1920, -92.7800),
            vec![Area {
                narrowest_gate: Some(metres(0.7)),
                ..turf("back-lawn", 350.0)
            }],
        ),
        site(
            "bank",
            place(41.1850, -92.8150),
            vec![Area {
                slope_percent: 30.0,
                ..turf("bank", 500.0)
            }],
        ),
        Site {
            hazards: vec![Hazard {
                hazard_id: "pipe".to_owned(),
                description: "Standing pipe in the tall growth, left of the gate".to_owned(),
                location: Some(place(41.2301, -92.7901)),
                area_id: "lot".to_owned(),
            }],
            ..site(
                "lot",
                place(41.2300, -92.7900),
                vec![Area {
                    kind: AreaKind::Brush.into(),
                    ..turf("lot", 900.0)
                }],
            )
        },
        Site {
            contact: Some(Contact {
                display_name: "Customer at the corner".to_owned(),
                phone: "555-0123".to_owned(),
                email: String::new(),
            }),
            clippings: Clippings::CustomerHeap.into(),
            clippings_note: "heap behind the shed".to_owned(),
            ..site(
                "corner",
                place(41.2100, -92.7750),
                vec![turf("front", 700.0), hard_edge("walk", 40.0)],
            )
        },
        site(
            "court",
            place(41.2050, -92.8300),
            vec![turf("court", 600.0), hard_edge("kerb", 30.0)],
        ),
        site("spare", place(41.2010, -92.8010), vec![turf("lawn", 100.0)]),
    ]
}

fn site(id: &str, location: LatLng, areas: Vec<Area>) -> Site {
    Site {
        name: format!("{BRANCH}/sites/{id}"),
        display_name: format!("Site {id}"),
        customer: format!("Customer of {id}"),
        address: format!("1 {id} way, Larkmoor"),
        location: Some(location),
        areas,
        ..Default::default()
    }
}

fn turf(id: &str, square: f64) -> Area {
    Area {
        area_id: id.to_owned(),
        display_name: id.to_owned(),
        kind: AreaKind::Turf.into(),
        surface: Some(square_metres(square)),
        ..Default::default()
    }
}

fn hard_edge(id: &str, length_metres: f64) -> Area {
    Area {
        kind: AreaKind::HardEdge.into(),
        surface: None,
        length: Some(metres(length_metres)),
        ..turf(id, 0.0)
    }
}

/// The work wanted.
pub fn jobs() -> Vec<Job> {
    let mow = |area, minutes| task(TaskKind::Mow, area, &[Capability::Mower], minutes);
    let blow = |minutes| task(TaskKind::BlowOff, "", &[Capability::Blower], minutes);
    vec![
        job("school-mow", "school", vec![mow("field", 60.0), blow(15.0)]),
        job("alley-mow", "alley", vec![mow("back-lawn", 40.0)]),
        job("bank-mow", "bank", vec![mow("bank", 45.0)]),
        Job {
            skills: vec!["chainsaw".to_owned()],
            priority: 5,
            deadline: Some(moment(day(), 12, 0)),
            deadline_source: "county notice".to_owned(),
            ..job(
                "lot-brush",
                "lot",
                vec![
                    task(TaskKind::WalkBefore, "", &[], 10.0),
                    task(TaskKind::CutBrush, "lot", &[Capability::BladeHead], 90.0),
                ],
            )
        },
        Job {
            promise: Some(Promise {
                start_time: Some(moment(day(), 10, 0)),
                end_time: Some(moment(day(), 10, 30)),
                before_work: true,
                contact: None,
            }),
            ..job(
                "corner-edge",
                "corner",
                vec![
                    task(TaskKind::Edge, "walk", &[Capability::Edger], 30.0),
                    task(TaskKind::Trim, "front", &[Capability::LineHead], 20.0),
                    mow("front", 30.0),
                    blow(10.0),
                ],
            )
        },
        Job {
            windows: vec![on(day(), vec![times((13, 0), (15, 0))])],
            ..job(
                "court-mow",
                "court",
                vec![
                    mow("court", 35.0),
                    task(TaskKind::Collect, "court", &[Capability::Rake], 15.0),
                ],
            )
        },
        job(
            "court-sod",
            "court",
            vec![task(
                TaskKind::Edge,
                "kerb",
                &[Capability::FlatShovel],
                25.0,
            )],
        ),
        Job {
            windows: vec![on(date(2035, 4, 18), Vec::new())],
            ..job("later-mow", "court", vec![mow("court", 35.0)])
        },
    ]
}

/// A job for the whole of the day.
fn job(id: &str, site: &str, tasks: Vec<Task>) -> Job {
    Job {
        name: job_name(id),
        display_name: format!("Job {id}"),
        site: format!("{BRANCH}/sites/{site}"),
        tasks,
        windows: vec![on(day(), Vec::new())],
        priority: 3,
        ..Default::default()
    }
}
