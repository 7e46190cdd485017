//! The dispatcher's page of a day, the most urgent facts first.

mod crews;
mod first;
mod progress;

use std::collections::BTreeMap;

use chrono::{DateTime, NaiveDate, Utc};
use forenoon_proto::v1::{
    Job, JobState, Plan, PlanState, Remedy, Stop, TagOut, TaskKind, UnplannedJob, Visit,
};

use super::clock::{Clock, day_words, minutes, stretch};
use super::grid::Grid;
use super::{exposure, paint, text};
use crate::names::{id, ids};
use crate::parse::day::from_wire;
use crate::parse::word::{phrase_of, word_of};

/// Plans are usually made for the median.
const MEDIAN_PERCENT: i32 = 50;

/// Jobs of this priority must not be missed.
const MUST_PRIORITY: i32 = 5;

/// What the page is made from.
#[derive(Clone, Copy, Debug)]
pub struct Day<'a> {
    /// The plan.
    pub plan: &'a Plan,
    /// The day's jobs by resource name; those not known are shown by what the plan says.
    pub jobs: &'a BTreeMap<String, Job>,
    /// Open tag-outs.
    pub tag_outs: &'a [TagOut],
    /// Reports from the crews.
    pub visits: &'a [Visit],
    /// The branch's clock.
    pub clock: Clock,
    /// The branch's local date now.
    pub today: NaiveDate,
}

/// The page.
pub fn page(day: &Day<'_>, width: usize) -> String {
    let mut lines = Vec::new();
    header(day, width, &mut lines);
    first::lines(day, width, &mut lines);
    crews::lines(day, width, &mut lines);
    unplanned(day, width, &mut lines);
    lines.push(String::new());
    if let Some(told) = day
        .plan
        .crew_days
        .iter()
        .find_map(|crew| crew.exposure.as_ref())
    {
        let caution = text::hanging("Noise and vibration: ", &told.caution, width);
        lines.extend(caution.iter().map(|line| paint::faint(line)));
        lines.push(String::new());
    }
    lines.push(next_step(day.plan));
    lines.join("\n") + "\n"
}

fn header(day: &Day<'_>, width: usize, lines: &mut Vec<String>) {
    let plan = day.plan;
    let state = phrase_of::<PlanState>(plan.state);
    let standing = match plan.publish_time.as_ref() {
        Some(time) => format!(
            "revision {}, {state} {}",
            plan.revision,
            day.clock.near(Some(time), plan.day.as_ref())
        ),
        None => format!(
            "revision {}, {state}, made {}",
            plan.revision,
            day.clock.near(plan.create_time.as_ref(), plan.day.as_ref())
        ),
    };
    lines.push(paint::strong(&text::ends(
        &day_words(plan.day.as_ref()),
        &standing,
        width,
    )));
    if let Some(totals) = &plan.totals {
        let out = plan
            .crew_days
            .iter()
            .filter(|crew| !crew.stops.is_empty())
            .count();
        let jobs = totals.planned_jobs + totals.unplanned_jobs;
        let mut line = format!(
            "{} of {jobs} jobs planned, {} out; work {}, drive {}",
            totals.planned_jobs,
            text::count(out, "crew"),
            stretch(minutes(totals.work.as_ref())),
            stretch(minutes(totals.travel.as_ref())),
        );
        for (length, what) in [(&totals.waiting, "waiting"), (&totals.overtime, "overtime")] {
            if minutes(length.as_ref()) > 0 {
                text::add(
                    &mut line,
                    format_args!(", {what} {}", stretch(minutes(length.as_ref()))),
                );
            }
        }
        lines.extend(text::hanging("", &line, width));
    }
    if plan.confidence_percent > MEDIAN_PERCENT {
        lines.push(format!(
            "planned so that {} in 100 tasks keep within their time",
            plan.confidence_percent
        ));
    }
    if let Some(advice) = &plan.heat {
        lines.extend(exposure::heat("", advice, width));
    }
    if !day.visits.is_empty() {
        lines.push(progress::words(day));
    }
}

/// Jobs that did not fit, each with its reasons.
fn unplanned(day: &Day<'_>, width: usize, lines: &mut Vec<String>) {
    if day.plan.unplanned_jobs.is_empty() {
        return;
    }
    lines.push(String::new());
    lines.push(paint::strong("NOT PLANNED"));
    for job in &day.plan.unplanned_jobs {
        let title = format!("{} ({})", job.job_display_name, id(&job.job));
        let urgency = day
            .jobs
            .get(&job.job)
            .map_or_else(String::new, |job| format!("priority {}", job.priority));
        // Two blanks at least stand before the urgency.
        let room = width.saturating_sub(urgency.len() + 2);
        let mut title = text::hanging("  ", &title, room);
        if let Some(first) = title.first_mut() {
            *first = text::ends(first, &urgency, width);
        }
        let must = is_must(day, &job.job);
        lines.extend(
            title
                .into_iter()
                .map(|line| if must { paint::alarm(&line) } else { line }),
        );
        if let Some(words) = remedy(job) {
            lines.extend(text::hanging("    ", words, width));
        }
        for reason in &job.reasons {
            lines.extend(text::hanging("    - ", &reason.text, width));
        }
    }
}

