//! Whom to phone about a site, and what to tell.

use chrono::NaiveDate;
use forenoon_store::entity::plan_stop;
use forenoon_store::value::{Contact, SiteCall, SplitJob};

use crate::changes::{is_over, left_words, worth_a_call};
use crate::deadlines::missed;
use crate::inputs::DayInputs;
use crate::promises::{Broken, breaks};
use crate::stored_plan::StoredPlan;

/// The calls about a site: one for its customer, and one for each other person who waits for a meeting that is not to be as
/// promised.
pub(crate) fn calls(
    inputs: &DayInputs,
    before: &StoredPlan,
    after: &StoredPlan,
    site: &str,
) -> Vec<SiteCall> {
    let mut told: Vec<(Option<&Contact>, Vec<String>)> = Vec::new();
    let late = missed(inputs, before, after);
    let of_site = before
        .parts
        .stops
        .iter()
        .filter(|stop| stop.site_id == site);
    for old in of_site {
        let new = after.stop_of(&old.job_id);
        let broken = breaks(inputs, before, after, &old.job_id);
        let contact = broken.as_ref().and_then(|broken| broken.contact);
        let late = late.get(&old.job_id).map(String::as_str);
        let Some(text) = news(inputs, old, new, (broken, late)) else {
            continue;
        };
        match told.iter_mut().find(|(whom, _)| *whom == contact) {
            Some((_, texts)) => texts.push(text),
            None => told.push((contact, vec![text])),
        }
    }
    // Who has a new job is told nothing of it but that it will be late.
    let new = inputs.jobs.iter().filter(|job| job.site_id == site);
    let new = new.filter(|job| before.stop_of(&job.id).is_none());
    let texts: Vec<String> = new
        .filter_map(|job| Some(format!("{}: {}", job.display_name, late.get(&job.id)?)))
        .collect();
    if let Some((_, known)) = told.iter_mut().find(|(whom, _)| whom.is_none()) {
        known.extend(texts);
    } else if told.is_empty() || !texts.is_empty() {
        told.push((None, texts));
    }
    told.into_iter()
        .map(|(contact, texts)| SiteCall {
            site_id: site.to_owned(),
            text: texts.join("; "),
            contact: contact.cloned(),
        })
        .collect()
}

/// What to tell of one job; none where it is nobody's news.
fn news(
    inputs: &DayInputs,
    old: &plan_stop::Model,
    new: Option<&plan_stop::Model>,
    (broken, late): (Option<Broken<'_>>, Option<&str>),
) -> Option<String> {
    let clock = |stop: &plan_stop::Model| inputs.clock.words(stop.start_time);
    let mut parts = Vec::new();
    match new {
        // Who called it off, or saw the crew give it up, knows.
        None if is_over(inputs, &old.job_id).is_some() => return None,
        // The work runs, or is done: nothing is told but that the meeting after it is later.
        _ if old.fixed => {}
        Some(new) => {
            if worth_a_call(inputs, old, new) {
                parts.push(if inputs.goes_on(&old.job_id) {
                    format!("goes on at {}", clock(new))
                } else {
                    format!("comes at {} and not at {}", clock(new), clock(old))
                });
            }
            let split = inputs.split.get(&old.job_id);
            parts.extend(split.map(|split| rest_in_words(inputs, split)));
        }
        None => parts.push(format!(
            "does not come today at {}; {}",
            clock(old),
            next_day_in_words(inputs, &old.job_id, "no later day is agreed")
        )),
    }
    parts.extend(broken.map(|broken| broken.words));
    parts.extend(late.map(str::to_owned));
    (!parts.is_empty()).then(|| parts.join("; "))
}

/// What a customer hears of a job that is split.
fn rest_in_words(inputs: &DayInputs, split: &SplitJob) -> String {
    format!(
        "{} is not done today; {}",
        left_words(inputs, split),
        next_day_in_words(inputs, &split.job_id, "agree on a day")
    )
}

fn next_day_in_words(inputs: &DayInputs, job: &str, none: &str) -> String {
    next_day(inputs, job).map_or_else(
        || none.to_owned(),
        |day| {
            format!(
                "the next day it may be done is {}",
                day.format("%A, %-d %B")
            )
        },
    )
}

/// The next day on which a job may be done.
pub(crate) fn next_day(inputs: &DayInputs, job: &str) -> Option<NaiveDate> {
    let tomorrow = inputs.clock.day().succ_opt()?;
    inputs
        .jobs
        .iter()
        .find(|known| known.id == job)?
        .windows
        .0
        .iter()
        .filter(|window| window.last_day >= tomorrow)
        .map(|window| Ord::max(window.first_day, tomorrow))
        .min()
}
