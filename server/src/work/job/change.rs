//! A stored job as a change makes it, with its work.

use forenoon_desk::compose::{asks_for_other_work, is_composed, keep_ids};
use forenoon_store::entity::{job, site};
use forenoon_store::sea_orm::DatabaseTransaction;
use forenoon_store::value::JobState;

use super::fit_to_site;
use crate::work::{self, Error};

/// A job that was changed.
pub(super) struct Changed {
    /// The job, fitted to its site.
    pub(super) job: job::Model,
    /// Its site.
    pub(super) site: Option<site::Model>,
    /// Whether what tasks are composed from has changed, and the work was left as people wrote it.
    pub(super) kept_work: bool,
}

/// Fits a changed job to its site. Tasks that were composed follow what they are composed from, as somebody who tells that
/// the turf is taller, or that only the front is wanted, means the work; those that people wrote are theirs. At a job that
/// runs a crew goes by the tasks it has.
///
/// # Errors
/// [`Error::Invalid`] with everything that does not fit, and those of the database.
pub(super) async fn fit_changed(
    transaction: &DatabaseTransaction,
    before: &job::Model,
    mut after: job::Model,
) -> Result<Changed, Error> {
    let site = work::site::find(transaction, &after.branch_id, &after.site_id).await?;
    let same_work = after.tasks.is_same_work(&before.tasks);
    let mut kept_work = false;
    if same_work {
        // Whoever sends tasks back as they were has not written them.
        after.tasks.clone_from(&before.tasks);
        if asks_for_other_work(before, &after) {
            kept_work = before.state == JobState::Running
                || !was_composed(transaction, before, site.as_ref()).await?;
            if !kept_work {
                after.tasks.0.clear();
            }
        }
    }
    let composes = after.tasks.0.is_empty();
    let mut job = fit_to_site(after, site.as_ref()).map_err(Error::Invalid)?;
    if composes {
        keep_ids(&before.tasks, &mut job.tasks);
    }
    Ok(Changed {
        job,
        site,
        kept_work,
    })
}

/// `site` is that of the job as it is now; the site before is read where it was another.
async fn was_composed(
    transaction: &DatabaseTransaction,
    before: &job::Model,
    site: Option<&site::Model>,
) -> Result<bool, Error> {
    if let Some(site) = site.filter(|site| site.id == before.site_id) {
        return Ok(is_composed(before, Some(site)));
    }
    let site = work::site::find(transaction, &before.branch_id, &before.site_id).await?;
    Ok(is_composed(before, site.as_ref()))
}
