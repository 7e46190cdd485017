//! Values which are stored as JSON inside a row, and the words of columns with few values.
//!
//! Inside there is one system of units: metres, square metres, millimetres, litres, percent,
//! seconds, and money in minor units of the branch's currency. Every name says which.
//! A field added later carries `#[serde(default)]`, so that rows written before still read.

mod absence;
pub(crate) mod bytes;
mod case;
mod contact;
mod disruption;
mod exposure;
mod job;
mod photo;
mod place;
mod plan;
mod rule;
mod site;
mod tag_out;
mod unit;
mod visit;
mod week;
mod whereabouts;
mod worker;

pub use absence::{Absence, Absences};
pub use case::CaseKind;
pub use contact::Contact;
pub use disruption::{Continued, Disruptions, Overrun, SplitJob, TaskLeft, WorkStop};
pub use exposure::{
    Exposure, ExposurePart, ExposureRule, ExposureStanding, HeatForecast, NoiseCriterion, Sun,
};
pub use job::{
    JobState, Promise, SiteCondition, Task, TaskKind, Tasks, TurfDensity, VisitWindow, VisitWindows,
};
pub use photo::MediaType;
pub use place::Place;
pub use plan::{
    LaterReasonKind, PlanChange, PlanChangeKind, PlanChanges, PlanState, PlanTotals, PlannedBreak,
    PlannedBreaks, PlannedTask, PlannedTasks, ProposalFacts, Reason, ReasonKind, Reasons, Remedy,
    SiteCall, Worked, YardStop, YardStops,
};
pub use rule::{PriceRule, TravelRule, UnitSystem};
pub use site::{Area, AreaKind, AreaShape, Areas, Clippings, Hazard, Hazards, Obstacles};
pub use tag_out::{
    ForbiddenEarlier, ForbiddenKind, ForbiddenTasks, Severity, Symptom, TagOutState,
};
pub use unit::{Capabilities, Capability, UnitKind};
pub use visit::{
    Pause, Pauses, TaskActual, TaskActuals, Times, VisitState, WalkOutcome, Walkthrough,
    Walkthroughs,
};
pub use week::{DayTimes, Shift, Shifts};
pub use whereabouts::{CrewStands, UnitMissing, UnitMoved, UnitOut};
pub use worker::{Role, Roles};

use sea_orm::FromJsonQueryResult;
use serde::{Deserialize, Serialize};

/// Names a list that is stored in one JSON column.
macro_rules! json_list {
    ($(#[$doc:meta])* $name:ident of $item:ty) => {
        $(#[$doc])*
        #[derive(
            Clone, Debug, Default, PartialEq, serde::Serialize, serde::Deserialize,
            sea_orm::FromJsonQueryResult,
        )]
        #[serde(transparent)]
        pub struct $name(pub Vec<$item>);
    };
}
pub(crate) use json_list;

/// Declares the words of a column or JSON field with few values. Both spell them in snake case.
macro_rules! words {
    ($(#[$doc:meta])* $name:ident { $($(#[$variant_doc:meta])* $variant:ident,)+ }) => {
        $(#[$doc])*
        #[derive(
            Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, serde::Serialize,
            serde::Deserialize, sea_orm::EnumIter, sea_orm::DeriveActiveEnum,
        )]
        #[sea_orm(rs_type = "String", db_type = "Text", rename_all = "snake_case")]
        #[serde(rename_all = "snake_case")]
        pub enum $name {
            $($(#[$variant_doc])* $variant,)+
        }
    };
}
pub(crate) use words;

/// Ids or words in one JSON column, as skills or area ids.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize, FromJsonQueryResult)]
#[serde(transparent)]
pub struct Words(pub Vec<String>);
