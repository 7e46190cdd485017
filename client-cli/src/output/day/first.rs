//! What a dispatcher must see before anything else.

use chrono::{DateTime, TimeDelta, Utc};
use forenoon_proto::google::r#type as wire;
use forenoon_proto::v1::{
    CrewDay, Job, PlanState, Promise, Remedy, Severity, Stop, Symptom, TagOut, TagOutState, Visit,
    VisitState,
};

use super::super::clock::{date_of, date_time_hm, instant_of, minutes, stretch};
use super::super::{paint, text};
use super::progress::{Progress, of_stop};
use super::{Day, is_due, is_must, meeting_instant, promised_today};
use crate::names::id;
use crate::parse::word::phrase_of;
use crate::parse::{day::from_wire, instant};

/// Adds the section, or nothing on a quiet day.
pub(super) fn lines(day: &Day<'_>, width: usize, lines: &mut Vec<String>) {
    let mut found = Vec::new();
    missed(day, width, &mut found);
    tagged_aboard(day, width, &mut found);
    deadlines(day, width, &mut found);
    meetings(day, width, &mut found);
    tagged(day, width, &mut found);
    if found.is_empty() {
        return;
    }
    lines.push(String::new());
    lines.push(paint::strong("FIRST"));
    lines.extend(found);
}

/// Adds a wrapped remark, in a colour.
fn remark(
    lines: &mut Vec<String>,
    mark: &str,
    words: &str,
    width: usize,
    colour: fn(&str) -> String,
) {
    let first = format!("  {mark} ");
    lines.extend(
        text::hanging(&first, words, width)
            .iter()
            .map(|line| colour(line)),
    );
}

fn plainly(line: &str) -> String {
    line.to_owned()
}

/// Jobs that must not be missed and are not in the plan.
fn missed(day: &Day<'_>, width: usize, lines: &mut Vec<String>) {
    for unplanned in &day.plan.unplanned_jobs {
        if !is_must(day, &unplanned.job) {
            continue;
        }
        let reasons: Vec<&str> = unplanned
            .reasons
            .iter()
            .map(|reason| reason.text.as_str())
            .collect();
        let between = match unplanned.remedy() {
            Remedy::AnyOne => "; or: ",
            Remedy::AllTogether => "; and: ",
            Remedy::Unspecified => "; ",
        };
        let urgency = day
            .jobs
            .get(&unplanned.job)
            .map(|job| urgency(day, job))
            .unwrap_or_default();
        let words = format!(
            "NOT PLANNED: {}{urgency}: {}",
            unplanned.job_display_name,
            reasons.join(between)
        );
        remark(lines, "!!", &words, width, paint::alarm);
    }
}

/// Why a job must not be missed, in brackets.
fn urgency(day: &Day<'_>, job: &Job) -> String {
    let mut causes = Vec::new();
    if let Some(deadline) = job.deadline.as_ref().filter(|_| is_due(day, job)) {
        causes.push(format!("due {}{}", due_words(day, deadline), source(job)));
    }
    if promised_today(day, job) {
        causes.push("customer is promised a meeting".to_owned());
    }
    if causes.is_empty() {
        causes.push(format!("priority {}", job.priority));
    }
    format!(" ({})", causes.join(", "))
}

/// A deadline as one speaks of it on the day: the time alone, and with its day where that is another.
fn due_words(day: &Day<'_>, deadline: &wire::DateTime) -> String {
    let time = date_time_hm(deadline);
    let date = date_of(deadline);
    if day.plan.day == Some(date) {
        return time;
    }
    from_wire(&date).map_or_else(
        || time.clone(),
        |date| format!("{} {time}", date.format("%a %-d %b")),
    )
}

fn source(job: &Job) -> String {
    if job.deadline_source.is_empty() {
        String::new()
    } else {
        format!(" by {}", job.deadline_source)
    }
}

