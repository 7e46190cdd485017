//! A branch with as many crews and jobs as a measurement asks for.
//!
//! Of each four crews three mow and one cuts brush and edges besides. Every crew has a truck; narrow and wide walk mowers,
//! ride-on mowers, blowers, and powerheads with edger, line and blade heads are the branch's, six or seven units for each
//! crew. Lawns lie over a town of 12 by 12 kilometres; one in five has a gate that only narrow mowers pass, one in eight
//! jobs is brush, and one in ten has a promise.

use forenoon_proto::google::r#type::Date;
use forenoon_proto::v1::{
    Area, AreaKind, AreaShape, Capability, Clippings, Crew, ImportRecord, Job, Obstacles, Promise,
    Role, Site, TaskKind, Unit, UnitKind, Worker,
};

use crate::make::{
    crew_record, inches, job_record, litres, metres, minutes, moment, on, place, shift,
    site_record, square_metres, task, unit, unit_record, worker_record,
};
use crate::small_branch::BRANCH;

/// Lawns on one side of the town.
const SIDE: usize = 32;
/// Between two neighbouring lawns, degrees of latitude: about 375 m.
const STEP: f64 = 0.003_4;

/// The records of crews, their units and people, and of jobs on a day with their sites. The branch itself is
/// [`small_branch::branch`](crate::small_branch::branch).
pub fn records(crews: usize, jobs: usize, day: Date) -> Vec<ImportRecord> {
    let mut records = Vec::new();
    for crew in 0..crews {
        crew_records(crew, &mut records);
    }
    for number in 0..jobs {
        job_records(number, day, &mut records);
    }
    records
}

fn crew_records(crew: usize, records: &mut Vec<ImportRecord>) {
    let mut add =
        |id: String, kind, capability: Capability, space: f64, edit: &dyn Fn(&mut Unit)| {
            let mut unit = Unit {
                capabilities: vec![capability.into()],
                max_slope_percent: 25.0,
                ..unit(BRANCH, &id, kind, space)
            };
            edit(&mut unit);
            records.push(unit_record(unit));
        };
    let truck = format!("truck-{crew}");
    add(
        truck.clone(),
        UnitKind::Vehicle,
        Capability::Carrier,
        0.0,
        &|unit| {
            unit.carries = Some(litres(5_000.0));
        },
    );
    let width = |value: f64| move |unit: &mut Unit| unit.cutting_width = Some(inches(value));
    let mower = Capability::Mower;
    add(
        format!("narrow-{crew}"),
        UnitKind::WalkMower,
        mower,
        500.0,
        &width(30.0),
    );
    add(
        format!("wide-{crew}"),
        UnitKind::WalkMower,
        mower,
        900.0,
        &width(48.0),
    );
    add(
        format!("blower-{crew}"),
        UnitKind::Blower,
        Capability::Blower,
        100.0,
        &|_| (),
    );
    if crew.is_multiple_of(2) {
        add(
            format!("ride-{crew}"),
            UnitKind::RideOnMower,
            mower,
            2_000.0,
            &width(60.0),
        );
    }
    let coupled = |unit: &mut Unit| "square-26".clone_into(&mut unit.coupling);
    add(
        format!("edger-{crew}"),
        UnitKind::Attachment,
        Capability::Edger,
        60.0,
        &coupled,
    );
    if crew % 4 == 3 {
        add(
            format!("line-{crew}"),
            UnitKind::Attachment,
            Capability::LineHead,
            60.0,
            &coupled,
        );
        add(
            format!("blade-{crew}"),
            UnitKind::Attachment,
            Capability::BladeHead,
            60.0,
            &coupled,
        );
    }
    add(
        format!("power-{crew}"),
        UnitKind::Powerhead,
        mower,
        120.0,
        &|unit| {
            unit.capabilities.clear();
            coupled(unit);
        },
    );
    people_records(crew, &truck, records);
}

fn people_records(crew: usize, truck: &str, records: &mut Vec<ImportRecord>) {
    records.push(crew_record(Crew {
        name: format!("{BRANCH}/crews/crew-{crew}"),
        display_name: format!("Crew {crew}"),
        shifts: (1..=5).map(|day| shift(day, (7, 0), (15, 30))).collect(),
        vehicle: format!("{BRANCH}/units/{truck}"),
        overtime_allowed: Some(minutes(90)),
        ..Default::default()
    }));
    for (person, role) in [("lead", Role::CrewLead), ("hand", Role::Crew)] {
        records.push(worker_record(Worker {
            name: format!("{BRANCH}/workers/{person}-{crew}"),
            display_name: format!("{person} {crew}"),
            crew: format!("{BRANCH}/crews/crew-{crew}"),
            roles: vec![role.into()],
            ..Default::default()
        }));
    }
}

fn job_records(number: usize, day: Date, records: &mut Vec<ImportRecord>) {
    // A stride without a common divisor with the number of lawns spreads the jobs over the town.
    let lawn = number * 397 % (SIDE * SIDE);
    let north = STEP * (lawn / SIDE) as f64;
    let east = STEP * 1.33 * (lawn % SIDE) as f64;
    let brush = number % 8 == 7;
    let gate = (number % 5 == 2).then(|| metres(0.9));
    let turf = Area {
        area_id: "lawn".to_owned(),
        display_name: "lawn".to_owned(),
        kind: AreaKind::Turf.into(),
        surface: Some(square_metres(600.0 + 40.0 * (number * 7 % 23) as f64)),
        narrowest_gate: gate,
        obstacles: Obstacles::Few.into(),
        shape: AreaShape::Ordinary.into(),
        ..Default::default()
    };
    let drive = Area {
        area_id: "drive".to_owned(),
        display_name: "drive".to_owned(),
        kind: AreaKind::HardEdge.into(),
        length: Some(metres(40.0)),
        ..Default::default()
    };
    records.push(site_record(Site {
        name: format!("{BRANCH}/sites/site-{number}"),
        display_name: format!("Site {number}"),
        customer: format!("Customer {number}"),
        location: Some(place(41.18 + north, -92.86 + east)),
        areas: vec![turf, drive],
        clippings: Clippings::MayLie.into(),
        ..Default::default()
    }));
    let length = 14.0 + (number * 11 % 17) as f64;
    let mut tasks = vec![task(TaskKind::Edge, "drive", &[Capability::Edger], 6.0)];
    tasks.push(if brush {
        task(TaskKind::CutBrush, "lawn", &[Capability::BladeHead], length)
    } else {
        task(TaskKind::Mow, "lawn", &[Capability::Mower], 0.0)
    });
    tasks.push(task(TaskKind::BlowOff, "lawn", &[Capability::Blower], 5.0));
    let hour = 10 + i32::try_from(number % 4).unwrap_or(0);
    records.push(job_record(Job {
        name: format!("{BRANCH}/jobs/job-{number}"),
        display_name: format!("Job {number}"),
        site: format!("{BRANCH}/sites/site-{number}"),
        tasks,
        windows: vec![on(day, vec![])],
        priority: 2 + i32::try_from(number % 3).unwrap_or(0),
        promise: (number % 10 == 4).then(|| Promise {
            start_time: Some(moment(day, hour, 0)),
            end_time: Some(moment(day, hour + 1, 0)),
            ..Default::default()
        }),
        ..Default::default()
    }));
}
