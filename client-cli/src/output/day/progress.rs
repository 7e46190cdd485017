//! How far the jobs of a day have come, by what the crews report.

use std::collections::BTreeMap;

use forenoon_proto::v1::{Visit, VisitState};

use super::{Day, text};

/// How far a job has come.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Progress {
    /// No crew has set out for it.
    Planned,
    /// A crew is at it, or on its way.
    Running,
    /// Done.
    Done,
    /// Given up.
    NotDone,
}

impl Progress {
    /// For people, before the site.
    pub(super) fn mark(self) -> &'static str {
        match self {
            Self::Planned => "",
            Self::Running => "at it ",
            Self::Done => "done ",
            Self::NotDone => "not done ",
        }
    }

    /// For scripts.
    pub(super) fn plain(self) -> &'static str {
        match self {
            Self::Planned => "planned",
            Self::Running => "running",
            Self::Done => "done",
            Self::NotDone => "not-done",
        }
    }
}

/// How far a crew's stop at a job has come.
pub(super) fn of_stop(day: &Day<'_>, job: &str, crew: &str) -> Progress {
    let visits = day.visits.iter().filter(|visit| visit.job == job);
    match visits.max_by_key(|visit| visit.attempt) {
        None => Progress::Planned,
        Some(last) => match of_visit(last) {
            // What one crew gave up and the plan gives to another waits for that one.
            Progress::NotDone if last.crew != crew => Progress::Planned,
            progress => progress,
        },
    }
}

fn of_visit(visit: &Visit) -> Progress {
    match visit.state() {
        VisitState::Done => Progress::Done,
        VisitState::NotDone => Progress::NotDone,
        VisitState::Unspecified
        | VisitState::UnderWay
        | VisitState::Arrived
        | VisitState::Working
        | VisitState::Paused => Progress::Running,
    }
}

/// Jobs counted by how far they have come, also those that a later plan leaves out: `2 done, 1 under way`.
pub(super) fn words(day: &Day<'_>) -> String {
    let mut last: BTreeMap<&str, &Visit> = BTreeMap::new();
    for visit in day.visits {
        let known = last.entry(&visit.job).or_insert(visit);
        if visit.attempt >= known.attempt {
            *known = visit;
        }
    }
    let count = |wanted| {
        last.values()
            .filter(|visit| of_visit(visit) == wanted && !is_handed_over(day, visit))
            .count()
    };
    let mut words = format!(
        "{} done, {} under way",
        count(Progress::Done),
        count(Progress::Running)
    );
    let given_up = count(Progress::NotDone);
    if given_up > 0 {
        text::add(&mut words, format_args!(", {given_up} not done"));
    }
    words
}

/// Whether a crew gave a job up and the plan gives it to another.
fn is_handed_over(day: &Day<'_>, visit: &Visit) -> bool {
    of_visit(visit) == Progress::NotDone
        && day
            .plan
            .crew_days
            .iter()
            .filter(|crew| crew.crew != visit.crew)
            .any(|crew| crew.stops.iter().any(|stop| stop.job == visit.job))
}
