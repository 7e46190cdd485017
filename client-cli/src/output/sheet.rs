//! A crew's sheet: what its lead needs on one page at half past six.

use forenoon_proto::v1::{Contact, CrewSheet, Plan, SheetStop, SheetUnit, Stop, YardCall};

use super::clock::{Clock, day_words, minutes, stretch, time_of_day};
use super::measure::volume;
use super::{call, exposure, paint, text};
use crate::names::id;

/// Columns of a sheet on paper; wider lines tire the eye.
const WIDTH_MAX: usize = 96;
/// Where the text of a stop begins.
const INDENT: &str = "      ";

/// One crew's sheet.
pub fn sheet(sheet: &CrewSheet, plan: &Plan, clock: Clock, width: usize) -> String {
    let width = width.min(WIDTH_MAX);
    let mut lines = Vec::new();
    header(sheet, plan, clock, width, &mut lines);
    load_out(sheet, width, &mut lines);
    for call in calls(sheet) {
        yard_call(sheet, call, clock, width, &mut lines);
    }
    for pause in sheet.crew_day.iter().flat_map(|day| &day.breaks) {
        lines.push(format!("  {}", call::break_words(pause, clock)));
    }
    let shared = sheet.crew_day.iter().flat_map(|day| &day.shared_units);
    for unit in shared {
        let words = call::shared_words(unit, clock, &|unit| unit_name(sheet, unit));
        let text = text::hanging("  Shared: ", &words, width);
        lines.extend(text.iter().map(|line| paint::heed(line)));
    }
    let stops = sheet.crew_day.as_ref().map_or(&[][..], |day| &day.stops);
    for (index, words) in sheet.stops.iter().enumerate() {
        let stop = stops.iter().find(|stop| stop.job == words.job);
        lines.push(String::new());
        stop_lines(index + 1, words, stop, clock, width, &mut lines);
        let first = format!("{INDENT}Care       ");
        lines.extend(said(&first, &care_here(sheet, words), width));
    }
    if let Some(advice) = &plan.heat {
        lines.push(String::new());
        lines.extend(exposure::heat("HEAT  ", advice, width));
    }
    if let Some(told) = sheet
        .crew_day
        .as_ref()
        .and_then(|day| day.exposure.as_ref())
    {
        lines.push(String::new());
        lines.extend(exposure::words("NOISE, VIBRATION  ", told, width));
        let caution = text::hanging("      ", &told.caution, width);
        lines.extend(caution.iter().map(|line| paint::faint(line)));
    }
    care(sheet, width, &mut lines);
    lines.join("\n") + "\n"
}

/// A text hanging from a label; nothing for an empty text.
fn said(first: &str, body: &str, width: usize) -> Vec<String> {
    if body.trim().is_empty() {
        Vec::new()
    } else {
        text::hanging(first, body, width)
    }
}

fn rule(width: usize) -> String {
    paint::faint(&"─".repeat(width))
}

fn header(sheet: &CrewSheet, plan: &Plan, clock: Clock, width: usize, lines: &mut Vec<String>) {
    let crew = sheet
        .crew_day
        .as_ref()
        .map_or("", |day| day.crew_display_name.as_str());
    let title = text::ends(&crew.to_uppercase(), &day_words(plan.day.as_ref()), width);
    lines.push(paint::strong(&title));
    let people = sheet.worker_display_names.join(", ");
    lines.push(text::ends(
        &people,
        &format!("plan {}", id(&sheet.plan)),
        width,
    ));
    if let Some(day) = &sheet.crew_day {
        let mut times = format!(
            "Leave {}, back {}, {}",
            clock.hm(day.depart_time.as_ref()),
            clock.hm(day.return_time.as_ref()),
            text::count(day.stops.len(), "stop"),
        );
        let over = minutes(day.overtime.as_ref());
        if over > 0 {
            text::add(
                &mut times,
                format_args!(", {} over the shift", stretch(over)),
            );
        }
        lines.push(times);
    }
    lines.push(rule(width));
}

