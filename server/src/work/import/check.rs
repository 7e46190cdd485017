//! What is wrong with records beside each other and beside what is stored.

use std::collections::{HashMap, HashSet};

use chrono::{DateTime, Utc};
use forenoon_desk::compose::keep_ids;
use forenoon_store::entity::{crew, job, site, unit};
use forenoon_store::sea_orm::DatabaseTransaction;
use forenoon_store::value::JobState;

use super::stored::Stored;
use super::{Fault, Numbered, Records, Unread};
use crate::work::{self, Error, Obstacle, Reason, Violation};

/// What the checks look at.
pub(super) struct Context<'a> {
    pub transaction: &'a DatabaseTransaction,
    pub records: &'a Records,
    pub unread: &'a Unread,
    pub stored: &'a Stored,
    pub now: DateTime<Utc>,
}

/// Takes faults in.
pub(super) struct Sink(Vec<Fault>);

impl Sink {
    pub(super) const fn new(faults: Vec<Fault>) -> Self {
        Self(faults)
    }

    fn note(&mut self, index: usize, violation: Violation) {
        self.0.push(Fault { index, violation });
    }

    fn say(&mut self, index: usize, field: &str, reason: Reason, description: String) {
        let field = field.to_owned();
        self.note(
            index,
            Violation {
                field,
                reason,
                description,
            },
        );
    }

    /// What stands in the way of a change, as faults of the record; what `within` says is in the
    /// same import has been checked there.
    fn obstacles(
        &mut self,
        index: usize,
        field: &str,
        obstacles: Vec<Obstacle>,
        within: impl Fn(&str) -> bool,
    ) {
        for Obstacle {
            kind: _,
            subject,
            description,
        } in obstacles
        {
            if !within(&subject) {
                let words = format!("{subject} {description}");
                self.say(index, field, Reason::Conflict, words);
            }
        }
    }

    /// All faults, in the order of the records.
    pub(super) fn finish(mut self) -> Vec<Fault> {
        self.0.sort_by_key(|fault| fault.index);
        self.0
    }
}

impl Context<'_> {
    /// The units of the import by id.
    fn new_units(&self) -> HashMap<&str, &unit::Model> {
        let units = self.records.units.iter();
        units.map(|one| (one.row.id.as_str(), &one.row)).collect()
    }
}

/// Units: serial numbers, and what a change would break.
pub(super) async fn units(cx: &Context<'_>, sink: &mut Sink) -> Result<(), Error> {
    let new = cx.new_units();
    let mut first: HashMap<&str, &str> = HashMap::new();
    for Numbered { index, row } in &cx.records.units {
        let serial = row.serial_number.as_str();
        let holder = cx.stored.serial_holders.get(serial).map(String::as_str);
        // A holder that is in the import gives its number up, or is met among the records.
        let holder = holder.filter(|holder| *holder != row.id && !new.contains_key(holder));
        if let Some(other) = first.get(serial).copied().or(holder) {
            let words = format!(
                "is the serial number of {} already; give the one on its plate",
                work::unit::name(&row.branch_id, other)
            );
            sink.say(*index, "unit.serial_number", Reason::Duplicate, words);
        } else {
            first.insert(serial, &row.id);
        }
        let Some(before) = cx.stored.units.get(&row.id) else {
            continue;
        };
        let retires = row.retired && !before.retired;
        if retires || row.kind != before.kind {
            let field = if retires { "unit.retired" } else { "unit.kind" };
            let ties = work::unit::ties_in_the_way(cx.transaction, row, cx.now).await?;
            let crews: HashSet<String> = cx
                .records
                .crews
                .iter()
                .map(|one| work::crew::name(&one.row.branch_id, &one.row.id))
                .collect();
            sink.obstacles(*index, field, ties, |subject| crews.contains(subject));
        }
    }
    Ok(())
}

/// Stored units of the import whose serial number another record takes.
pub(super) fn serials_given_up(cx: &Context<'_>) -> Vec<String> {
    let mut given_up: Vec<String> = cx
        .records
        .units
        .iter()
        .filter_map(|one| {
            let holder = cx.stored.serial_holders.get(&one.row.serial_number)?;
            (*holder != one.row.id).then(|| holder.clone())
        })
        .collect();
    given_up.sort_unstable();
    given_up.dedup();
    given_up
}

