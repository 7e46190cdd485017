//! Tag-outs: units' out-of-service tags.

use sea_orm::entity::prelude::*;
use serde::{Deserialize, Serialize};

use crate::value::{
    Contact, ForbiddenEarlier, ForbiddenTasks, Severity, Symptom, TagOutState, TaskKind,
};

/// One row of `tag_out`.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, DeriveEntityModel)]
#[sea_orm(table_name = "tag_out")]
pub struct Model {
    /// The branch it belongs to.
    #[sea_orm(primary_key, auto_increment = false)]
    pub branch_id: String,
    /// The last part of its resource name.
    #[sea_orm(primary_key, auto_increment = false)]
    pub id: String,
    /// The tag's number within the branch.
    pub number: i64,
    /// The unit.
    pub unit_id: String,
    /// What was seen, heard or smelt.
    pub symptom: Symptom,
    /// In words.
    pub description: String,
    /// How bad it is.
    pub severity: Severity,
    /// What it must not do; empty for an unsafe one, which must do nothing.
    #[sea_orm(column_type = "JsonBinary")]
    #[serde(default)]
    pub forbidden_tasks: ForbiddenTasks,
    /// Who found it, a worker.
    pub found_by_id: Option<String>,
    /// At which job.
    pub job_id: Option<String>,
    /// Whom to ask about it.
    #[sea_orm(column_type = "JsonBinary", nullable)]
    pub contact: Option<Contact>,
    /// Where it stands.
    pub state: TagOutState,
    /// What is wrong.
    pub diagnosis: String,
    /// When it is expected back; none where nobody knows.
    pub expected_return_time: Option<DateTimeUtc>,
    /// What was done.
    pub repair: String,
    /// Who did it, a worker.
    pub repaired_by_id: Option<String>,
    /// What was inspected and how it was found.
    pub inspection: String,
    /// Who inspected, a worker.
    pub inspected_by_id: Option<String>,
    /// Who released, a worker.
    pub released_by_id: Option<String>,
    /// When it was released; none while it is open.
    pub release_time: Option<DateTimeUtc>,
    /// The released tag that this one takes up.
    #[serde(default)]
    pub reopens_id: Option<String>,
    /// Since when it is as bad as it is; none where it was so when it came.
    #[serde(default)]
    pub severity_time: Option<DateTimeUtc>,
    /// Kinds of work that a limited unit must not do since before then.
    #[sea_orm(column_type = "JsonBinary")]
    #[serde(default)]
    pub forbidden_earlier: ForbiddenEarlier,
    /// Counts changes; the source of the etag.
    pub revision: i64,
    /// When it was created.
    pub create_time: DateTimeUtc,
    /// When it last changed.
    pub update_time: DateTimeUtc,
}

impl Model {
    /// Since when the unit must not do what it must not do now. What it did until then was right.
    #[must_use]
    pub fn since(&self) -> DateTimeUtc {
        self.severity_time.unwrap_or(self.create_time)
    }

    /// Since when the unit must not do a kind of work; none where it may.
    #[must_use]
    pub fn forbids_since(&self, kind: TaskKind) -> Option<DateTimeUtc> {
        match self.severity {
            Severity::Unsafe => Some(self.since()),
            Severity::Reduced if self.forbidden_tasks.0.contains(&kind) => {
                let mut earlier = self.forbidden_earlier.0.iter();
                let known = earlier.find(|known| known.kind == kind);
                Some(known.map_or(self.since(), |known| known.since))
            }
            Severity::Reduced => None,
        }
    }
}

/// None: rows are joined by the queries that need it.
#[derive(Clone, Copy, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