fn load_out(sheet: &CrewSheet, width: usize, lines: &mut Vec<String>) {
    let space = sheet
        .crew_day
        .as_ref()
        .filter(|day| day.load_space.is_some())
        .map_or_else(String::new, |day| {
            format!(
                "{} of {} taken",
                volume(day.load_taken.as_ref()),
                volume(day.load_space.as_ref())
            )
        });
    lines.push(paint::strong(&text::ends("LOAD", &space, width)));
    let first = || {
        let units = sheet.units.iter();
        units.filter(|unit| call::is_loaded_first(calls(sheet), &unit.unit))
    };
    if first().next().is_none() {
        lines.push("  nothing".to_owned());
    }
    // Two units a line keep a long load-out on the page.
    let half = width / 2;
    let (short, long): (Vec<_>, Vec<_>) =
        first().partition(|unit| unit.limit.is_empty() && unit_words(unit).chars().count() < half);
    for pair in short.chunks(2) {
        let cells: Vec<String> = pair
            .iter()
            .map(|unit| text::fit(&unit_words(unit), half))
            .collect();
        lines.push(cells.concat().trim_end().to_owned());
    }
    for unit in long {
        lines.extend(text::hanging(
            "  [ ] ",
            unit_words(unit).trim_start_matches("  [ ] "),
            width,
        ));
        if !unit.limit.is_empty() {
            let limit = text::hanging(&format!("{INDENT}LIMITED: "), &unit.limit, width);
            lines.extend(limit.iter().map(|line| paint::alarm(line)));
        }
    }
}

/// The crew's calls on the way to change units.
fn calls(sheet: &CrewSheet) -> &[YardCall] {
    let day = sheet.crew_day.as_ref();
    day.map_or(&[], |day| &day.yard_calls)
}

/// A call on the way, at the yard or with another crew.
fn yard_call(
    sheet: &CrewSheet,
    call: &YardCall,
    clock: Clock,
    width: usize,
    lines: &mut Vec<String>,
) {
    let first = format!("  {} ", clock.hm(call::begins(call)));
    let words = call::words(call, &|unit| unit_name(sheet, unit));
    let text = text::hanging(&first, &words, width);
    lines.extend(text.iter().map(|line| paint::heed(line)));
}

fn unit_name(sheet: &CrewSheet, unit: &str) -> String {
    let known = sheet.units.iter().find(|known| known.unit == unit);
    known.map_or_else(|| id(unit).to_owned(), |known| known.display_name.clone())
}

fn unit_words(unit: &SheetUnit) -> String {
    format!("  [ ] {}  no. {}", unit.display_name, unit.serial_number)
}

fn stop_lines(
    number: usize,
    words: &SheetStop,
    stop: Option<&Stop>,
    clock: Clock,
    width: usize,
    lines: &mut Vec<String>,
) {
    let times = stop.map_or_else(String::new, |stop| times(stop, clock));
    let place = stop.map_or("", |stop| stop.site_display_name.as_str());
    let drive = stop.map_or_else(String::new, |stop| {
        format!("drive {} min", minutes(stop.drive.as_ref()))
    });
    let title = text::ends(&format!("{number:>2}  {times}  {place}"), &drive, width);
    lines.push(paint::strong(&title));
    let mut add = |label: &str, body: &str, colour: fn(&str) -> String| {
        let first = format!("{INDENT}{label}");
        lines.extend(said(&first, body, width).iter().map(|line| colour(line)));
    };
    let what_and_where = [words.job_display_name.as_str(), words.address.as_str()];
    let known: Vec<&str> = what_and_where
        .into_iter()
        .filter(|part| !part.is_empty())
        .collect();
    add("", &known.join(" · "), str::to_owned);
    for hazard in &words.hazards {
        let area = if hazard.area_id.is_empty() {
            String::new()
        } else {
            format!(" ({})", hazard.area_id)
        };
        add(
            "!! HAZARD  ",
            &format!("{}{area}", hazard.description),
            paint::alarm,
        );
    }
    add("MEET       ", &words.meeting, paint::heed);
    add("DEADLINE   ", &words.deadline, paint::heed);
    if let Some(quiet) = &words.quiet_until {
        add(
            "QUIET      ",
            &format!("no engine before {}", time_of_day(quiet)),
            paint::heed,
        );
    }
    add("Way in     ", &words.access_note, str::to_owned);
    let call = contact_words(words.contact.as_ref());
    let phone = words
        .contact
        .as_ref()
        .map_or("", |contact| contact.phone.as_str());
    // Whom to meet stands above already, with the number.
    if phone.is_empty() || !words.meeting.contains(phone) {
        add("Call       ", &call, str::to_owned);
    }
    let work: Vec<String> = words
        .work_lines
        .iter()
        .enumerate()
        .map(|(index, line)| format!("{}) {}", index + 1, line.trim_end_matches('.')))
        .collect();
    add("Work       ", &work.join("  "), str::to_owned);
    add("Clippings  ", &words.clippings, str::to_owned);
    add("Note       ", &words.note, str::to_owned);
}