/// Units tagged out since the plan was made that it still counts on, where crews go by it or will.
fn tagged_aboard(day: &Day<'_>, width: usize, lines: &mut Vec<String>) {
    let Some(planned) = day.plan.day.as_ref().and_then(from_wire) else {
        return;
    };
    if day.plan.state() != PlanState::Published || planned < day.today {
        return;
    }
    for tag in day
        .tag_outs
        .iter()
        .filter(|tag| tag.severity() == Severity::Unsafe)
    {
        let Some(crew) = day
            .plan
            .crew_days
            .iter()
            .find(|crew| crew.load_out.contains(&tag.unit))
        else {
            continue;
        };
        let words = format!(
            "{} ({}) is tagged out and still in {}'s load-out; re-plan:",
            tag.unit_display_name,
            id(&tag.unit),
            crew.crew_display_name,
        );
        remark(lines, "!!", &words, width, paint::alarm);
        // On a line of its own, however long: it is there to be copied.
        let command = format!(
            "     forenoon replan {planned} --cause \"{}\"",
            id(&tag.name)
        );
        lines.push(paint::alarm(&command));
    }
}

/// Every stop with its crew and its job, in the order of crews.
fn stops<'a>(day: &Day<'a>) -> impl Iterator<Item = (&'a CrewDay, &'a Stop, &'a Job)> {
    let jobs = day.jobs;
    day.plan.crew_days.iter().flat_map(move |crew| {
        crew.stops
            .iter()
            .filter_map(move |stop| jobs.get(&stop.job).map(|job| (crew, stop, job)))
    })
}

/// Deadlines of the day: when the work ends, and how much that leaves.
fn deadlines(day: &Day<'_>, width: usize, lines: &mut Vec<String>) {
    for (crew, stop, job) in stops(day).filter(|(_, _, job)| is_due(day, job)) {
        let Some(deadline) = &job.deadline else {
            continue;
        };
        let due = instant_of(deadline, day.clock.zone);
        let finish = stop.finish_time.as_ref().and_then(instant::from_wire);
        let left = due.zip(finish).map(|(due, finish)| due - finish);
        let (margin, colour): (String, fn(&str) -> String) = match left {
            Some(left) if left < TimeDelta::zero() => {
                let late = stretch(minutes_begun(-left));
                (format!("{late} TOO LATE"), paint::alarm)
            }
            Some(left) => (format!("{} to spare", stretch(left.num_minutes())), plainly),
            None => ("cannot be compared".to_owned(), paint::heed),
        };
        let words = format!(
            "Due {}{}: {}, {} done by {}, {margin}",
            due_words(day, deadline),
            source(job),
            job.display_name,
            crew.crew_display_name,
            day.clock.hm(stop.finish_time.as_ref()),
        );
        remark(lines, " >", &words, width, colour);
    }
}

/// Minutes of a time that is over, the last as a whole: what is late by seconds is late by a minute, not by none.
fn minutes_begun(time: TimeDelta) -> i64 {
    let whole = time.num_minutes();
    whole + i64::from(TimeDelta::minutes(whole) < time)
}

/// Customers to meet, by what the crew told and the plan has for it against the promise.
fn meetings(day: &Day<'_>, width: usize, lines: &mut Vec<String>) {
    let mut meetings: Vec<_> = stops(day)
        .filter(|(_, _, job)| promised_today(day, job))
        .filter_map(|(crew, stop, job)| {
            let promise = job.promise.as_ref()?;
            Some((crew, stop, job, promise, meeting(day, crew, stop, promise)))
        })
        .collect();
    meetings.sort_by_key(|(.., meeting)| meeting.there);
    for (crew, stop, job, promise, Meeting { there, kept }) in meetings {
        let whom = promise
            .contact
            .as_ref()
            .map_or("", |contact| contact.display_name.as_str());
        let whom = if whom.is_empty() {
            "the customer".to_owned()
        } else {
            whom.to_owned()
        };
        let words = format!(
            "Meet {whom} {} at {}: {}, {} the work, there {}{}",
            window(promise),
            stop.site_display_name,
            crew.crew_display_name,
            if promise.before_work {
                "before"
            } else {
                "after"
            },
            there.map_or_else(|| "-".to_owned(), |there| day.clock.time(there)),
            if kept {
                String::new()
            } else {
                format!(", PROMISE BROKEN for {}", job.display_name)
            },
        );
        remark(
            lines,
            " >",
            &words,
            width,
            if kept { plainly } else { paint::alarm },
        );
    }
}

