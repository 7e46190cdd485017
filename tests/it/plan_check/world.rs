//! What a plan is judged by: the records as they were sent, and the branch's clock.

use std::collections::{BTreeMap, BTreeSet};

use chrono::{DateTime, Datelike, Duration, NaiveDate, NaiveDateTime, NaiveTime, TimeZone, Utc};
use chrono_tz::Tz;
use forenoon_proto::google::r#type as google_type;
use forenoon_proto::v1::{
    Branch, Crew, ImportRecord, Job, Length, Site, Unit, Volume, Worker, import_record, length,
    volume,
};
use prost_types::Timestamp;

/// The records by resource name.
pub(super) struct World {
    pub(super) branch: Branch,
    pub(super) crews: BTreeMap<String, Crew>,
    pub(super) units: BTreeMap<String, Unit>,
    pub(super) sites: BTreeMap<String, Site>,
    pub(super) jobs: BTreeMap<String, Job>,
    workers: Vec<Worker>,
    /// Units with an open tag-out that forbids them.
    pub(super) tagged_out: BTreeSet<String>,
    zone: Tz,
}

impl World {
    pub(super) fn new(branch: Branch, records: Vec<ImportRecord>) -> Self {
        let mut world = Self {
            zone: branch.time_zone.parse().expect("an IANA zone"),
            branch,
            crews: BTreeMap::new(),
            units: BTreeMap::new(),
            sites: BTreeMap::new(),
            jobs: BTreeMap::new(),
            workers: Vec::new(),
            tagged_out: BTreeSet::new(),
        };
        for record in records {
            match record.record.expect("a record") {
                import_record::Record::Unit(unit) => {
                    world.units.insert(unit.name.clone(), unit);
                }
                import_record::Record::Crew(crew) => {
                    world.crews.insert(crew.name.clone(), crew);
                }
                import_record::Record::Worker(worker) => world.workers.push(worker),
                import_record::Record::Site(site) => {
                    world.sites.insert(site.name.clone(), site);
                }
                import_record::Record::Job(job) => {
                    world.jobs.insert(job.name.clone(), job);
                }
            }
        }
        world
    }

    /// The skills that a crew's workers have between them.
    pub(super) fn skills(&self, crew: &str) -> BTreeSet<&str> {
        self.workers
            .iter()
            .filter(|worker| worker.crew == crew)
            .flat_map(|worker| worker.skills.iter().map(String::as_str))
            .collect()
    }

    /// Where a crew starts and ends.
    pub(super) fn base<'world>(&'world self, crew: &'world Crew) -> &'world google_type::LatLng {
        crew.base
            .as_ref()
            .or(self.branch.yard.as_ref())
            .expect("a yard")
    }

    /// A crew's working time on a day: its start and end, in seconds since 1970; none where it is off.
    pub(super) fn shift(&self, crew: &Crew, day: &google_type::Date) -> Option<(i64, i64)> {
        let weekday = i32::try_from(naive_date(day).weekday().number_from_monday()).ok()?;
        let of_day = crew.shifts.iter().filter(|shift| shift.day == weekday);
        let start = of_day
            .clone()
            .filter_map(|shift| shift.start_time.as_ref())
            .map(|time| self.instant(day, time))
            .min()?;
        let end = of_day
            .filter_map(|shift| shift.end_time.as_ref())
            .map(|time| self.instant(day, time))
            .max()?;
        Some((start, end))
    }

    /// The stretches of a day in which a visit of a job may be made.
    pub(super) fn windows(&self, job: &Job, day: &google_type::Date) -> Vec<(i64, i64)> {
        let date = naive_date(day);
        let whole = (time_of_day(0), time_of_day(24));
        job.windows
            .iter()
            .filter(|window| {
                let first = window.first_day.as_ref().map(naive_date);
                let last = window.last_day.as_ref().map(naive_date);
                first.is_some_and(|first| first <= date) && last.is_some_and(|last| date <= last)
            })
            .flat_map(|window| {
                if window.times.is_empty() {
                    return vec![whole];
                }
                window
                    .times
                    .iter()
                    .map(|times| {
                        (
                            times.start_time.unwrap_or(whole.0),
                            times.end_time.unwrap_or(whole.1),
                        )
                    })
                    .collect()
            })
            .map(|(start, end)| (self.instant(day, &start), self.instant(day, &end)))
            .collect()
    }

    /// A time of a day on the branch's clock, in seconds since 1970.
    pub(super) fn instant(&self, day: &google_type::Date, time: &google_type::TimeOfDay) -> i64 {
        let midnight = naive_date(day).and_time(NaiveTime::MIN);
        let since = Duration::hours(time.hours.into())
            + Duration::minutes(time.minutes.into())
            + Duration::seconds(time.seconds.into());
        self.local(midnight + since)
    }

    /// A moment on the branch's clock, in seconds since 1970.
    pub(super) fn moment(&self, moment: &google_type::DateTime) -> i64 {
        let day = google_type::Date {
            year: moment.year,
            month: moment.month,
            day: moment.day,
        };
        let time = google_type::TimeOfDay {
            hours: moment.hours,
            minutes: moment.minutes,
            seconds: moment.seconds,
            nanos: 0,
        };
        self.instant(&day, &time)
    }

    fn local(&self, local: NaiveDateTime) -> i64 {
        self.zone
            .from_local_datetime(&local)
            .earliest()
            .expect("a day on which clocks do not jump")
            .timestamp()
    }

    /// An instant as the branch's clock shows it.
    pub(super) fn shown(&self, instant: i64) -> String {
        DateTime::<Utc>::from_timestamp(instant, 0)
            .expect("an instant")
            .with_timezone(&self.zone)
            .format("%H:%M:%S")
            .to_string()
    }
}

fn time_of_day(hours: i32) -> google_type::TimeOfDay {
    google_type::TimeOfDay {
        hours,
        ..Default::default()
    }
}

fn naive_date(date: &google_type::Date) -> NaiveDate {
    let month = u32::try_from(date.month).expect("a month");
    let day = u32::try_from(date.day).expect("a day");
    NaiveDate::from_ymd_opt(date.year, month, day).expect("a date")
}

/// Seconds since 1970; none where absent.
pub(super) fn seconds(instant: Option<&Timestamp>) -> Option<i64> {
    instant.map(|instant| instant.seconds)
}

/// A length of time in seconds; 0 where absent.
pub(super) fn length_seconds(duration: Option<&prost_types::Duration>) -> i64 {
    duration.map_or(0, |duration| duration.seconds)
}

/// A length in metres, by the definitions of the international inch and foot (NIST Handbook 44, appendix C).
pub(super) fn in_metres(length: &Length) -> f64 {
    match length.value {
        Some(length::Value::Metres(value)) => value,
        Some(length::Value::Millimetres(value)) => value / 1_000.0,
        Some(length::Value::Feet(value)) => value * 0.3048,
        Some(length::Value::Inches(value)) => value * 0.0254,
        None => panic!("a length without a value"),
    }
}

/// A volume in litres; 0 where absent. A cubic foot is 28.316847 litres (NIST Handbook 44, appendix C).
pub(super) fn in_litres(volume: Option<&Volume>) -> f64 {
    match volume.and_then(|volume| volume.value) {
        Some(volume::Value::Litres(value)) => value,
        Some(volume::Value::CubicFeet(value)) => value * 28.316_846_592,
        None => 0.0,
    }
}