/// The times of a stop, with the arrival where the crew then waits.
fn times(stop: &Stop, clock: Clock) -> String {
    let (start, finish) = (
        clock.hm(stop.start_time.as_ref()),
        clock.hm(stop.finish_time.as_ref()),
    );
    let arrive = clock.hm(stop.arrive_time.as_ref());
    if arrive == start || arrive == "-" {
        format!("{start}-{finish}")
    } else {
        format!("{start}-{finish} (there {arrive}, wait)")
    }
}

/// Whom to call and how.
pub fn contact_words(contact: Option<&Contact>) -> String {
    contact.map_or_else(String::new, |contact| {
        [&contact.display_name, &contact.phone]
            .into_iter()
            .filter(|part| !part.is_empty())
            .map(String::as_str)
            .collect::<Vec<_>>()
            .join(", ")
    })
}

/// A caution at so many stops stands once at the foot, with their numbers; at fewer, at the stops themselves.
const SHARED_STOPS: usize = 3;

/// The stops, counted from 1, at which a caution stands that is not one for the whole day.
fn stops_with(sheet: &CrewSheet, caution: &str) -> Vec<usize> {
    if sheet.cautions.iter().any(|known| known == caution) {
        return Vec::new();
    }
    let stops = sheet.stops.iter().enumerate();
    stops
        .filter(|(_, stop)| stop.cautions.iter().any(|known| known == caution))
        .map(|(index, _)| index + 1)
        .collect()
}

/// The cautions that are told at a stop itself.
fn care_here(sheet: &CrewSheet, words: &SheetStop) -> String {
    let here: Vec<&str> = words
        .cautions
        .iter()
        .filter(|caution| (1..SHARED_STOPS).contains(&stops_with(sheet, caution).len()))
        .map(|caution| caution.trim_end_matches('.'))
        .collect();
    here.join(". ")
}

/// The cautions for the whole day, then those of several stops, once each.
fn care(sheet: &CrewSheet, width: usize, lines: &mut Vec<String>) {
    let mut told: Vec<String> = sheet
        .cautions
        .iter()
        .map(|caution| caution.trim_end_matches('.').to_owned())
        .collect();
    for caution in sheet.stops.iter().flat_map(|stop| &stop.cautions) {
        let stops = stops_with(sheet, caution);
        if stops.len() < SHARED_STOPS {
            continue;
        }
        let numbers: Vec<String> = stops.iter().map(ToString::to_string).collect();
        let line = format!(
            "{} (stops {})",
            caution.trim_end_matches('.'),
            numbers.join(", ")
        );
        if !told.contains(&line) {
            told.push(line);
        }
    }
    if told.is_empty() {
        return;
    }
    lines.push(rule(width));
    lines.push(paint::strong("CARE"));
    for line in told {
        lines.extend(text::hanging("  - ", &line, width));
    }
}

/// The sheets as rows: one for each stop.
pub fn grid(sheets: &[CrewSheet], clock: Clock) -> super::grid::Grid {
    let mut grid = super::grid::Grid::new(&[
        "crew",
        "stop",
        "job",
        "start",
        "finish",
        "address",
        "work",
        "hazards",
        "meeting",
        "deadline",
        "quiet until",
        "clippings",
        "access",
        "note",
        "load-out",
    ]);
    for sheet in sheets {
        let crew = sheet.crew_day.as_ref().map_or("", |day| id(&day.crew));
        let stops = sheet.crew_day.as_ref().map_or(&[][..], |day| &day.stops);
        let load: Vec<&str> = sheet.units.iter().map(|unit| id(&unit.unit)).collect();
        for (index, words) in sheet.stops.iter().enumerate() {
            let stop = stops.iter().find(|stop| stop.job == words.job);
            let hazards: Vec<&str> = words
                .hazards
                .iter()
                .map(|hazard| hazard.description.as_str())
                .collect();
            grid.row([
                crew.to_owned(),
                (index + 1).to_string(),
                id(&words.job).to_owned(),
                clock.plain(stop.and_then(|stop| stop.start_time.as_ref())),
                clock.plain(stop.and_then(|stop| stop.finish_time.as_ref())),
                words.address.clone(),
                words.work_lines.join("; "),
                hazards.join("; "),
                words.meeting.clone(),
                words.deadline.clone(),
                words
                    .quiet_until
                    .as_ref()
                    .map(time_of_day)
                    .unwrap_or_default(),
                words.clippings.clone(),
                words.access_note.clone(),
                words.note.clone(),
                load.join(";"),
            ]);
        }
    }
    grid
}

#[cfg(test)]
mod tests;
