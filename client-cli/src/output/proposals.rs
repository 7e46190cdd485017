//! Proposals side by side: what each costs, what it changes, and whom to phone.

use std::collections::BTreeMap;

use forenoon_proto::v1::{Contact, Plan, PlanChangeKind, PlanTotals, Proposal, Site};

use super::clock::{Clock, minutes, stretch};
use super::grid::Grid;
use super::sheet::contact_words;
use super::{paint, text};
use crate::names::id;
use crate::parse::money;
use crate::parse::word::{phrase_of, word_of};

/// What the page is made from.
#[derive(Clone, Copy, Debug)]
pub struct Ways<'a> {
    /// The proposals, the one that costs least first.
    pub proposals: &'a [Proposal],
    /// The published plan they would replace, where it could be had.
    pub present: Option<&'a Plan>,
    /// Sites to phone, by resource name.
    pub sites: &'a BTreeMap<String, Site>,
    /// The branch's clock.
    pub clock: Clock,
}

/// The page.
pub fn page(ways: &Ways<'_>, width: usize) -> String {
    let mut lines = Vec::new();
    let cause = ways
        .proposals
        .first()
        .map_or("", |proposal| proposal.cause.as_str());
    let title = format!("{} to go on", text::count(ways.proposals.len(), "way"));
    lines.push(paint::strong(&if cause.is_empty() {
        title
    } else {
        format!("{title}: {cause}")
    }));
    lines.push(String::new());
    lines.push(comparison(ways).table(width).trim_end().to_owned());
    for (index, proposal) in ways.proposals.iter().enumerate() {
        lines.push(String::new());
        details(index, proposal, ways, width, &mut lines);
    }
    lines.push(String::new());
    lines.push("Nothing has changed yet. `discard` drops a proposal you do not want.".to_owned());
    lines.join("\n") + "\n"
}

fn letter(index: usize) -> String {
    u32::try_from(index)
        .ok()
        .and_then(|index| char::from_u32('A' as u32 + index))
        .filter(char::is_ascii_uppercase)
        .map_or_else(|| (index + 1).to_string(), |letter| letter.to_string())
}

/// A column for each proposal; a row for each thing that tells them apart.
fn comparison(ways: &Ways<'_>) -> Grid {
    const HEADINGS: [&str; 9] = ["A", "B", "C", "D", "E", "F", "G", "H", "I"];
    let mut headings = vec![""];
    headings.extend(HEADINGS.iter().take(ways.proposals.len()));
    let mut grid = Grid::new(&headings);
    let mut row = |label: &str, cell: &dyn Fn(&Proposal) -> String| {
        let mut cells = vec![label.to_owned()];
        cells.extend(ways.proposals.iter().take(HEADINGS.len()).map(cell));
        grid.row(cells);
    };
    let changes = |proposal: &Proposal, kind: PlanChangeKind| {
        proposal
            .changes
            .iter()
            .filter(|change| change.kind() == kind)
            .count()
            .to_string()
    };
    row("what", &|proposal| proposal.title.clone());
    row("running cost", &|proposal| {
        let Some(extra) = &proposal.extra_cost else {
            return "-".to_owned();
        };
        let sign = if extra.units > 0 || extra.nanos > 0 {
            "+"
        } else {
            ""
        };
        format!("{sign}{}", money::show(extra))
    });
    row("promises kept", &|proposal| {
        proposal.kept_promises.len().to_string()
    });
    row("promises broken", &|proposal| {
        proposal.broken_promises.len().to_string()
    });
    row("deadlines missed", &|proposal| {
        proposal.missed_deadlines.len().to_string()
    });
    row("leave the day", &|proposal| {
        changes(proposal, PlanChangeKind::Dropped)
    });
    row("done in part", &|proposal| {
        changes(proposal, PlanChangeKind::Split)
    });
    row("change crew", &|proposal| {
        changes(proposal, PlanChangeKind::Crew)
    });
    row("change time", &|proposal| {
        changes(proposal, PlanChangeKind::Time)
    });
    row("change unit", &|proposal| {
        changes(proposal, PlanChangeKind::Unit)
    });
    row("come in", &|proposal| {
        changes(proposal, PlanChangeKind::Added)
    });
    row("customers to phone", &|proposal| {
        // One call for each site where a proposal does not tell them yet.
        Ord::max(proposal.calls.len(), proposal.sites_to_phone.len()).to_string()
    });
    let present = ways.present.and_then(|plan| plan.totals.as_ref());
    row("drive", &|proposal| {
        against(proposal, present, |totals| minutes(totals.travel.as_ref()))
    });
    row("work", &|proposal| {
        against(proposal, present, |totals| minutes(totals.work.as_ref()))
    });
    row("overtime", &|proposal| {
        against(proposal, present, |totals| {
            minutes(totals.overtime.as_ref())
        })
    });
    row("jobs not planned", &|proposal| {
        let unplanned = proposal.plan.as_ref().and_then(|plan| plan.totals.as_ref());
        unplanned.map_or_else(
            || "-".to_owned(),
            |totals| totals.unplanned_jobs.to_string(),
        )
    });
    // Against each other: the present plan's cost is that of its whole day, theirs of what is left of it.
    let least = ways.proposals.iter().filter_map(cost_points).min();
    row(
        "cost points",
        &|proposal| match cost_points(proposal).zip(least) {
            None => "-".to_owned(),
            Some((cost, least)) if cost == least => cost.to_string(),
            Some((cost, least)) => format!("{cost} ({:+})", cost - least),
        },
    );
    grid
}

