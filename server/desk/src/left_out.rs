//! Jobs that a plan tells of without having looked for a place for them, and why.

use chrono::{DateTime, NaiveDate, Utc};
use forenoon_store::entity::job;
use forenoon_store::value::{LaterReasonKind, Reason, ReasonKind, Reasons};

use crate::clock::DayClock;

/// A job that is not planned, with the reason.
#[derive(Clone, Debug, PartialEq)]
pub struct LeftOut {
    /// The job.
    pub job: job::Model,
    /// Why.
    pub reasons: Reasons,
}

impl LeftOut {
    /// A job that another day's published plan, by its resource name, has with a crew, by its name on screens.
    pub fn on_another_day(job: job::Model, day: NaiveDate, crew: &str, plan: String) -> Self {
        let text = format!("is on {}'s plan with {crew}", DayClock::day_words(day));
        Self::new(job, LaterReasonKind::OnAnotherDay, text, vec![plan])
    }

    /// A job that a crew, by its name on screens and its resource name, began on an earlier day and has not ended.
    pub fn under_way(
        job: job::Model,
        since: DateTime<Utc>,
        clock: &DayClock,
        (crew, name): (&str, String),
    ) -> Self {
        let since = DayClock::day_words(clock.day_of(since));
        let text = format!("{crew} has had it under way since {since}: let them report its end");
        Self::new(job, LaterReasonKind::Unfinished, text, vec![name])
    }

    /// A job whose last day has passed.
    pub fn window_over(job: job::Model) -> Self {
        let last = DayClock::day_words(job.last_day);
        let text = format!("its last day was {last}; agree on another");
        Self::new(job, LaterReasonKind::WindowOver, text, Vec::new())
    }

    fn new(job: job::Model, kind: LaterReasonKind, text: String, subjects: Vec<String>) -> Self {
        Self {
            job,
            reasons: Reasons(vec![Reason {
                kind: nearest(kind),
                later_kind: Some(kind),
                remedy: None,
                text,
                subjects,
            }]),
        }
    }
}

/// What a server that does not know a kind tells in its place.
const fn nearest(kind: LaterReasonKind) -> ReasonKind {
    match kind {
        LaterReasonKind::OnAnotherDay | LaterReasonKind::Unfinished => ReasonKind::Outranked,
        LaterReasonKind::WindowOver => ReasonKind::WindowMissed,
    }
}
