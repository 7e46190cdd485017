//! A yard to work with: three crews with trucks, machines enough to lose some, lawns around, and people.

use chrono::{DateTime, NaiveDate, Utc, Weekday};
use forenoon_store::entity::{branch, crew, job, site, unit, worker};
use forenoon_store::sea_orm::{ActiveModelTrait, DatabaseTransaction, IntoActiveModel, Set};
use forenoon_store::value::{
    Absences, Area, AreaKind, AreaShape, Areas, Capabilities, Capability, Clippings, DayTimes,
    ExposureRule, Hazards, JobState, Obstacles, PriceRule, Role, Roles, Shift, Shifts,
    SiteCondition, Task, TaskKind, Tasks, TravelRule, UnitKind, UnitSystem, VisitWindow,
    VisitWindows, Words,
};
use forenoon_store::{Database, StoreError, Write};

pub(crate) const BRANCH: &str = "branches/larkmoor";
pub(crate) const ID: &str = "larkmoor";
/// Crews of the yard.
pub(crate) const CREWS: [&str; 3] = ["ash", "birch", "cedar"];
/// Mowers of the yard, alike but for their names: each crew can take any.
pub(crate) const MOWERS: [&str; 7] = ["m-1", "m-2", "m-3", "m-4", "m-5", "m-6", "m-7"];

/// The first day of work: a Tuesday.
pub(crate) fn first_day() -> NaiveDate {
    NaiveDate::from_ymd_opt(2027, 4, 20).expect("a date")
}

pub(crate) fn name(collection: &str, id: &str) -> String {
    format!("{BRANCH}/{collection}/{id}")
}

/// Writes the yard. `days` each have a job of their own, `today-N`, that must be done first thing.
pub(crate) async fn furnish(database: &Database, days: &[NaiveDate]) {
    database
        .write(ID, &Furnish(days.to_vec()))
        .await
        .expect("the yard is written");
}

/// Gives each crew a trailer, `trailer-CREW`.
pub(crate) async fn add_trailers(database: &Database) {
    let written = database.write(ID, &Trailers).await;
    written.expect("the trailers are written");
}

struct Trailers;

impl Write for Trailers {
    type Output = ();
    type Error = StoreError;

    async fn run(&self, transaction: &DatabaseTransaction) -> Result<(), StoreError> {
        for id in CREWS {
            let trailer = format!("trailer-{id}");
            let unit = unit::Model {
                kind: UnitKind::Trailer,
                ..vehicle(&trailer)
            };
            unit.into_active_model().insert(transaction).await?;
            let mut crew = crew_row(id).into_active_model();
            crew.trailer_id = Set(Some(trailer));
            crew.update(transaction).await?;
        }
        Ok(())
    }
}

struct Furnish(Vec<NaiveDate>);

impl Write for Furnish {
    type Output = ();
    type Error = StoreError;

    async fn run(&self, transaction: &DatabaseTransaction) -> Result<(), StoreError> {
        macro_rules! put {
            ($row:expr) => {
                $row.into_active_model().insert(transaction).await?
            };
        }
        put!(branch());
        for crew in CREWS {
            put!(vehicle(&format!("truck-{crew}")));
            put!(crew_row(crew));
            put!(worker(&format!("lead-{crew}"), Some(crew), Role::CrewLead));
            put!(worker(&format!("hand-{crew}"), Some(crew), Role::Crew));
        }
        put!(worker("moss", None, Role::Mechanic));
        put!(worker("fern", None, Role::Mechanic));
        for mower in MOWERS {
            put!(machine(mower, UnitKind::WalkMower, Capability::Mower));
        }
        for blower in ["b-1", "b-2", "b-3", "b-4"] {
            put!(machine(blower, UnitKind::Blower, Capability::Blower));
        }
        for number in 0..9 {
            put!(lawn(number));
        }
        let season = (
            NaiveDate::from_ymd_opt(2027, 1, 1).expect("a date"),
            NaiveDate::from_ymd_opt(2027, 12, 31).expect("a date"),
        );
        for number in 0..9 {
            put!(job(&format!("weekly-{number}"), number, season, 3));
        }
        for (number, day) in self.0.iter().enumerate() {
            put!(job(&format!("today-{number}"), number % 9, (*day, *day), 5));
        }
        Ok(())
    }
}

fn at() -> DateTime<Utc> {
    DateTime::UNIX_EPOCH
}

fn branch() -> branch::Model {
    branch::Model {
        id: ID.into(),
        display_name: "Larkmoor Grounds".into(),
        time_zone: "America/Chicago".into(),
        currency_code: "USD".into(),
        unit_system: UnitSystem::UsCustomary,
        yard_latitude: 41.2,
        yard_longitude: -92.8,
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
        create_time: at(),
        update_time: at(),
    }
}

