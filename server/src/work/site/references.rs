//! What ties a site to jobs.

use std::collections::HashSet;

use forenoon_store::entity::{job, site};
use forenoon_store::sea_orm::{
    ColumnTrait, DatabaseTransaction, EntityTrait, QueryFilter, QueryOrder,
};
use forenoon_store::value::JobState;

use crate::work::{Error, Obstacle, ObstacleKind};

/// The jobs still to be done that work on areas which `after` no longer has.
///
/// # Errors
/// Those of the database.
pub async fn jobs_on_lost_areas(
    transaction: &DatabaseTransaction,
    before: &site::Model,
    after: &site::Model,
) -> Result<Vec<Obstacle>, Error> {
    let kept: HashSet<&str> = ids(after).collect();
    let lost: HashSet<&str> = ids(before).filter(|id| !kept.contains(id)).collect();
    if lost.is_empty() {
        return Ok(Vec::new());
    }
    let jobs = job::Entity::find()
        .filter(job::Column::BranchId.eq(before.branch_id.as_str()))
        .filter(job::Column::SiteId.eq(before.id.as_str()))
        .filter(job::Column::State.is_in([JobState::Open, JobState::Running]))
        .order_by_asc(job::Column::Id)
        .all(transaction)
        .await?;
    Ok(jobs
        .iter()
        .filter_map(|job| {
            let area = worked_areas(job).find(|area| lost.contains(area))?;
            Some(Obstacle {
                kind: ObstacleKind::AreaInUse,
                subject: format!("branches/{}/jobs/{}", job.branch_id, job.id),
                description: format!("works on area {area}; change or cancel the job first"),
            })
        })
        .collect())
}

fn ids(site: &site::Model) -> impl Iterator<Item = &str> {
    site.areas.0.iter().map(|area| area.area_id.as_str())
}

fn worked_areas(job: &job::Model) -> impl Iterator<Item = &str> {
    let named = job.area_ids.0.iter().map(String::as_str);
    let tasks = job.tasks.0.iter();
    named.chain(tasks.filter_map(|task| task.area_id.as_deref()))
}
