//! Drafts that cannot be published any more: their documents go, and what they were made of stays told by their rows.

use std::time::Duration;

use chrono::{DateTime, Days, NaiveDate, Utc};
use forenoon_store::Database;
use forenoon_store::entity::{plan, plan_draft};
use forenoon_store::sea_orm::sea_query::{Expr, ExprTrait as _, Query};
use forenoon_store::sea_orm::{
    ColumnTrait, ConnectionTrait, DatabaseTransaction, EntityTrait, QueryFilter, QueryOrder,
    QuerySelect,
};
use forenoon_store::value::PlanState;
use tokio_util::sync::CancellationToken;
use tracing::{debug, warn};

use super::write::move_to;
use crate::work::steady::Steady;
use crate::work::{Accepted, Call, Change, Clock, Command, Error, branch as branches, run_command};

/// Drafts thrown away in one transaction: a day that was planned again and again has hundreds.
const AT_ONCE_MAX: usize = 100;
/// A day's plan may be gone on with in the night after it, in whatever zone.
const OVER_AFTER: Days = Days::new(2);
/// How often drafts of days that are over are looked for.
const INTERVAL: Duration = Duration::from_hours(1);

/// Throws the day's other drafts away when one is published: none of them knows of it, so that none can be published after
/// it.
///
/// # Errors
/// Those of the database.
pub(super) async fn throw_others_away(
    transaction: &DatabaseTransaction,
    published: &plan::Model,
    now: DateTime<Utc>,
) -> Result<Vec<Change>, Error> {
    let others = plan::Entity::find()
        .filter(plan::Column::BranchId.eq(published.branch_id.as_str()))
        .filter(plan::Column::Day.eq(published.day))
        .filter(plan::Column::State.eq(PlanState::Draft))
        .filter(plan::Column::Id.ne(published.id.as_str()))
        .order_by_desc(plan::Column::DayRevision)
        .limit(AT_ONCE_MAX as u64)
        .all(transaction)
        .await?;
    throw_away(transaction, others, now).await
}

/// Throws drafts of one branch away, with their documents.
///
/// # Errors
/// Those of the database.
pub(super) async fn throw_away(
    transaction: &DatabaseTransaction,
    drafts: Vec<plan::Model>,
    now: DateTime<Utc>,
) -> Result<Vec<Change>, Error> {
    let Some(first) = drafts.first() else {
        return Ok(Vec::new());
    };
    // The database lets go of the document of a draft only, so that goes first.
    plan_draft::Entity::delete_many()
        .filter(plan_draft::Column::BranchId.eq(first.branch_id.as_str()))
        .filter(plan_draft::Column::PlanId.is_in(drafts.iter().map(|draft| draft.id.as_str())))
        .exec(transaction)
        .await?;
    let mut changes = Vec::with_capacity(drafts.len());
    for draft in drafts {
        let (_, change) = move_to(transaction, &draft, PlanState::Discarded, now).await?;
        changes.push(change);
    }
    Ok(changes)
}

/// Throws drafts of days that are over away every hour, until the server goes down.
pub async fn throw_old_drafts_away(
    database: Database,
    clock: &dyn Clock,
    going_down: CancellationToken,
) {
    let mut steady = Steady::from(clock.now());
    while going_down
        .run_until_cancelled(tokio::time::sleep(INTERVAL))
        .await
        .is_some()
    {
        let now = steady.believe(clock.now());
        match sweep(&database, now).await {
            Ok(count) => debug!(count, "threw old drafts away"),
            Err(error) => warn!(%error, "old drafts stay for now"),
        }
    }
}

/// Throws the drafts of all days away that are over by an instant, and answers with how many there were.
///
/// # Errors
/// Those of the database.
pub async fn sweep(database: &Database, now: DateTime<Utc>) -> Result<usize, Error> {
    let Some(before) = now.date_naive().checked_sub_days(OVER_AFTER) else {
        return Ok(0);
    };
    let at = move || now;
    let mut count = 0;
    for branch in branches::all_ids(database.read()).await? {
        let command = ThrowOldAway { branch, before };
        let call = Call {
            actor: "forenoon-server".to_owned(),
            branch: command.branch.clone(),
            method: "sweep",
            retry: None,
        };
        // Most branches have none, and what changes nothing need not wait for its turn to write.
        loop {
            let old = old_drafts(database.read(), &command).await?.len();
            if old == 0 {
                break;
            }
            run_command(database, &at, &call, &command, &|()| Vec::new()).await?;
            count += old;
        }
    }
    Ok(count)
}

/// Throws drafts of a branch's days before a date away, so many at a time.
struct ThrowOldAway {
    branch: String,
    before: NaiveDate,
}

impl Command for ThrowOldAway {
    type Answer = ();

    async fn run(
        &self,
        transaction: &DatabaseTransaction,
        now: DateTime<Utc>,
    ) -> Result<Accepted<()>, Error> {
        let old = old_drafts(transaction, self).await?;
        Ok(Accepted {
            answer: (),
            changes: throw_away(transaction, old, now).await?,
        })
    }
}

/// Drafts of days that are over, up to so many. They are looked for among the documents, which are few, and not among the
/// plans of years.
async fn old_drafts(
    connection: &impl ConnectionTrait,
    command: &ThrowOldAway,
) -> Result<Vec<plan::Model>, Error> {
    let of_old_draft = Query::select()
        .expr(Expr::val(1))
        .from(plan::Entity)
        .and_where(plan::Column::BranchId.eq(command.branch.as_str()))
        .and_where(
            Expr::col((plan::Entity, plan::Column::Id))
                .equals((plan_draft::Entity, plan_draft::Column::PlanId)),
        )
        .and_where(plan::Column::State.eq(PlanState::Draft))
        .and_where(plan::Column::Day.lt(command.before))
        .to_owned();
    let ids: Vec<String> = plan_draft::Entity::find()
        .select_only()
        .column(plan_draft::Column::PlanId)
        .filter(plan_draft::Column::BranchId.eq(command.branch.as_str()))
        .filter(Expr::exists(of_old_draft))
        .limit(AT_ONCE_MAX as u64)
        .into_tuple()
        .all(connection)
        .await?;
    Ok(plan::Entity::find()
        .filter(plan::Column::BranchId.eq(command.branch.as_str()))
        .filter(plan::Column::Id.is_in(ids))
        .all(connection)
        .await?)
}