/// Works every day from 07:00 to 15:30.
fn crew_row(id: &str) -> crew::Model {
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
        branch_id: ID.into(),
        id: id.into(),
        display_name: id.into(),
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
        vehicle_id: Some(format!("truck-{id}")),
        trailer_id: None,
        overtime_allowed_seconds: 3_600,
        base_latitude: None,
        base_longitude: None,
        break_seconds: 1_800,
        revision: 1,
        create_time: at(),
        update_time: at(),
    }
}

fn worker(id: &str, crew: Option<&str>, role: Role) -> worker::Model {
    worker::Model {
        branch_id: ID.into(),
        id: id.into(),
        display_name: id.into(),
        crew_id: crew.map(str::to_owned),
        roles: Roles(vec![role]),
        skills: Words::default(),
        phone: "555-0100".into(),
        cost_per_hour_minor: None,
        revision: 1,
        create_time: at(),
        update_time: at(),
    }
}

fn machine(id: &str, kind: UnitKind, capability: Capability) -> unit::Model {
    unit::Model {
        branch_id: ID.into(),
        id: id.into(),
        display_name: id.into(),
        serial_number: format!("LG-{id}"),
        model: String::new(),
        kind,
        capabilities: Capabilities(vec![capability]),
        coupling: None,
        cutting_width_millimetres: (kind == UnitKind::WalkMower).then_some(762.0),
        machine_width_millimetres: None,
        max_slope_percent: 25.0,
        load_space_litres: 200.0,
        carries_litres: 0.0,
        bag_litres: 0.0,
        purchase_price_minor: None,
        run_hours: 100.0,
        service_interval_hours: 50.0,
        noise_dba: 0.0,
        vibration_metres_per_second_squared: 0.0,
        absences: Absences::default(),
        retired: false,
        revision: 1,
        create_time: at(),
        update_time: at(),
    }
}

fn vehicle(id: &str) -> unit::Model {
    unit::Model {
        carries_litres: 4_000.0,
        service_interval_hours: 0.0,
        noise_dba: 0.0,
        vibration_metres_per_second_squared: 0.0,
        ..machine(id, UnitKind::Vehicle, Capability::Carrier)
    }
}

fn lawn(number: usize) -> site::Model {
    let (row, column) = (number / 3, number % 3);
    site::Model {
        branch_id: ID.into(),
        id: format!("lawn-{number}"),
        display_name: format!("Lawn {number}"),
        customer: String::new(),
        contact: None,
        address: String::new(),
        latitude: 41.18 + 0.02 * row as f64,
        longitude: -92.82 + 0.02 * column as f64,
        areas: Areas(vec![Area {
            area_id: "lawn".into(),
            display_name: "lawn".into(),
            kind: AreaKind::Turf,
            surface_square_metres: Some(2_500.0),
            length_metres: None,
            slope_percent: 3.0,
            narrowest_gate_millimetres: None,
            obstacles: Obstacles::Few,
            shape: AreaShape::Ordinary,
        }]),
        hazards: Hazards::default(),
        clippings: Clippings::MayLie,
        clippings_note: String::new(),
        quiet_until_second_of_day: None,
        sensitive: false,
        access_note: String::new(),
        revision: 1,
        create_time: at(),
        update_time: at(),
    }
}

fn job(
    id: &str,
    lawn: usize,
    (first_day, last_day): (NaiveDate, NaiveDate),
    priority: i32,
) -> job::Model {
    let task = |task_id: &str, kind, capability| Task {
        task_id: task_id.into(),
        kind,
        area_id: Some("lawn".into()),
        capabilities: vec![capability],
        passes: 1,
        agreed_minutes: None,
        composed: false,
    };
    job::Model {
        branch_id: ID.into(),
        id: id.into(),
        display_name: id.into(),
        site_id: format!("lawn-{lawn}"),
        tasks: Tasks(vec![
            task("mow", TaskKind::Mow, Capability::Mower),
            task("blow", TaskKind::BlowOff, Capability::Blower),
        ]),
        area_ids: Words::default(),
        condition: SiteCondition::default(),
        windows: VisitWindows(vec![VisitWindow {
            first_day,
            last_day,
            times: Vec::new(),
        }]),
        first_day,
        last_day,
        priority,
        deadline: None,
        deadline_source: String::new(),
        promise: None,
        skills: Words::default(),
        price_minor: None,
        note: String::new(),
        state: JobState::Open,
        cancel_reason: String::new(),
        revision: 1,
        create_time: at(),
        update_time: at(),
    }
}
