//! The parts of a plan.

use std::collections::BTreeSet;

use chrono::{DateTime, Utc};
use sea_orm::FromJsonQueryResult;
use serde::{Deserialize, Serialize};

use super::{
    Contact, Continued, CrewStands, Disruptions, SplitJob, TaskKind, UnitMissing, UnitMoved,
    UnitOut, json_list, words,
};

words!(
    /// Where a plan stands.
    PlanState {
        /// May be published.
        Draft,
        /// What crews go by. One per day.
        Published,
        /// Was published, and replaced by a later one.
        Replaced,
        /// Thrown away.
        Discarded,
    }
);

/// Sums over a day.
#[derive(
    Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize, FromJsonQueryResult,
)]
pub struct PlanTotals {
    /// Jobs with a stop.
    pub planned_jobs: i32,
    /// Jobs without.
    pub unplanned_jobs: i32,
    /// Driving.
    pub travel_seconds: i64,
    /// Work on sites.
    pub work_seconds: i64,
    /// Waiting for windows.
    pub waiting_seconds: i64,
    /// Beyond the shifts.
    pub overtime_seconds: i64,
    /// What the search made least, in its own points.
    pub cost_points: i64,
    /// So many in a hundred tasks keep within the length planned for them; 0 in plans made before that was kept, which are
    /// made for the median.
    #[serde(default)]
    pub confidence_percent: i32,
}

/// One task of a stop.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct PlannedTask {
    /// The task's id within the job.
    pub task_id: String,
    /// The kind of work.
    pub kind: TaskKind,
    /// The area's id within the site; none for work on the whole site.
    pub area_id: Option<String>,
    /// The units that do it: none, one, or an attachment and its powerhead.
    pub unit_ids: Vec<String>,
    /// Planned time.
    pub duration_seconds: i32,
    /// How long the tool runs in it, whoever holds it; 0 without an engine or motor.
    #[serde(default)]
    pub running_seconds: i32,
}

json_list!(
    /// A stop's tasks, in order.
    PlannedTasks of PlannedTask
);

impl PlannedTasks {
    /// The units that any of them is done with.
    #[must_use]
    pub fn unit_ids(&self) -> BTreeSet<&str> {
        let ids = self.0.iter().flat_map(|task| &task.unit_ids);
        ids.map(String::as_str).collect()
    }
}

words!(
    /// The kinds of causes for which a job does not fit.
    ReasonKind {
        /// No unit of the branch can do a task.
        NoCapability,
        /// The unit that could is tagged out.
        UnitTaggedOut,
        /// The unit that could is absent.
        UnitAbsent,
        /// The unit that could is with another crew.
        UnitElsewhere,
        /// No machine that could passes the gate.
        GateTooNarrow,
        /// No machine that could may work on the slope.
        SlopeTooSteep,
        /// No crew on shift has the skill.
        SkillMissing,
        /// No crew can be there within the window.
        WindowMissed,
        /// No crew has the time left in its shift.
        ShiftFull,
        /// No vehicle has the space left.
        LoadSpaceFull,
        /// It would break a promise to another customer.
        PromiseConflict,
        /// No crew is on shift that day.
        NoCrew,
        /// It fits nowhere beside the jobs that come first.
        Outranked,
        /// Its crew would pass the branch's limit of exposure.
        ExposureLimit,
        /// It is too hot for the work.
        TooHot,
    }
);

words!(
    /// How the reasons told of a job go together.
    Remedy {
        /// With any one of them out of the way it fits.
        AnyOne,
        /// It fits once all of them are out of the way, and not before.
        AllTogether,
    }
);

words!(
    /// Kinds of causes that servers of the version before do not know. A reason stored with one of them has a kind beside it
    /// that they can read.
    LaterReasonKind {
        /// Another day's published plan has the job.
        OnAnotherDay,
        /// A crew has had it under way since an earlier day.
        Unfinished,
        /// Its last day has passed.
        WindowOver,
    }
);

/// One cause for which a job does not fit.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Reason {
    /// Its kind; the nearest one where a later kind says it better.
    pub kind: ReasonKind,
    /// A kind that goes before it, where there is one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub later_kind: Option<LaterReasonKind>,
    /// How it goes together with the others told of the job; none where nothing helps, or that is not known.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub remedy: Option<Remedy>,
    /// In a dispatcher's words.
    pub text: String,
    /// Resource names of what it speaks of.
    pub subjects: Vec<String>,
}

json_list!(
    /// Why a job does not fit, most telling first.
    Reasons of Reason
);

words!(
    /// The kinds of differences between two plans of a day.
    PlanChangeKind {
        /// A job goes to another crew.
        Crew,
        /// A job begins at another time.
        Time,
        /// A job leaves the day.
        Dropped,
        /// A job comes into the day.
        Added,
        /// A part of a job is left for another day.
        Split,
        /// A job is done with another unit.
        Unit,
        /// A unit is loaded that was not.
        Loaded,
        /// A unit is left that was loaded.
        Unloaded,
    }
);