/// How several reasons go together.
fn remedy(job: &UnplannedJob) -> Option<&'static str> {
    let several = job.reasons.len() > 1;
    match job.remedy() {
        Remedy::AnyOne if several => Some("fits once any one of these is out of the way:"),
        Remedy::AllTogether if several => Some("fits only once all of these are out of the way:"),
        Remedy::Unspecified | Remedy::AnyOne | Remedy::AllTogether => None,
    }
}

fn next_step(plan: &Plan) -> String {
    let short = id(&plan.name);
    match plan.state() {
        PlanState::Draft => {
            format!(
                "A draft: `forenoon publish {short}` makes it the day's plan,\n`forenoon discard {short}` drops it."
            )
        }
        PlanState::Published => {
            format!("`forenoon sheets --plan {short}` prints the crews' sheets.")
        }
        PlanState::Replaced => {
            "Replaced by a later revision: `forenoon plans` lists them.".to_owned()
        }
        PlanState::Discarded | PlanState::Unspecified => "Not in force.".to_owned(),
    }
}

/// Whether a job must not be missed that day: by its priority, a deadline within the day or before it, or a promise.
fn is_must(day: &Day<'_>, job: &str) -> bool {
    day.jobs.get(job).is_some_and(|job| {
        job.priority >= MUST_PRIORITY || is_due(day, job) || promised_today(day, job)
    })
}

/// Whether a job's deadline is within the day, or before it and the job not done yet.
fn is_due(day: &Day<'_>, job: &Job) -> bool {
    let deadline = job.deadline.as_ref().map(super::clock::date_of);
    let planned = day.plan.day.as_ref().and_then(from_wire);
    let Some((deadline, planned)) = deadline.as_ref().and_then(from_wire).zip(planned) else {
        return false;
    };
    let is_over = matches!(job.state(), JobState::Done | JobState::Cancelled);
    deadline == planned || (deadline < planned && !is_over)
}

fn promised_today(day: &Day<'_>, job: &Job) -> bool {
    job.promise
        .as_ref()
        .and_then(|promise| promise.start_time.as_ref())
        .is_some_and(|start| Some(super::clock::date_of(start)) == day.plan.day)
}

/// The kinds of work of a stop, each named once: `edge, mow, blow off`. Walks before and after go without saying
/// where there is other work.
fn work_words(stop: &Stop) -> String {
    let mut words: Vec<String> = Vec::new();
    let walks = |kind| matches!(kind, TaskKind::WalkBefore | TaskKind::WalkAfter);
    let only_walks = stop.tasks.iter().all(|task| walks(task.kind()));
    for task in stop
        .tasks
        .iter()
        .filter(|task| only_walks || !walks(task.kind()))
    {
        let word = phrase_of::<TaskKind>(task.kind);
        if !words.contains(&word) {
            words.push(word);
        }
    }
    words.join(", ")
}

fn seconds(time: Option<&prost_types::Timestamp>) -> Option<i64> {
    time.map(|time| time.seconds)
}

/// When the plan has the crew there to meet the customer: at the start where met before the work, else at the end.
fn meeting_instant(stop: &Stop, before_work: bool) -> Option<DateTime<Utc>> {
    let time = if before_work {
        &stop.start_time
    } else {
        &stop.finish_time
    };
    time.as_ref().and_then(crate::parse::instant::from_wire)
}

/// The day as rows: a row for each stop, then one for each job without.
pub fn grid(day: &Day<'_>) -> Grid {
    let mut grid = Grid::new(&[
        "crew",
        "stop",
        "job",
        "site",
        "arrive",
        "start",
        "finish",
        "drive min",
        "slack min",
        "work",
        "units",
        "state",
        "reasons",
    ]);
    for crew in &day.plan.crew_days {
        for (index, stop) in crew.stops.iter().enumerate() {
            let mut units: Vec<String> = stop
                .tasks
                .iter()
                .flat_map(|task| task.units.clone())
                .collect();
            units.sort_unstable();
            units.dedup();
            grid.row([
                id(&crew.crew).to_owned(),
                (index + 1).to_string(),
                id(&stop.job).to_owned(),
                id(&stop.site).to_owned(),
                day.clock.plain(stop.arrive_time.as_ref()),
                day.clock.plain(stop.start_time.as_ref()),
                day.clock.plain(stop.finish_time.as_ref()),
                minutes(stop.drive.as_ref()).to_string(),
                minutes(stop.slack.as_ref()).to_string(),
                work_words(stop),
                ids(&units, ";"),
                progress::of_stop(day, &stop.job, &crew.crew)
                    .plain()
                    .to_owned(),
                String::new(),
            ]);
        }
    }
    for job in &day.plan.unplanned_jobs {
        let mut row = vec![String::new(); grid.headings.len()];
        let kinds: Vec<String> = job
            .reasons
            .iter()
            .map(|reason| word_of::<forenoon_proto::v1::ReasonKind>(reason.kind))
            .collect();
        if let [_, _, name, .., state, reasons] = row.as_mut_slice() {
            id(&job.job).clone_into(name);
            "unplanned".clone_into(state);
            *reasons = kinds.join(";");
        }
        grid.row(row);
    }
    grid
}

#[cfg(test)]
mod tests;