/// A meeting with a customer.
struct Meeting {
    /// When the crew is there for it.
    there: Option<DateTime<Utc>>,
    /// Whether that is within the promise.
    kept: bool,
}

/// What becomes of a promise. What crews told goes before the plan, which after a re-plan in the midst of the work tells
/// only of what is left of it; the plan counts where the meeting of the last attempt is still to come.
fn meeting(day: &Day<'_>, crew: &CrewDay, stop: &Stop, promise: &Promise) -> Meeting {
    let visits = || day.visits.iter().filter(|visit| visit.job == stop.job);
    let told = |visit| told(visit, promise.before_work);
    let mut times: Vec<_> = visits().flat_map(told).collect();
    times.sort_unstable();
    let is_told = visits()
        .max_by_key(|visit| visit.attempt)
        .is_some_and(|last| told(last).next().is_some());
    if !is_told || of_stop(day, &stop.job, &crew.crew) == Progress::Planned {
        times.extend(meeting_instant(stop, promise.before_work));
    }
    let within = times
        .iter()
        .copied()
        .find(|time| is_within(promise, *time, day));
    Meeting {
        there: within.or_else(|| times.last().copied()),
        kept: within.is_some(),
    }
}

/// When a crew told that it was there for the meeting: on coming and beginning, or once the work was done.
fn told(visit: &Visit, before_work: bool) -> impl Iterator<Item = DateTime<Utc>> {
    let times = if before_work {
        [visit.arrive_time.as_ref(), visit.start_time.as_ref()]
    } else {
        let done = visit.state() == VisitState::Done;
        [visit.finish_time.as_ref().filter(|_| done), None]
    };
    times.into_iter().flatten().filter_map(instant::from_wire)
}

fn window(promise: &Promise) -> String {
    let time = |time: &Option<_>| time.as_ref().map_or_else(|| "?".to_owned(), date_time_hm);
    format!("{}-{}", time(&promise.start_time), time(&promise.end_time))
}

/// Whether a time is within the promise. What cannot be compared counts as broken, so that it is seen.
fn is_within(promise: &Promise, there: DateTime<Utc>, day: &Day<'_>) -> bool {
    let instant = |time: &Option<_>| {
        time.as_ref()
            .and_then(|time| instant_of(time, day.clock.zone))
    };
    match (instant(&promise.start_time), instant(&promise.end_time)) {
        (Some(start), Some(end)) => start <= there && there <= end,
        _ => false,
    }
}

/// Units out of service or limited.
fn tagged(day: &Day<'_>, width: usize, lines: &mut Vec<String>) {
    for tag in day.tag_outs {
        remark(lines, " x", &tag_words(tag, day), width, paint::heed);
    }
}

fn tag_words(tag: &TagOut, day: &Day<'_>) -> String {
    let back = tag.expected_return_time.as_ref().map_or_else(
        || "return unknown".to_owned(),
        |time| format!("back {}", day.clock.near(Some(time), day.plan.day.as_ref())),
    );
    let since = tag.create_time.as_ref().map_or_else(String::new, |time| {
        format!(
            " since {}",
            day.clock.near(Some(time), day.plan.day.as_ref())
        )
    });
    let use_words = if tag.severity() == Severity::Reduced {
        "limited"
    } else {
        "tagged out"
    };
    format!(
        "{} {} ({}) {use_words}{since}: {}; {}, {back}",
        id(&tag.name),
        tag.unit_display_name,
        id(&tag.unit),
        symptom_words(tag),
        phrase_of::<TagOutState>(tag.state),
    )
}

fn symptom_words(tag: &TagOut) -> String {
    let symptom = phrase_of::<Symptom>(tag.symptom);
    if tag.description.is_empty() {
        symptom
    } else {
        format!("{symptom}, \"{}\"", tag.description)
    }
}

/// The slack of a stop in words, where it has any.
pub(super) fn slack_words(stop: &Stop) -> String {
    stop.slack.as_ref().map_or_else(String::new, |slack| {
        format!("slack {}", stretch(minutes(Some(slack))))
    })
}
