//! Publishes a draft, replacing the day's earlier published plan.

use chrono::{DateTime, Utc};
use forenoon_desk::StoredPlan;
use forenoon_store::entity::{plan, plan_load_out, tag_out};
use forenoon_store::sea_orm::{
    ColumnTrait, DatabaseTransaction, EntityTrait, QueryFilter, QuerySelect,
};
use forenoon_store::value::{JobState, PlanState, Severity, TagOutState};

use super::hand_over::hand_over;
use super::read::{get, load};
use super::split::split;
use super::write::move_to;
use super::{day, name};
use crate::work::tag_out::misuses;
use crate::work::{Accepted, Change, Command, Error, Obstacle, ObstacleKind, Seen, refuse_stale};

/// Publishes a draft.
pub struct PublishPlan {
    /// The branch.
    pub branch: String,
    /// The plan.
    pub id: String,
    /// What the caller has seen of it; none where they do not mind.
    pub seen: Option<Seen>,
}

impl Command for PublishPlan {
    type Answer = StoredPlan;

    async fn run(
        &self,
        transaction: &DatabaseTransaction,
        now: DateTime<Utc>,
    ) -> Result<Accepted<StoredPlan>, Error> {
        let draft = get(transaction, &self.branch, &self.id).await?;
        refuse_stale(self.seen, &draft, &name(&self.branch, &self.id))?;
        let changes = publish(transaction, &draft, now).await?;
        let answer = load(transaction, &self.branch, &self.id).await?;
        Ok(Accepted { answer, changes })
    }
}

/// Publishes a draft row. What was published for the day is replaced by it.
///
/// # Errors
/// Obstacles where it is no draft, a unit of it is tagged out, a job of it was called off, or the plan it was made
/// from is no longer the published one.
pub(super) async fn publish(
    transaction: &DatabaseTransaction,
    draft: &plan::Model,
    now: DateTime<Utc>,
) -> Result<Vec<Change>, Error> {
    let obstacles = obstacles(transaction, draft).await?;
    if !obstacles.is_empty() {
        return Err(Error::Obstructed(obstacles));
    }
    let mut changes = Vec::new();
    if let Some(earlier) = published_row(transaction, draft).await? {
        changes.push(
            move_to(transaction, &earlier, PlanState::Replaced, now)
                .await?
                .1,
        );
    }
    changes.extend(hand_over(transaction, draft, now).await?);
    changes.extend(split(transaction, draft, now).await?);
    changes.push(
        move_to(transaction, draft, PlanState::Published, now)
            .await?
            .1,
    );
    Ok(changes)
}

async fn published_row(
    transaction: &DatabaseTransaction,
    draft: &plan::Model,
) -> Result<Option<plan::Model>, Error> {
    Ok(plan::Entity::find()
        .filter(plan::Column::BranchId.eq(draft.branch_id.as_str()))
        .filter(plan::Column::Day.eq(draft.day))
        .filter(plan::Column::State.eq(PlanState::Published))
        .one(transaction)
        .await?)
}

/// Everything that keeps the draft from being published, at once.
async fn obstacles(
    transaction: &DatabaseTransaction,
    draft: &plan::Model,
) -> Result<Vec<Obstacle>, Error> {
    let subject = name(&draft.branch_id, &draft.id);
    if draft.state != PlanState::Draft {
        return Ok(vec![Obstacle {
            kind: ObstacleKind::NotADraft,
            subject,
            description: "only a draft can be published; plan the day again".to_owned(),
        }]);
    }
    let mut found = Vec::new();
    let present = published_row(transaction, draft).await?.map(|row| row.id);
    if draft.base_plan_id.is_some() && draft.base_plan_id != present {
        found.push(Obstacle {
            kind: ObstacleKind::BaseReplaced,
            subject: present.map_or_else(|| subject.clone(), |id| name(&draft.branch_id, &id)),
            description: "the day has another published plan than the one this was made from; re-plan from it"
                .to_owned(),
        });
    }
    found.extend(tagged(transaction, draft).await?);
    let stored = load(transaction, &draft.branch_id, &draft.id).await?;
    found.extend(misuses(transaction, &draft.branch_id, &stored.stops).await?);
    found.extend(called_off(transaction, &stored).await?);
    Ok(found)
}

/// Units of the draft that are tagged out. Stops that are over may have used them; load-outs may not have them.
async fn tagged(
    transaction: &DatabaseTransaction,
    draft: &plan::Model,
) -> Result<Vec<Obstacle>, Error> {
    let tags = tag_out::Entity::find()
        .filter(tag_out::Column::BranchId.eq(draft.branch_id.as_str()))
        .filter(tag_out::Column::State.ne(TagOutState::Released))
        .filter(tag_out::Column::Severity.eq(Severity::Unsafe))
        .all(transaction)
        .await?;
    let units: Vec<String> = tags.iter().map(|tag| tag.unit_id.clone()).collect();
    let aboard: Vec<String> = plan_load_out::Entity::find()
        .filter(plan_load_out::Column::BranchId.eq(draft.branch_id.as_str()))
        .filter(plan_load_out::Column::PlanId.eq(draft.id.as_str()))
        .filter(plan_load_out::Column::UnitId.is_in(units))
        .select_only()
        .column(plan_load_out::Column::UnitId)
        .into_tuple()
        .all(transaction)
        .await?;
    Ok(tags
        .into_iter()
        .filter(|tag| aboard.contains(&tag.unit_id))
        .map(|tag| Obstacle {
            kind: ObstacleKind::UnitTaggedOut,
            subject: format!("branches/{}/units/{}", tag.branch_id, tag.unit_id),
            description: format!(
                "it is tagged out by {} since the plan was made; plan again",
                tag.id
            ),
        })
        .collect())
}

/// Jobs of the draft that were called off since it was made.
async fn called_off(
    transaction: &DatabaseTransaction,
    stored: &StoredPlan,
) -> Result<Vec<Obstacle>, Error> {
    let jobs = day::jobs_by_id(
        transaction,
        &stored.plan.branch_id,
        stored
            .stops
            .iter()
            .map(|stop| stop.job_id.clone())
            .collect(),
    )
    .await?;
    Ok(jobs
        .into_iter()
        .filter(|job| job.state == JobState::Cancelled)
        .map(|job| Obstacle {
            kind: ObstacleKind::JobCancelled,
            subject: format!("branches/{}/jobs/{}", job.branch_id, job.id),
            description: "it was called off since the plan was made; plan again".to_owned(),
        })
        .collect())
}
