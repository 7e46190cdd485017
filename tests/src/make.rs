//! Short ways to write contract messages.

use forenoon_proto::google::r#type::{Date, DateTime, LatLng, Money, TimeOfDay};
use forenoon_proto::v1::{
    Area, AreaKind, AreaShape, Capability, Clippings, Crew, DayTimeWindow, ImportRecord, Job,
    Length, Obstacles, Shift, Site, Surface, Task, TaskKind, Unit, UnitKind, VisitWindow, Volume,
    Worker, import_record, length, surface, volume,
};
use prost_types::{Duration, Timestamp};

/// A date.
pub fn date(year: i32, month: i32, day: i32) -> Date {
    Date { year, month, day }
}

/// A time of day.
pub fn time(hours: i32, minutes: i32) -> TimeOfDay {
    TimeOfDay {
        hours,
        minutes,
        ..Default::default()
    }
}

/// A moment on the branch's wall clock.
pub fn moment(day: Date, hours: i32, minutes: i32) -> DateTime {
    DateTime {
        year: day.year,
        month: day.month,
        day: day.day,
        hours,
        minutes,
        ..Default::default()
    }
}

/// A place, in degrees.
pub fn place(latitude: f64, longitude: f64) -> LatLng {
    LatLng {
        latitude,
        longitude,
    }
}

/// US dollars.
pub fn dollars(units: i64) -> Money {
    Money {
        currency_code: "USD".to_owned(),
        units,
        nanos: 0,
    }
}

/// Metres.
pub fn metres(value: f64) -> Length {
    Length {
        value: Some(length::Value::Metres(value)),
    }
}

/// Inches.
pub fn inches(value: f64) -> Length {
    Length {
        value: Some(length::Value::Inches(value)),
    }
}

/// Square metres.
pub fn square_metres(value: f64) -> Surface {
    Surface {
        value: Some(surface::Value::SquareMetres(value)),
    }
}

/// Litres.
pub fn litres(value: f64) -> Volume {
    Volume {
        value: Some(volume::Value::Litres(value)),
    }
}

/// A length of time.
pub fn minutes(value: i64) -> Duration {
    Duration {
        seconds: value * 60,
        nanos: 0,
    }
}

/// An instant, in seconds since 1970.
pub fn instant(seconds: i64) -> Timestamp {
    Timestamp { seconds, nanos: 0 }
}

/// A stretch of the day from one hour and minute to another.
pub fn times(from: (i32, i32), to: (i32, i32)) -> DayTimeWindow {
    DayTimeWindow {
        start_time: Some(time(from.0, from.1)),
        end_time: Some(time(to.0, to.1)),
    }
}

/// Working time on a day of the week, 1 being Monday.
pub fn shift(day: i32, from: (i32, i32), to: (i32, i32)) -> Shift {
    Shift {
        day,
        start_time: Some(time(from.0, from.1)),
        end_time: Some(time(to.0, to.1)),
    }
}

/// One day, the whole of it or some stretches.
pub fn on(day: Date, times: Vec<DayTimeWindow>) -> VisitWindow {
    VisitWindow {
        first_day: Some(day),
        last_day: Some(day),
        times,
    }
}

/// A task of agreed length, in minutes; its id is its kind's.
pub fn task(kind: TaskKind, area: &str, capabilities: &[Capability], minutes: f64) -> Task {
    Task {
        task_id: kind
            .as_str_name()
            .trim_start_matches("TASK_KIND_")
            .to_lowercase()
            .replace('_', "-"),
        kind: kind.into(),
        area_id: area.to_owned(),
        capabilities: capabilities.iter().map(|&one| one.into()).collect(),
        passes: 1,
        agreed_minutes: minutes,
    }
}

/// A unit with what every unit has; its serial number follows from its id.
pub fn unit(branch: &str, id: &str, kind: UnitKind, load_litres: f64) -> Unit {
    Unit {
        name: format!("{branch}/units/{id}"),
        display_name: format!("Unit {id}"),
        serial_number: format!("LG-{id}"),
        kind: kind.into(),
        load_space: Some(litres(load_litres)),
        ..Default::default()
    }
}

/// A unit as a record.
pub fn unit_record(unit: Unit) -> ImportRecord {
    record(import_record::Record::Unit(unit))
}

/// A crew as a record.
pub fn crew_record(crew: Crew) -> ImportRecord {
    record(import_record::Record::Crew(crew))
}

/// A worker as a record.
pub fn worker_record(worker: Worker) -> ImportRecord {
    record(import_record::Record::Worker(worker))
}

/// A site as a record.
pub fn site_record(site: Site) -> ImportRecord {
    record(import_record::Record::Site(site))
}

/// A job as a record.
pub fn job_record(job: Job) -> ImportRecord {
    record(import_record::Record::Job(job))
}

/// A site that is one lawn, and the job to mow it on the day: `site-N` and `job-N`.
pub fn lawn_to_mow(branch: &str, number: usize, location: LatLng, day: Date) -> [ImportRecord; 2] {
    let site = Site {
        name: format!("{branch}/sites/site-{number}"),
        display_name: format!("Site {number}"),
        customer: format!("Customer {number}"),
        location: Some(location),
        areas: vec![Area {
            area_id: "lawn".to_owned(),
            display_name: "lawn".to_owned(),
            kind: AreaKind::Turf.into(),
            surface: Some(square_metres(500.0)),
            obstacles: Obstacles::Few.into(),
            shape: AreaShape::Ordinary.into(),
            ..Default::default()
        }],
        clippings: Clippings::MayLie.into(),
        ..Default::default()
    };
    let job = Job {
        name: format!("{branch}/jobs/job-{number}"),
        display_name: format!("Job {number}"),
        site: site.name.clone(),
        tasks: vec![task(TaskKind::Mow, "lawn", &[Capability::Mower], 20.0)],
        windows: vec![on(day, vec![])],
        priority: 3,
        ..Default::default()
    };
    [site_record(site), job_record(job)]
}

fn record(record: import_record::Record) -> ImportRecord {
    ImportRecord {
        record: Some(record),
    }
}
