//! Units of reduced severity: they may go out, and not for everything.

use chrono::{DateTime, Utc};
use forenoon_store::entity::{plan_stop, tag_out};
use forenoon_store::sea_orm::{ColumnTrait, DatabaseTransaction, EntityTrait, QueryFilter};
use forenoon_store::value::Severity;

use super::{holds_since, open_tags};
use crate::work::{Error, Obstacle, ObstacleKind};

/// Since when the tag forbids what a stop wants its unit for: the first of its tasks that is; none where none is.
fn forbidden_since(tag: &tag_out::Model, stop: &plan_stop::Model) -> Option<DateTime<Utc>> {
    let tasks = stop.tasks.0.iter();
    tasks
        .filter(|task| task.unit_ids.contains(&tag.unit_id))
        .filter_map(|task| tag.forbids_since(task.kind))
        .min()
}

/// Whether a stop wants the tag's unit for what it must not do.
pub(super) fn forbids(tag: &tag_out::Model, stop: &plan_stop::Model) -> bool {
    forbidden_since(tag, stop).is_some()
}

/// The same for a stop that by its plan is not over when the tag forbids it.
pub(super) fn is_misuse(tag: &tag_out::Model, stop: &plan_stop::Model) -> bool {
    forbidden_since(tag, stop).is_some_and(|since| stop.finish_time > since)
}

/// Planned stops that want a limited unit for what it must not do. What was planned to be over before the tag is past.
pub(crate) async fn misuses<'s>(
    transaction: &DatabaseTransaction,
    branch: &str,
    stops: impl IntoIterator<Item = &'s plan_stop::Model>,
) -> Result<Vec<Obstacle>, Error> {
    limited(transaction, branch, stops, is_misuse, "plan again").await
}

/// The same for stops at which work begins, now or at an instant that is told afterwards, whenever it was planned to be over.
/// What had begun before the tag is told late, and happened. `advice` says what to do.
pub(crate) async fn misused_at<'s>(
    transaction: &DatabaseTransaction,
    branch: &str,
    stops: impl IntoIterator<Item = &'s plan_stop::Model>,
    begun: Option<DateTime<Utc>>,
    advice: &str,
) -> Result<Vec<Obstacle>, Error> {
    let is_limited = |tag: &tag_out::Model, stop: &plan_stop::Model| {
        forbidden_since(tag, stop).is_some_and(|since| holds_since(since, begun))
    };
    limited(transaction, branch, stops, is_limited, advice).await
}

async fn limited<'s>(
    transaction: &DatabaseTransaction,
    branch: &str,
    stops: impl IntoIterator<Item = &'s plan_stop::Model>,
    is_limited: impl Fn(&tag_out::Model, &plan_stop::Model) -> bool,
    advice: &str,
) -> Result<Vec<Obstacle>, Error> {
    let tags = tag_out::Entity::find()
        .filter(tag_out::Column::BranchId.eq(branch))
        .filter(open_tags())
        .filter(tag_out::Column::Severity.eq(Severity::Reduced))
        .all(transaction)
        .await?;
    let mut found = Vec::new();
    for stop in stops {
        for tag in tags.iter().filter(|tag| is_limited(tag, stop)) {
            found.push(Obstacle {
                kind: ObstacleKind::UnitLimited,
                subject: format!("branches/{branch}/units/{}", tag.unit_id),
                description: format!(
                    "{} forbids what job {} wants it for; {advice}",
                    tag.id, stop.job_id
                ),
            });
        }
    }
    Ok(found)
}
