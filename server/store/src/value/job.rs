//! The parts of a job.

use chrono::{DateTime, NaiveDate, Utc};
use sea_orm::FromJsonQueryResult;
use serde::{Deserialize, Serialize};

use super::{Capability, Contact, DayTimes, json_list, words};

words!(
    /// Where a job stands.
    JobState {
        /// Wanted; may be planned.
        Open,
        /// A crew is at it.
        Running,
        /// Finished.
        Done,
        /// Called off.
        Cancelled,
    }
);

words!(
    /// The kinds of work on a site.
    TaskKind {
        /// Walk the site before work.
        WalkBefore,
        /// Bring tall growth down before a mower goes in.
        KnockDown,
        /// Cut brush and woody stems.
        CutBrush,
        /// Cut a clean line along a hard edge.
        Edge,
        /// Trim where a mower can't go.
        Trim,
        /// Mow, first or only pass.
        Mow,
        /// Mow again in another direction.
        SecondPass,
        /// Pick up debris, clippings or brush.
        Collect,
        /// Blow hard surfaces clean.
        BlowOff,
        /// Walk the site after work.
        WalkAfter,
    }
);

words!(
    /// How thick the turf stands.
    TurfDensity {
        /// Thin.
        Thin,
        /// Ordinary.
        Ordinary,
        /// Thick.
        Thick,
    }
);

/// The state in which a site waits for the crew. What is absent is taken as well kept.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize, FromJsonQueryResult)]
pub struct SiteCondition {
    /// Height of the turf now.
    pub turf_height_millimetres: Option<f64>,
    /// Height at which it is kept.
    pub set_height_millimetres: Option<f64>,
    /// How thick it stands.
    pub turf_density: Option<TurfDensity>,
    /// Wet turf or ground.
    pub wet: bool,
    /// How far growth lies over the hard edges.
    pub edge_overgrowth_millimetres: Option<f64>,
    /// Thickest stems.
    pub stem_thickness_millimetres: Option<f64>,
    /// Debris that can't be blown off hard surfaces lies about.
    pub heavy_debris: bool,
    /// Nobody of ours has worked here before.
    pub first_service: bool,
}

/// One kind of work on one area.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Task {
    /// Its id within the job.
    pub task_id: String,
    /// The kind of work.
    pub kind: TaskKind,
    /// The area of the site; none for work on the whole site.
    pub area_id: Option<String>,
    /// What does it; any one of them. Empty for work on foot.
    pub capabilities: Vec<Capability>,
    /// Passes over the area.
    pub passes: i32,
    /// Minutes agreed by people, in place of the estimate.
    pub agreed_minutes: Option<f64>,
    /// Whether the trade's rules composed it, and nobody has changed it since. Tasks stored before this was kept have
    /// nothing of it.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub composed: bool,
}

impl Task {
    /// Whether it is the same work, whoever wrote it down.
    pub fn is_same_work(&self, other: &Self) -> bool {
        let as_mine = Self {
            composed: self.composed,
            ..other.clone()
        };
        as_mine == *self
    }
}

json_list!(
    /// A job's tasks, in the order in which they are done.
    Tasks of Task
);

impl Tasks {
    /// Whether they are the same work in the same order, whoever wrote it down.
    pub fn is_same_work(&self, other: &Self) -> bool {
        self.0.len() == other.0.len()
            && self
                .0
                .iter()
                .zip(&other.0)
                .all(|(task, other)| task.is_same_work(other))
    }

    /// Whether the trade's rules composed all of them, as far as was kept.
    pub fn are_composed(&self) -> bool {
        !self.0.is_empty() && self.0.iter().all(|task| task.composed)
    }

    /// The same work as people's own: later changes of what tasks are composed from leave it alone.
    #[must_use]
    pub fn written(mut self) -> Self {
        for task in &mut self.0 {
            task.composed = false;
        }
        self
    }
}

/// When a visit may be made: days, and times of day on each.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct VisitWindow {
    /// First day.
    pub first_day: NaiveDate,
    /// Last day.
    pub last_day: NaiveDate,
    /// Times within each day; the whole day where empty.
    pub times: Vec<DayTimes>,
}

json_list!(
    /// A job's windows.
    VisitWindows of VisitWindow
);

/// A promise to meet the customer on the site.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, FromJsonQueryResult)]
pub struct Promise {
    /// Earliest moment of meeting.
    pub start_time: DateTime<Utc>,
    /// Latest moment of meeting.
    pub end_time: DateTime<Utc>,
    /// Met before the work, else after it.
    pub before_work: bool,
    /// Whom to meet, where it isn't the site's contact.
    pub contact: Option<Contact>,
}
