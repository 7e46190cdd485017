//! The tasks of a job, composed from what the site is like.
//!
//! Whoever books a job describes the place; the rules of the trade decide what is done, with what,
//! how often and in which order. Each task carries the [`Rule`] that put it there, so a sheet can
//! say why. A person may edit the list; [`breaches`] says which rules an edited list no longer
//! keeps.

mod breach;
mod build;
mod notice;
pub mod rules;

pub use breach::{Breach, Step, breaches};
pub use notice::{KEEP_CLEAR, Notice};
pub use rules::Rule;

use crate::estimate::Work;
use crate::fault::{Fault, within};
use crate::rates::Rates;
use crate::site::Area;
use crate::units::Minutes;
use rules::stage;

/// What becomes of debris.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub enum Debris {
    /// It may be blown off paving into turf and beds.
    #[default]
    Blowable,
    /// It may not or cannot be blown: it is collected, and the mower collects too.
    MustCollect,
}

/// Whether turf may take several visits to come down.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub enum Finish {
    /// A third of the blade at a time, over several visits.
    #[default]
    InStages,
    /// A deadline wants the set height on this visit.
    ThisVisit,
}

/// One visit as it is described when the job is booked.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Visit<'a> {
    /// The areas to be worked on.
    pub areas: &'a [Area],
    /// What becomes of debris.
    pub debris: Debris,
    /// Thrown or blown things would do harm here (people, cars, glass, water).
    pub sensitive: bool,
    /// Whether turf may come down in stages.
    pub finish: Finish,
    /// Minutes of a meeting promised before the work.
    pub meet_before: Option<Minutes>,
    /// Minutes of a meeting promised after the work.
    pub meet_after: Option<Minutes>,
}

impl<'a> Visit<'a> {
    /// A plain visit to some areas: debris may be blown, nothing is promised.
    pub const fn to(areas: &'a [Area]) -> Self {
        Self {
            areas,
            debris: Debris::Blowable,
            sensitive: false,
            finish: Finish::InStages,
            meet_before: None,
            meet_after: None,
        }
    }
}

/// A task of a composed job.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Planned {
    /// What is done, ready to be estimated.
    pub work: Work,
    /// The area, by its place in the visit's areas; none for the site as a whole.
    pub area: Option<usize>,
    /// The rule that put it here.
    pub rule: Rule,
}

/// A job made by the rules.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Composition {
    /// The tasks in order of work.
    pub tasks: Vec<Planned>,
    /// What else a person must know.
    pub notices: Vec<Notice>,
}

/// A fault in the description, and the area it is in.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
#[error("{fault}")]
pub struct Misdescribed {
    /// The area, by its place in the visit's areas; none for the visit as a whole.
    pub area: Option<usize>,
    /// What is wrong.
    pub fault: Fault,
}

/// Composes the tasks of a visit by the rules.
///
/// # Errors
/// Every fault of the description at once. A description without areas is one.
pub fn compose(visit: &Visit<'_>, rates: &Rates) -> Result<Composition, Vec<Misdescribed>> {
    let mut faults = faults(visit);
    if !faults.is_empty() {
        return Err(faults);
    }
    let mut job = Composition::default();
    for (index, area) in visit.areas.iter().enumerate() {
        if let Err(fault) = build::area(&mut job, visit, index, area, rates) {
            faults.push(Misdescribed {
                area: Some(index),
                fault,
            });
        }
    }
    if !faults.is_empty() {
        return Err(faults);
    }
    build::cleaning(&mut job, visit, rates);
    build::walks(&mut job, visit);
    // Stable: within a stage the areas keep the order they were described in.
    job.tasks
        .sort_by_key(|task| stage(task.work.kind, task.work.method, visit.sensitive));
    Ok(job)
}

fn faults(visit: &Visit<'_>) -> Vec<Misdescribed> {
    let mut faults = Vec::new();
    let whole = |fault| Misdescribed { area: None, fault };
    if visit.areas.is_empty() {
        faults.push(whole(Fault::Empty {
            field: "visit.areas",
        }));
    }
    let meetings = [
        ("visit.meet_before_minutes", visit.meet_before),
        ("visit.meet_after_minutes", visit.meet_after),
    ];
    for (field, minutes) in meetings {
        let minutes = minutes.unwrap_or_default();
        faults.extend(within(field, minutes.value(), 0.0, 480.0).err().map(whole));
    }
    for (index, area) in visit.areas.iter().enumerate() {
        faults.extend(area.faults().map(|fault| Misdescribed {
            area: Some(index),
            fault,
        }));
    }
    faults
}