fn cost_points(proposal: &Proposal) -> Option<i64> {
    let totals = proposal.plan.as_ref()?.totals.as_ref()?;
    Some(totals.cost_points)
}

/// Minutes of a proposal, with the difference to the present plan in brackets.
fn against(
    proposal: &Proposal,
    present: Option<&PlanTotals>,
    of: fn(&PlanTotals) -> i64,
) -> String {
    let Some(totals) = proposal.plan.as_ref().and_then(|plan| plan.totals.as_ref()) else {
        return "-".to_owned();
    };
    let value = of(totals);
    match present.map(|present| value - of(present)) {
        None => stretch(value),
        Some(0) => format!("{} (same)", stretch(value)),
        Some(more) => format!(
            "{} ({}{})",
            stretch(value),
            if more > 0 { "+" } else { "" },
            stretch(more)
        ),
    }
}

fn details(
    index: usize,
    proposal: &Proposal,
    ways: &Ways<'_>,
    width: usize,
    lines: &mut Vec<String>,
) {
    let name = proposal.plan.as_ref().map_or("", |plan| id(&plan.name));
    let accept = format!("forenoon accept {name}");
    lines.push(paint::strong(&text::ends(&letter(index), &accept, width)));
    if proposal.changes.is_empty() {
        lines.push("  changes nothing".to_owned());
    }
    for change in &proposal.changes {
        let colour: fn(&str) -> String = match change.kind() {
            PlanChangeKind::Dropped | PlanChangeKind::Split => paint::alarm,
            PlanChangeKind::Crew | PlanChangeKind::Time => paint::heed,
            _ => str::to_owned,
        };
        let label = text::fit(&phrase_of::<PlanChangeKind>(change.kind), 9);
        let words = text::hanging(&format!("  {label} "), &change.text, width);
        lines.extend(words.iter().map(|line| colour(line)));
    }
    let broken = proposal.broken_promises.iter();
    let broken = broken.map(|job| ("  promise   ", format!("{} is broken", id(job))));
    let missed = proposal.missed_deadlines.iter();
    let missed = missed.map(|job| ("  deadline  ", format!("{} is missed", id(job))));
    for (label, words) in broken.chain(missed) {
        let told = text::hanging(label, &words, width);
        lines.extend(told.iter().map(|line| paint::alarm(line)));
    }
    for site in &proposal.sites_to_phone {
        for words in call_words(site, proposal, ways) {
            lines.extend(text::hanging("  PHONE     ", &words, width));
        }
    }
}

/// Whom to phone about a site and what to tell, a text for each call.
fn call_words(site: &str, proposal: &Proposal, ways: &Ways<'_>) -> Vec<String> {
    let calls = proposal.calls.iter().filter(|call| call.site == site);
    let mut words: Vec<String> = calls
        .map(|call| {
            let whom = phone_words(site, call.contact.as_ref(), ways);
            format!("{whom}: {}", call.text)
        })
        .collect();
    // A proposal made before it was kept what to tell.
    if words.is_empty() {
        let whom = phone_words(site, None, ways);
        words.push(whom + &news(site, proposal, ways.clock));
    }
    words
}

/// The site and whom to phone: who is named, else its own contact.
fn phone_words(name: &str, named: Option<&Contact>, ways: &Ways<'_>) -> String {
    let site = ways.sites.get(name);
    let contact = contact_words(named.or_else(|| site?.contact.as_ref()));
    let place = site.map_or(id(name), |site| &site.display_name);
    if contact.is_empty() {
        place.to_owned()
    } else {
        format!("{place}: {contact}")
    }
}

/// What to tell the customer: the new time, or that nobody comes that day.
fn news(site: &str, proposal: &Proposal, clock: Clock) -> String {
    let stops: Vec<String> = proposal
        .plan
        .iter()
        .flat_map(|plan| &plan.crew_days)
        .flat_map(|crew| &crew.stops)
        .filter(|stop| stop.site == site)
        .map(|stop| clock.hm(stop.start_time.as_ref()))
        .collect();
    if stops.is_empty() {
        ", not that day".to_owned()
    } else {
        format!(", now at {}", stops.join(" and "))
    }
}

/// The changes as rows: one for each change of each proposal.
pub fn grid(proposals: &[Proposal]) -> Grid {
    let mut grid = Grid::new(&[
        "plan",
        "change",
        "job",
        "from crew",
        "to crew",
        "unit",
        "shift min",
        "text",
    ]);
    for proposal in proposals {
        let plan = proposal.plan.as_ref().map_or("", |plan| id(&plan.name));
        for change in &proposal.changes {
            grid.row([
                plan.to_owned(),
                word_of::<PlanChangeKind>(change.kind),
                id(&change.job).to_owned(),
                id(&change.from_crew).to_owned(),
                id(&change.to_crew).to_owned(),
                id(&change.unit).to_owned(),
                change
                    .shift
                    .as_ref()
                    .map(|shift| minutes(Some(shift)).to_string())
                    .unwrap_or_default(),
                change.text.clone(),
            ]);
        }
    }
    grid
}

#[cfg(test)]
mod tests;
