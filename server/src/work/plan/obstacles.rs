//! What keeps a draft from being published.

use std::collections::{BTreeSet, HashSet};

use forenoon_desk::StoredPlan;
use forenoon_store::entity::{crew, plan, site, tag_out, unit};
use forenoon_store::sea_orm::{
    ColumnTrait, DatabaseTransaction, EntityTrait, QueryFilter, QuerySelect,
};
use forenoon_store::value::{JobState, PlanState, Severity, TagOutState};

use super::{day, name};
use crate::work::tag_out::misuses;
use crate::work::{self, Error, Obstacle, ObstacleKind};

/// Everything that keeps the draft from being published, at once. `present` is the day's published plan.
pub(super) async fn obstacles(
    transaction: &DatabaseTransaction,
    stored: &StoredPlan,
    present: Option<&plan::Model>,
) -> Result<Vec<Obstacle>, Error> {
    let draft = &stored.plan;
    let subject = name(&draft.branch_id, &draft.id);
    if draft.state != PlanState::Draft {
        return Ok(vec![Obstacle {
            kind: ObstacleKind::NotADraft,
            subject,
            description: "only a draft can be published; plan the day again".to_owned(),
        }]);
    }
    let mut found = Vec::new();
    let present = present.map(|row| row.id.clone());
    if draft.base_plan_id.is_some() && draft.base_plan_id != present {
        found.push(Obstacle {
            kind: ObstacleKind::BaseReplaced,
            subject: present.map_or_else(|| subject.clone(), |id| name(&draft.branch_id, &id)),
            description: "the day has another published plan than the one this was made from; re-plan from it"
                .to_owned(),
        });
    }
    found.extend(tagged(transaction, stored).await?);
    found.extend(misuses(transaction, &draft.branch_id, &stored.parts.stops).await?);
    found.extend(called_off_or_gone(transaction, stored).await?);
    Ok(found)
}

/// Units of the draft that are tagged out. Stops that are over may have used them; load-outs may not have them.
async fn tagged(
    transaction: &DatabaseTransaction,
    stored: &StoredPlan,
) -> Result<Vec<Obstacle>, Error> {
    let tags = tag_out::Entity::find()
        .filter(tag_out::Column::BranchId.eq(stored.plan.branch_id.as_str()))
        .filter(tag_out::Column::State.ne(TagOutState::Released))
        .filter(tag_out::Column::Severity.eq(Severity::Unsafe))
        .all(transaction)
        .await?;
    Ok(tags
        .into_iter()
        .filter(|tag| {
            stored
                .parts
                .load_outs
                .iter()
                .any(|row| row.unit_id == tag.unit_id)
        })
        .map(|tag| Obstacle {
            kind: ObstacleKind::UnitTaggedOut,
            subject: work::unit::name(&tag.branch_id, &tag.unit_id),
            description: format!(
                "it is tagged out by {} since the plan was made; plan again",
                tag.id
            ),
        })
        .collect())
}

/// Jobs of the draft's stops that were called off since it was made, and what it names that is no longer there: nothing
/// holds a job or a unit for the sake of a draft.
async fn called_off_or_gone(
    transaction: &DatabaseTransaction,
    stored: &StoredPlan,
) -> Result<Vec<Obstacle>, Error> {
    let branch = stored.plan.branch_id.as_str();
    let stops = &stored.parts.stops;
    let planned: BTreeSet<&str> = stops.iter().map(|stop| stop.job_id.as_str()).collect();
    let left_out = stored.parts.unplanned.iter().map(|row| row.job_id.as_str());
    let wanted: BTreeSet<&str> = planned.iter().copied().chain(left_out).collect();
    let ids = wanted.iter().map(|id| (*id).to_owned()).collect();
    let jobs = day::jobs_by_id(transaction, branch, ids).await?;
    let called_off = jobs
        .iter()
        .filter(|job| job.state == JobState::Cancelled && planned.contains(job.id.as_str()))
        .map(|job| Obstacle {
            kind: ObstacleKind::JobCancelled,
            subject: work::job::name(branch, &job.id),
            description: "it was called off since the plan was made; plan again".to_owned(),
        });
    let mut found: Vec<Obstacle> = called_off.collect();
    let present = jobs.iter().map(|job| job.id.clone()).collect();
    found.extend(gone(branch, work::job::name, wanted, &present));
    macro_rules! look_for {
        ($module:ident among $ids:expr) => {
            let wanted: BTreeSet<&str> = $ids.collect();
            let present = $module::Entity::find()
                .filter($module::Column::BranchId.eq(branch))
                .filter($module::Column::Id.is_in(wanted.iter().copied()))
                .select_only()
                .column($module::Column::Id)
                .into_tuple()
                .all(transaction)
                .await?
                .into_iter()
                .collect();
            found.extend(gone(branch, work::$module::name, wanted, &present));
        };
    }
    look_for!(site among stops.iter().map(|stop| stop.site_id.as_str()));
    look_for!(crew among stored.parts.crew_days.iter().map(|row| row.crew_id.as_str()));
    look_for!(unit among stored.parts.load_outs.iter().map(|row| row.unit_id.as_str()));
    Ok(found)
}

/// An obstacle for each of what is wanted that is not present.
fn gone(
    branch: &str,
    name: fn(&str, &str) -> String,
    wanted: BTreeSet<&str>,
    present: &HashSet<String>,
) -> Vec<Obstacle> {
    let absent = wanted.into_iter().filter(|id| !present.contains(*id));
    absent
        .map(|id| Obstacle {
            kind: ObstacleKind::DayChanged,
            subject: name(branch, id),
            description: "is gone since the plan was made; plan again".to_owned(),
        })
        .collect()
}
