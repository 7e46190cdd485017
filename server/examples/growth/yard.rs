//! A branch of fifty crews with the jobs of a day and of the next.

use chrono::{DateTime, NaiveDate, TimeDelta, Utc, Weekday};
use forenoon_store::entity::{branch, crew, job, site, unit, worker};
use forenoon_store::sea_orm::{DatabaseTransaction, EntityTrait, IntoActiveModel};
use forenoon_store::value::{
    Absences, Area, AreaKind, AreaShape, Areas, Capabilities, Capability, Clippings, DayTimes,
    ExposureRule, Hazards, JobState, Obstacles, PriceRule, Role, Roles, Shift, Shifts,
    SiteCondition, Task, TaskKind, Tasks, TravelRule, UnitKind, UnitSystem, VisitWindow,
    VisitWindows, Words,
};
use forenoon_store::{Database, StoreError, Write};

pub(crate) const ID: &str = "larkmoor";
pub(crate) const CREWS: usize = 50;
/// Jobs of a day: eight for each crew.
pub(crate) const JOBS: usize = 400;

/// The day that is worked: a Friday.
pub(crate) fn day() -> NaiveDate {
    NaiveDate::from_ymd_opt(2032, 4, 23).expect("a date")
}

/// The day that is planned: the Saturday after it.
pub(crate) fn next_day() -> NaiveDate {
    day() + TimeDelta::days(1)
}

pub(crate) async fn furnish(database: &Database) {
    database.write(ID, &Furnish).await.expect("written");
}

struct Furnish;

impl Write for Furnish {
    type Output = ();
    type Error = StoreError;

    async fn run(&self, transaction: &DatabaseTransaction) -> Result<(), StoreError> {
        macro_rules! put {
            ($module:ident: $rows:expr) => {
                let rows: Vec<$module::Model> = $rows.collect();
                for some in rows.chunks(200) {
                    let some = some.iter().cloned().map(IntoActiveModel::into_active_model);
                    $module::Entity::insert_many(some)
                        .exec_without_returning(transaction)
                        .await?;
                }
            };
        }
        put!(branch: std::iter::once(branch_row()));
        put!(unit: (0..CREWS).map(|n| vehicle(&format!("truck-{n}"))));
        put!(unit: (0..CREWS).map(|n| machine(&format!("mower-{n}"), UnitKind::WalkMower, Capability::Mower)));
        put!(unit: (0..CREWS).map(|n| machine(&format!("blower-{n}"), UnitKind::Blower, Capability::Blower)));
        put!(unit: (0..20).map(|n| machine(&format!("spare-{n}"), UnitKind::WalkMower, Capability::Mower)));
        put!(crew: (0..CREWS).map(crew_row));
        put!(worker: (0..CREWS).map(|n| worker_row(&format!("lead-{n}"), Some(n), Role::CrewLead)));
        put!(worker: (0..CREWS).map(|n| worker_row(&format!("hand-{n}"), Some(n), Role::Crew)));
        put!(worker: std::iter::once(worker_row("moss", None, Role::Mechanic)));
        put!(site: (0..JOBS).map(lawn));
        put!(job: (0..JOBS).map(|n| job_row(&format!("t-{n:03}"), n, day())));
        put!(job: (0..JOBS).map(|n| job_row(&format!("next-{n:03}"), n, next_day())));
        Ok(())
    }
}

fn at() -> DateTime<Utc> {
    DateTime::UNIX_EPOCH
}

fn branch_row() -> branch::Model {
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

fn crew_row(number: usize) -> crew::Model {
    let week = [
        Weekday::Mon,
        Weekday::Tue,
        Weekday::Wed,
        Weekday::Thu,
        Weekday::Fri,
        Weekday::Sat,
    ];
    let times = DayTimes {
        start_second_of_day: 7 * 3_600,
        end_second_of_day: 17 * 3_600,
    };
    crew::Model {
        branch_id: ID.into(),
        id: format!("crew-{number}"),
        display_name: format!("Crew {number}"),
        shifts: Shifts(week.map(|day| Shift { day, times }).to_vec()),
        vehicle_id: Some(format!("truck-{number}")),
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

fn worker_row(id: &str, crew: Option<usize>, role: Role) -> worker::Model {
    worker::Model {
        branch_id: ID.into(),
        id: id.into(),
        display_name: id.into(),
        crew_id: crew.map(|number| format!("crew-{number}")),
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
        purchase_price_minor: Some(540_000),
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
        ..machine(id, UnitKind::Vehicle, Capability::Carrier)
    }
}

fn lawn(number: usize) -> site::Model {
    let (row, column) = (number / 20, number % 20);
    site::Model {
        branch_id: ID.into(),
        id: format!("lawn-{number:03}"),
        display_name: format!("Lawn {number}"),
        customer: String::new(),
        contact: None,
        address: String::new(),
        latitude: 41.15 + 0.005 * row as f64,
        longitude: -92.85 + 0.005 * column as f64,
        areas: Areas(vec![Area {
            area_id: "lawn".into(),
            display_name: "lawn".into(),
            kind: AreaKind::Turf,
            surface_square_metres: Some(1_200.0),
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

fn job_row(id: &str, lawn: usize, day: NaiveDate) -> job::Model {
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
        site_id: format!("lawn-{lawn:03}"),
        tasks: Tasks(vec![
            task("mow", TaskKind::Mow, Capability::Mower),
            task("blow", TaskKind::BlowOff, Capability::Blower),
        ]),
        area_ids: Words::default(),
        condition: SiteCondition::default(),
        windows: VisitWindows(vec![VisitWindow {
            first_day: day,
            last_day: day,
            times: Vec::new(),
        }]),
        first_day: day,
        last_day: day,
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
        create_time: at(),
        update_time: at(),
    }
}
