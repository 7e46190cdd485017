//! Closes a case.

use chrono::{DateTime, Utc};
use forenoon_store::Revisioned;
use forenoon_store::entity::site_case;
use forenoon_store::sea_orm::DatabaseTransaction;

use super::{get, name};
use crate::work::{Accepted, Change, Command, Error, ObstacleKind, Seen, refuse_stale, row};

/// Closes a case.
pub struct CloseCase {
    /// The branch.
    pub branch: String,
    /// The case.
    pub id: String,
    /// How it ended.
    pub resolution: String,
    /// What the caller has seen of it; none where they do not mind.
    pub seen: Option<Seen>,
}

impl Command for CloseCase {
    type Answer = site_case::Model;

    async fn run(
        &self,
        transaction: &DatabaseTransaction,
        now: DateTime<Utc>,
    ) -> Result<Accepted<site_case::Model>, Error> {
        let before = get(transaction, &self.branch, &self.id).await?;
        let name = name(&self.branch, &self.id);
        if before.closed {
            if before.resolution == self.resolution {
                return Ok(Accepted {
                    answer: before,
                    changes: vec![],
                });
            }
            return Err(Error::obstacle(
                ObstacleKind::CaseClosed,
                name,
                "it is closed with another resolution; open a new case",
            ));
        }
        refuse_stale(self.seen, &before, &name)?;
        let mut after = before.clone();
        after.closed = true;
        after.resolution.clone_from(&self.resolution);
        after.stamp_changed(&before, now);
        row::update(transaction, &before, &after).await?;
        let change = Change::of(name, "case.closed", Some(&before), Some(&after))?;
        Ok(Accepted {
            answer: after,
            changes: vec![change],
        })
    }
}