/// One difference between two plans of a day. Ids are within the branch.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct PlanChange {
    /// What kind of difference.
    pub kind: PlanChangeKind,
    /// In a dispatcher's words, with the cause.
    pub text: String,
    /// The job it concerns.
    pub job_id: Option<String>,
    /// The crew before.
    pub from_crew_id: Option<String>,
    /// The crew after.
    pub to_crew_id: Option<String>,
    /// The unit it concerns.
    pub unit_id: Option<String>,
    /// By how much a start moves; negative is earlier.
    pub shift_seconds: i64,
}

json_list!(
    /// What a proposal would change, the gravest first.
    PlanChanges of PlanChange
);

/// A customer to phone, and what to tell.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct SiteCall {
    /// The site.
    pub site_id: String,
    /// What to tell, in words.
    pub text: String,
    /// Who waits there for a meeting that is not to be as promised, where it isn't the site's contact.
    #[serde(default)]
    pub contact: Option<Contact>,
}

/// What a draft goes by, and what a proposal says beside its stops. Ids are within the branch.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize, FromJsonQueryResult)]
pub struct ProposalFacts {
    /// What it is, in a few words.
    pub title: String,
    /// What it costs more than the day as it was, minor units; negative where it costs less.
    pub extra_cost_minor: i64,
    /// Jobs whose promise it breaks.
    pub broken_promises: Vec<String>,
    /// Jobs whose promise it keeps.
    pub kept_promises: Vec<String>,
    /// Jobs whose deadline it misses and the plan gone on from keeps, or that have come in since.
    #[serde(default)]
    pub missed_deadlines: Vec<String>,
    /// Customers to phone.
    pub calls: Vec<SiteCall>,
    /// Jobs broken off whose stops in this plan are for the rest.
    #[serde(default)]
    pub continued: Vec<Continued>,
    /// Work of the day that no stop has any more.
    #[serde(default)]
    pub worked: Vec<Worked>,
    /// Jobs of which it does a part and leaves the rest for another day.
    #[serde(default)]
    pub split: Vec<SplitJob>,
    /// What happened that no record tells; it holds for the plans made from this one.
    #[serde(default)]
    pub disruptions: Disruptions,
    /// Units that are out and on none of its load-outs; the plans made from this one know of them by it.
    #[serde(default)]
    pub out: Vec<UnitOut>,
    /// Units that crews left in the yard, as far as it was known when the plan was made: its load-outs take account of it.
    #[serde(default)]
    pub missing: Vec<UnitMissing>,
    /// Units that were moved, as it was told for this plan.
    #[serde(default)]
    pub moved: Vec<UnitMoved>,
    /// Where crews stand that are out, or where they drive, when the plan begins: its stops need not tell.
    #[serde(default)]
    pub standing: Vec<CrewStands>,
    /// The number of the branch's last event when the day was read for it; none in drafts made before that was kept.
    #[serde(default)]
    pub read_at: Option<i64>,
    /// The day's published plan when the day was read for a plan made from scratch; none where nothing was published.
    #[serde(default)]
    pub published_then: Option<String>,
}

/// Work that was done on the day and that no stop of the plan has: before its job was broken off or given up, or with a unit
/// that was tagged out since. Ids are within the branch.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Worked {
    /// The job.
    pub job_id: String,
    /// The crew that worked.
    pub crew_id: String,
    /// The tasks, as much of them as was done.
    pub tasks: Vec<PlannedTask>,
}

/// A crew's break.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct PlannedBreak {
    /// Begins.
    pub start_time: DateTime<Utc>,
    /// Ends.
    pub end_time: DateTime<Utc>,
}

json_list!(
    /// A crew's breaks of a day, in order.
    PlannedBreaks of PlannedBreak
);

/// A crew's call on the way to change units: at the yard, or where it meets another crew. Ids are within the branch.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, FromJsonQueryResult)]
pub struct YardStop {
    /// Is there.
    pub arrive_time: DateTime<Utc>,
    /// Begins to change units; none in plans made before that was kept, where it is the arrival.
    #[serde(default)]
    pub start_time: Option<DateTime<Utc>>,
    /// Leaves again.
    pub leave_time: DateTime<Utc>,
    /// Units taken.
    pub load: Vec<String>,
    /// Units put down.
    pub unload: Vec<String>,
    /// The other crew, where two crews meet.
    #[serde(default)]
    pub with_crew_id: Option<String>,
    /// The site where they meet; none for the yard.
    #[serde(default)]
    pub site_id: Option<String>,
    /// The drive there.
    #[serde(default)]
    pub drive_seconds: i64,
}

impl YardStop {
    /// From when on it counts as made: two crews have met once they part, and at the yard what was aboard is off and what
    /// was off is aboard once a crew begins.
    pub fn counts_from(&self) -> DateTime<Utc> {
        match self.with_crew_id {
            Some(_) => self.leave_time,
            None => self.begins(),
        }
    }

    /// When units begin to change.
    pub fn begins(&self) -> DateTime<Utc> {
        self.start_time.unwrap_or(self.arrive_time)
    }
}

/// Calls of one crew's day, in order.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize, FromJsonQueryResult)]
#[serde(transparent)]
pub struct YardStops(pub Vec<YardStop>);
