//! Changes a site.

use chrono::{DateTime, Utc};
use forenoon_store::entity::site;
use forenoon_store::sea_orm::DatabaseTransaction;

use super::{KINDS, get, jobs_on_lost_areas, name};
use crate::work::{Accepted, Command, Edit, Error, Seen, put, referrers, refuse_stale};

/// Changes a site.
pub struct UpdateSite {
    /// The branch.
    pub branch: String,
    /// The last part of its name.
    pub id: String,
    /// What the caller has seen of it; none where they do not mind.
    pub seen: Option<Seen>,
    /// What to make of the site as it is.
    pub edit: Box<Edit<site::Model>>,
}

impl Command for UpdateSite {
    type Answer = site::Model;

    async fn run(
        &self,
        transaction: &DatabaseTransaction,
        now: DateTime<Utc>,
    ) -> Result<Accepted<site::Model>, Error> {
        let before = get(transaction, &self.branch, &self.id).await?;
        let name = name(&self.branch, &self.id);
        refuse_stale(self.seen, &before, &name)?;
        let after = (self.edit)(&before)?;
        referrers::refuse(jobs_on_lost_areas(transaction, &before, &after).await?)?;
        let put = put::<site::Entity>(transaction, Some(before), after, now).await?;
        let changes = put.change(name, KINDS)?.into_iter().collect();
        Ok(Accepted {
            answer: put.into_row(),
            changes,
        })
    }
}
