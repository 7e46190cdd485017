//! Crews as rows along the time of day, each with its stops below.

use forenoon_proto::v1::{CrewDay, Stop, YardCall};

use super::super::clock::{minutes, stretch};
use super::super::strip::{Span, Stretch, sign};
use super::super::{call, exposure, paint, text};
use super::first::slack_words;
use super::progress::{self, Progress};
use super::{Day, is_must, seconds, work_words};
use crate::names::id;

/// Columns for a crew's name before its strip.
const NAME_WIDTH: usize = 14;
/// Columns for a site's name in the list of stops, where there is room.
const SITE_WIDTH: usize = 28;
/// Columns for the kinds of work that a site's name leaves.
const WORK_WIDTH: usize = 10;

/// Adds the section.
pub(super) fn lines(day: &Day<'_>, width: usize, lines: &mut Vec<String>) {
    let span = span(day, width);
    lines.push(String::new());
    let ruler = span.map_or_else(String::new, |span| {
        span.ruler(day.clock).trim_end().to_owned()
    });
    lines.push(paint::strong(&format!(
        "{}{ruler}",
        text::fit("CREWS", NAME_WIDTH)
    )));
    for crew in &day.plan.crew_days {
        if let Some(span) = span.filter(|_| !crew.stops.is_empty()) {
            lines.push(row(crew, day, &span));
        }
    }
    let resting: Vec<&str> = day
        .plan
        .crew_days
        .iter()
        .filter(|crew| crew.stops.is_empty())
        .map(|crew| crew.crew_display_name.as_str())
        .collect();
    if !resting.is_empty() {
        lines.extend(text::hanging("  No stops: ", &resting.join(", "), width));
    }
    lines.push(paint::faint(
        "  signs: the stop's own for work, - on the road, . waiting",
    ));
    for crew in day
        .plan
        .crew_days
        .iter()
        .filter(|crew| !crew.stops.is_empty())
    {
        stops(crew, day, width, lines);
    }
}

/// The span of the day, in the columns that names and returns leave.
fn span(day: &Day<'_>, width: usize) -> Option<Span> {
    let first = day
        .plan
        .crew_days
        .iter()
        .filter_map(|crew| seconds(crew.depart_time.as_ref()))
        .min()?;
    let last = day
        .plan
        .crew_days
        .iter()
        .filter_map(|crew| seconds(crew.return_time.as_ref()))
        .max()?;
    let back = day.plan.crew_days.iter().map(|crew| {
        let words = format!("{}{}", back_words(crew, day), over_words(crew));
        textwrap::core::display_width(&words)
    });
    let room = width.saturating_sub(NAME_WIDTH + back.max().unwrap_or_default());
    Some(Span::new(first, last, day.clock, room))
}

fn back_words(crew: &CrewDay, day: &Day<'_>) -> String {
    format!("  back {}", day.clock.hm(crew.return_time.as_ref()))
}

/// The overtime of a crew in words, where it has any.
fn over_words(crew: &CrewDay) -> String {
    let over = minutes(crew.overtime.as_ref());
    if over > 0 {
        format!(", over by {}", stretch(over))
    } else {
        String::new()
    }
}

fn row(crew: &CrewDay, day: &Day<'_>, span: &Span) -> String {
    let stretches: Vec<Stretch> = crew
        .stops
        .iter()
        .filter_map(|stop| {
            Some(Stretch {
                arrive: seconds(stop.arrive_time.as_ref())?,
                start: seconds(stop.start_time.as_ref())?,
                finish: seconds(stop.finish_time.as_ref())?,
            })
        })
        .collect();
    let strip = span.strip(
        seconds(crew.depart_time.as_ref()).unwrap_or_default(),
        seconds(crew.return_time.as_ref()).unwrap_or_default(),
        &stretches,
    );
    let over = over_words(crew);
    format!(
        "{}{strip}{}{}",
        text::fit(
            &text::cut(&crew.crew_display_name, NAME_WIDTH - 1),
            NAME_WIDTH
        ),
        back_words(crew, day),
        if over.is_empty() {
            over
        } else {
            paint::heed(&over)
        },
    )
}

fn stops(crew: &CrewDay, day: &Day<'_>, width: usize, lines: &mut Vec<String>) {
    lines.push(String::new());
    let first = |unit: &&String| call::is_loaded_first(&crew.yard_calls, unit);
    let load = text::count(crew.load_out.iter().filter(first).count(), "unit");
    let leaves = format!(
        "  leaves {}, {}, {load} aboard",
        day.clock.hm(crew.depart_time.as_ref()),
        text::count(crew.stops.len(), "stop"),
    );
    let name = text::cut(&crew.crew_display_name, width.saturating_sub(leaves.len()));
    lines.push(format!("{}{leaves}", paint::strong(&name)));
    let mut between = between(crew, day, width).into_iter().peekable();
    for (index, stop) in crew.stops.iter().enumerate() {
        let arrives = seconds(stop.arrive_time.as_ref());
        while let Some((_, before)) = between.next_if(|(at, _)| *at < arrives) {
            lines.extend(before);
        }
        let done = progress::of_stop(day, &stop.job, &crew.crew);
        lines.push(stop_line(index, stop, done, day, width));
    }
    lines.extend(between.flat_map(|(_, after)| after));
    let name = |unit: &str| id(unit).to_owned();
    for shared in &crew.shared_units {
        let words = call::shared_words(shared, day.clock, &name);
        lines.extend(text::hanging("   shared: ", &words, width));
    }
    if let Some(told) = &crew.exposure {
        lines.extend(exposure::words("  ", told, width));
    }
}

/// What a crew does beside its stops, with when it begins, in order: calls to change units, and breaks.
fn between(crew: &CrewDay, day: &Day<'_>, width: usize) -> Vec<(Option<i64>, Vec<String>)> {
    let calls = crew.yard_calls.iter().map(|call| {
        let at = seconds(call.arrive_time.as_ref());
        (at, call_lines(call, day, width))
    });
    let breaks = crew.breaks.iter().map(|pause| {
        let words = format!("   {}", call::break_words(pause, day.clock));
        (seconds(pause.start_time.as_ref()), vec![words])
    });
    let mut all: Vec<_> = calls.chain(breaks).collect();
    all.sort_by_key(|(at, _)| *at);
    all
}

fn call_lines(call: &YardCall, day: &Day<'_>, width: usize) -> Vec<String> {
    let first = format!(
        "   {}-{} ",
        day.clock.hm(call::begins(call)),
        day.clock.hm(call.leave_time.as_ref()),
    );
    let name = |unit: &str| id(unit).to_owned();
    text::hanging(&first, &call::words(call, &name), width)
}

fn stop_line(index: usize, stop: &Stop, done: Progress, day: &Day<'_>, width: usize) -> String {
    let must = if is_must(day, &stop.job) { "!" } else { " " };
    let head = format!(
        "{must}{} {}-{} {}",
        sign(index),
        day.clock.hm(stop.start_time.as_ref()),
        day.clock.hm(stop.finish_time.as_ref()),
        done.mark(),
    );
    let tail = format!(
        "  drive {:>3}  {:>13}",
        minutes(stop.drive.as_ref()),
        slack_words(stop)
    );
    // A blank stands between the site and the work.
    let room = width.saturating_sub(textwrap::core::display_width(&head) + 1 + tail.len());
    let site = room.saturating_sub(WORK_WIDTH).min(SITE_WIDTH);
    format!(
        "{head}{} {}{tail}",
        text::fit(&stop.site_display_name, site),
        text::fit(&work_words(stop), room - site),
    )
}
