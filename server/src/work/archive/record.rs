//! Audit entries and events of a past time, by their numbers.
//!
//! Numbers have no gap and grow with time, so that the first one of a later time is found by halving.

use chrono::{DateTime, Utc};
use forenoon_store::entity::outbox_event;
use forenoon_store::sea_orm::sea_query::{Expr, ExprTrait as _};
use forenoon_store::sea_orm::{
    ColumnTrait, Condition, ConnectionTrait, DatabaseTransaction, EntityTrait, QueryFilter,
    QueryOrder,
};

use crate::work::Error;

/// Numbers from the first to before the end.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Numbers {
    pub(super) first: i64,
    pub(super) end: i64,
}

/// When the first event that is there was accepted.
pub(super) async fn first_time(
    connection: &impl ConnectionTrait,
    branch: &str,
) -> Result<Option<DateTime<Utc>>, Error> {
    Ok(edge(connection, branch, false).await?.map(|row| row.at))
}

async fn edge(
    connection: &impl ConnectionTrait,
    branch: &str,
    last: bool,
) -> Result<Option<outbox_event::Model>, Error> {
    let rows = outbox_event::Entity::find().filter(outbox_event::Column::BranchId.eq(branch));
    let rows = if last {
        rows.order_by_desc(outbox_event::Column::Seq)
    } else {
        rows.order_by_asc(outbox_event::Column::Seq)
    };
    Ok(rows.one(connection).await?)
}

impl Numbers {
    /// Those accepted before a moment; the branch's last stays, for it says where the numbering stands.
    pub(super) async fn before(
        transaction: &DatabaseTransaction,
        branch: &str,
        moment: DateTime<Utc>,
    ) -> Result<Option<Self>, Error> {
        let (Some(first), Some(last)) = (
            edge(transaction, branch, false).await?,
            edge(transaction, branch, true).await?,
        ) else {
            return Ok(None);
        };
        // All below `early` were before the moment; none from `late` on goes.
        let (mut early, mut late) = (first.seq, last.seq);
        while early < late {
            let middle = early + (late - early) / 2;
            let row = outbox_event::Entity::find_by_id((branch.to_owned(), middle))
                .one(transaction)
                .await?;
            // A number that is missing is an imported branch's: what comes before it stays.
            if row.is_some_and(|row| row.at < moment) {
                early = middle + 1;
            } else {
                late = middle;
            }
        }
        Ok((early > first.seq).then_some(Self {
            first: first.seq,
            end: early,
        }))
    }

    /// The rows with these numbers.
    pub(super) fn rows(self) -> Condition {
        Condition::all()
            .add(Expr::col("seq").gte(self.first))
            .add(Expr::col("seq").lt(self.end))
    }
}
