//! Jobs with their visit windows and tasks.

use forenoon_proto::v1::{
    Capability, DayTimeWindow, Job, Promise, SiteCondition, Task, TaskKind, TurfDensity,
    VisitWindow,
};

use super::super::Context;
use super::super::row::{Reader, some, text};
use super::{reference, somebody, texts, word, words};
use crate::names::Collection;
use crate::parse::{clock, day, flag, list, measure, money, number, whole};

/// Fills a job.
pub fn job(row: &mut Reader<'_>, context: &Context, job: &mut Job) {
    row.put("display_name", &mut job.display_name, text);
    row.put(
        "site",
        &mut job.site,
        reference(&context.branch, Collection::Sites),
    );
    row.put_as("window", "windows", &mut job.windows, windows);
    row.put("priority", &mut job.priority, whole);
    row.put("deadline", &mut job.deadline, some(clock::date_time));
    row.put("deadline_source", &mut job.deadline_source, text);
    promise(row, &mut job.promise);
    row.put("skills", &mut job.skills, texts);
    let price = |text: &str| money::money(text, &context.currency);
    row.put("price", &mut job.price, some(price));
    row.put("note", &mut job.note, text);
    row.put("area_ids", &mut job.area_ids, texts);
    condition(row, &mut job.condition);
}

/// Fills the promise where any of its cells says something, or where there is one already.
/// A cell that is named and empty clears, also where nothing is left to clear.
fn promise(row: &mut Reader<'_>, slot: &mut Option<Promise>) {
    const CONTACT: [&str; 2] = ["promise_contact_name", "promise_contact_phone"];
    const COLUMNS: [&str; 3] = ["promise_start", "promise_end", "promise_before_work"];
    if !row.names_any(&COLUMNS) && !row.names_any(&CONTACT) {
        return;
    }
    let says_something = row.has_any(&COLUMNS) || row.has_any(&CONTACT);
    let mut promise = slot.take().unwrap_or_default();
    row.put_as(
        "promise_start",
        "promise.start_time",
        &mut promise.start_time,
        some(clock::date_time),
    );
    row.put_as(
        "promise_end",
        "promise.end_time",
        &mut promise.end_time,
        some(clock::date_time),
    );
    row.put_as(
        "promise_before_work",
        "promise.before_work",
        &mut promise.before_work,
        flag,
    );
    if row.names_any(&CONTACT) {
        let mut contact = promise.contact.take().unwrap_or_default();
        row.put_as(
            CONTACT[0],
            "promise.contact.display_name",
            &mut contact.display_name,
            text,
        );
        row.put_as(
            CONTACT[1],
            "promise.contact.phone",
            &mut contact.phone,
            text,
        );
        promise.contact = somebody(contact);
    }
    let gone = promise.start_time.is_none() && promise.end_time.is_none() && !says_something;
    *slot = (!gone).then_some(promise);
}

/// Fills the state of the site where any of its cells says something, or where there is one already.
fn condition(row: &mut Reader<'_>, slot: &mut Option<SiteCondition>) {
    const COLUMNS: [&str; 8] = [
        "turf_height",
        "set_height",
        "turf_density",
        "wet",
        "edge_overgrowth",
        "stem_thickness",
        "heavy_debris",
        "first_service",
    ];
    if !row.names_any(&COLUMNS) {
        return;
    }
    let is_told = row.has_any(&COLUMNS) || slot.is_some();
    let mut state = slot.take().unwrap_or_default();
    let inside = |column: &str| format!("condition.{column}");
    row.put_as(
        COLUMNS[0],
        &inside(COLUMNS[0]),
        &mut state.turf_height,
        some(measure::length),
    );
    row.put_as(
        COLUMNS[1],
        &inside(COLUMNS[1]),
        &mut state.set_height,
        some(measure::length),
    );
    row.put_as(
        COLUMNS[2],
        &inside(COLUMNS[2]),
        &mut state.turf_density,
        word::<TurfDensity>,
    );
    row.put_as(COLUMNS[3], &inside(COLUMNS[3]), &mut state.wet, flag);
    row.put_as(
        COLUMNS[4],
        &inside(COLUMNS[4]),
        &mut state.edge_overgrowth,
        some(measure::length),
    );
    row.put_as(
        COLUMNS[5],
        &inside(COLUMNS[5]),
        &mut state.stem_thickness,
        some(measure::length),
    );
    row.put_as(
        COLUMNS[6],
        &inside(COLUMNS[6]),
        &mut state.heavy_debris,
        flag,
    );
    row.put_as(
        COLUMNS[7],
        &inside(COLUMNS[7]),
        &mut state.first_service,
        flag,
    );
    *slot = is_told.then_some(state);
}