/// Crews: the units they drive and tow.
pub(super) fn crews(cx: &Context<'_>, sink: &mut Sink) {
    let new = cx.new_units();
    let own: HashSet<&str> = cx
        .records
        .crews
        .iter()
        .map(|one| one.row.id.as_str())
        .collect();
    let mut owners: HashMap<&str, &str> = HashMap::new();
    let mut others: Vec<&crew::Model> = cx.stored.crews.values().collect();
    others.sort_unstable_by(|one, other| one.id.cmp(&other.id));
    for other in others {
        if !own.contains(other.id.as_str()) {
            let units = [&other.vehicle_id, &other.trailer_id];
            owners.extend(
                units
                    .into_iter()
                    .flatten()
                    .map(|id| (id.as_str(), other.id.as_str())),
            );
        }
    }
    for Numbered { index, row } in &cx.records.crews {
        for part in work::crew::unit_parts(row) {
            let unit = new
                .get(part.id)
                .copied()
                .or_else(|| cx.stored.units.get(part.id));
            let unread = unit.is_none() && cx.unread.units.contains(part.id);
            if let Some(amiss) = part.amiss(&row.branch_id, unit).filter(|_| !unread) {
                sink.note(*index, amiss);
            }
            match owners.get(part.id).copied() {
                Some(owner) => sink.note(*index, part.taken(&row.branch_id, owner)),
                None => {
                    owners.insert(part.id, &row.id);
                }
            }
        }
    }
}

/// Workers: the crew they are in.
pub(super) fn workers(cx: &Context<'_>, sink: &mut Sink) {
    let crews: HashSet<&str> = cx
        .records
        .crews
        .iter()
        .map(|one| one.row.id.as_str())
        .chain(cx.stored.crews.keys().map(String::as_str))
        .chain(cx.unread.crews.iter().map(String::as_str))
        .collect();
    for Numbered { index, row } in &cx.records.workers {
        let crew = row.crew_id.as_deref();
        if let Some(crew) = crew.filter(|crew| !crews.contains(crew)) {
            sink.note(*index, work::worker::unknown_crew(&row.branch_id, crew));
        }
    }
}

/// Sites: the jobs on areas they lose.
pub(super) async fn sites(cx: &Context<'_>, sink: &mut Sink) -> Result<(), Error> {
    let jobs: HashSet<String> = cx
        .records
        .jobs
        .iter()
        .map(|one| work::job::name(&one.row.branch_id, &one.row.id))
        .collect();
    for Numbered { index, row } in &cx.records.sites {
        if let Some(before) = cx.stored.sites.get(&row.id) {
            let ties = work::site::jobs_on_lost_areas(cx.transaction, before, row).await?;
            sink.obstacles(*index, "site.areas", ties, |subject| jobs.contains(subject));
        }
    }
    Ok(())
}

/// Sites: how many hazards they have with those that stay.
pub(super) fn hazards(sites: &[Numbered<site::Model>], sink: &mut Sink) {
    for Numbered { index, row } in sites {
        let count = row.hazards.0.len();
        if count > work::site::PARTS_MAX {
            let words = format!(
                "{count} with those that cases added; {} is the most a site has: remove some that are no more",
                work::site::PARTS_MAX
            );
            sink.say(*index, "site.hazards", Reason::TooMany, words);
        }
    }
}

/// Jobs, with their tasks composed where they have none: their site, and what became of them.
pub(super) fn jobs(cx: &Context<'_>, sink: &mut Sink) -> Vec<Numbered<job::Model>> {
    let new: HashMap<&str, &site::Model> = cx
        .records
        .sites
        .iter()
        .map(|one| (one.row.id.as_str(), &one.row))
        .collect();
    let mut fitted = Vec::with_capacity(cx.records.jobs.len());
    for Numbered { index, row } in &cx.records.jobs {
        let site = new
            .get(row.site_id.as_str())
            .copied()
            .or_else(|| cx.stored.sites.get(&row.site_id));
        if site.is_none() && cx.unread.sites.contains(&row.site_id) {
            continue;
        }
        let composes = row.tasks.0.is_empty();
        match work::job::fit_to_site(row.clone(), site) {
            Ok(mut row) => {
                if let Some(before) = cx.stored.jobs.get(&row.id) {
                    // Composed anew, as the record has none: sheets that are out name tasks by the ids they have.
                    if composes {
                        keep_ids(&before.tasks, &mut row.tasks);
                    }
                    if row.tasks.is_same_work(&before.tasks) {
                        row.tasks.clone_from(&before.tasks);
                    }
                    row.state = before.state;
                    row.cancel_reason.clone_from(&before.cancel_reason);
                    if let Some(words) = fixed(before, &row) {
                        sink.say(*index, "job", Reason::Conflict, words.to_owned());
                    }
                }
                fitted.push(Numbered { index: *index, row });
            }
            Err(found) => {
                for one in found {
                    sink.note(*index, one);
                }
            }
        }
    }
    fitted
}

/// Why a job that is there cannot become what the record says.
fn fixed(before: &job::Model, after: &job::Model) -> Option<&'static str> {
    let mut same = after.clone();
    same.revision = before.revision;
    same.create_time = before.create_time;
    same.update_time = before.update_time;
    if same == *before {
        return None;
    }
    match before.state {
        JobState::Open => None,
        JobState::Running => (before.site_id != after.site_id)
            .then_some("has a crew at it; its site cannot change now"),
        JobState::Done | JobState::Cancelled => {
            Some("is done or was called off and does not change any more; leave it out")
        }
    }
}