/// Fills a visit window. Without a last day it is the first.
pub fn window(row: &mut Reader<'_>, window: &mut VisitWindow) {
    row.put("first_day", &mut window.first_day, some(day::date));
    row.put("last_day", &mut window.last_day, some(day::date));
    if window.last_day.is_none() {
        window.last_day = window.first_day;
    }
    row.put("times", &mut window.times, times);
}

fn times(text: &str) -> Result<Vec<DayTimeWindow>, String> {
    list(text)
        .iter()
        .map(|part| clock::day_time_window(part))
        .collect()
}

/// Fills a task.
pub fn task(row: &mut Reader<'_>, task: &mut Task) {
    row.put("task_id", &mut task.task_id, text);
    row.put("kind", &mut task.kind, word::<TaskKind>);
    row.put("area_id", &mut task.area_id, text);
    row.put("capabilities", &mut task.capabilities, words::<Capability>);
    row.put("passes", &mut task.passes, whole);
    row.put("agreed_minutes", &mut task.agreed_minutes, number);
}

/// Reads windows in short: `2027-04-20`, `2027-04-20..2027-04-24 08:00-12:00,13:00-17:00`, several set off by `;`.
fn windows(text: &str) -> Result<Vec<VisitWindow>, String> {
    text.split(';')
        .map(str::trim)
        .filter(|part| !part.is_empty())
        .map(|part| {
            let (days, hours) = part.split_once(' ').unwrap_or((part, ""));
            let (first, last) = days.split_once("..").unwrap_or((days, days));
            Ok(VisitWindow {
                first_day: Some(day::date(first)?),
                last_day: Some(day::date(last)?),
                times: times(hours)?,
            })
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use forenoon_proto::v1::Contact;

    use super::super::super::fault::Place;
    use super::super::super::origin::Origins;
    use super::super::super::row::{Cell, Row};
    use super::*;

    fn filled(cells: &[(&'static str, &str)], job: &mut Job) -> Vec<String> {
        let cell = |text: &str| Cell {
            text: text.to_owned(),
            line: 1,
            number: 1,
        };
        let row = Row {
            file: "command line".into(),
            line: 1,
            cells: cells
                .iter()
                .map(|(name, text)| (*name, cell(text)))
                .collect(),
        };
        let context = Context {
            branch: "branches/north".into(),
            currency: "USD".into(),
            zone: chrono_tz::America::Chicago,
        };
        let mut origins = Origins::new(Place::line(&row.file, 1));
        let mut faults = Vec::new();
        let mut reader = Reader::new(&row, String::new(), &mut origins, &mut faults);
        super::job(&mut reader, &context, job);
        assert!(faults.is_empty(), "{faults:?}");
        origins.top_fields()
    }

    #[test]
    fn an_empty_cell_clears_whom_to_meet_and_is_told_as_a_change() {
        let contact = |name: &str, phone: &str| Contact {
            display_name: name.into(),
            phone: phone.into(),
            ..Contact::default()
        };
        let mut job = Job {
            promise: Some(Promise {
                start_time: clock::date_time("2027-04-20 07:30").ok(),
                end_time: clock::date_time("2027-04-20 08:15").ok(),
                contact: Some(contact("Mrs Finch", "555-0100")),
                ..Promise::default()
            }),
            ..Job::default()
        };
        let told = |job: &Job| job.promise.clone().and_then(|promise| promise.contact);
        assert_eq!(
            filled(&[("promise_contact_phone", "")], &mut job),
            ["promise"]
        );
        assert_eq!(told(&job), Some(contact("Mrs Finch", "")));
        assert_eq!(
            filled(&[("promise_contact_name", "")], &mut job),
            ["promise"]
        );
        assert_eq!(told(&job), None);
        assert!(job.promise.is_some(), "the meeting itself stays");
        let mut bare = Job::default();
        for (cell, field) in [
            ("promise_contact_name", "promise"),
            ("turf_height", "condition"),
        ] {
            assert_eq!(filled(&[(cell, "")], &mut bare), [field]);
        }
        assert_eq!(bare, Job::default());
    }

    #[test]
    fn windows_in_short() {
        let read = windows("2027-04-20; 2027-04-22..2027-04-24 08:00-12:00,13:00-17:00").unwrap();
        assert_eq!(read.len(), 2);
        assert_eq!(read[0].first_day, read[0].last_day);
        assert!(read[0].times.is_empty());
        assert_eq!(read[1].last_day.unwrap().day, 24);
        assert_eq!(read[1].times.len(), 2);
        assert!(windows("soon").is_err());
        assert!(
            windows("2027-04-20 12:00-08:00")
                .unwrap_err()
                .contains("ends before")
        );
    }
}
