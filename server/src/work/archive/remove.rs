//! Takes out of the database what is in a file, in one transaction for each day.

use chrono::{DateTime, NaiveDate, Utc};
use forenoon_store::entity::solve_lease;
use forenoon_store::rows;
use forenoon_store::sea_orm::{
    ColumnTrait, Condition, DatabaseTransaction, EntityTrait, QueryFilter,
};
use futures::StreamExt;
use serde_json::json;

use super::Month;
use super::days::{DayRows, PARTS, WITH_PLANS};
use super::file::Filed;
use super::record::Numbers;
use super::remove_jobs::RemoveJobs;
use crate::work::plan::{plan_scope, replan_scope};
use crate::work::{Accepted, Change, Command, Error, branch as branches};

/// Takes a day out.
pub(super) struct RemoveDay<'a> {
    pub(super) month: &'a Month,
    pub(super) day: NaiveDate,
    pub(super) filed: &'a Filed,
}

impl Command for RemoveDay<'_> {
    /// Rows that went, or why none did.
    type Answer = Result<u64, String>;

    async fn run(
        &self,
        transaction: &DatabaseTransaction,
        _now: DateTime<Utc>,
    ) -> Result<Accepted<Self::Answer>, Error> {
        let stays = |reason: String| Accepted {
            answer: Err(reason),
            changes: vec![],
        };
        let day = DayRows::read(transaction, self.month, self.day).await?;
        if let Some(reason) = day.held {
            return Ok(stays(reason));
        }
        let mut count = 0;
        let plans = [("plan", day.of_plans())];
        let others = WITH_PLANS.into_iter().chain(PARTS);
        for (table, which) in plans
            .into_iter()
            .chain(others.map(|table| (table, day.with_plans())))
        {
            let all = Counted::of(transaction, self, table, which).await?;
            if all.filed < all.rows {
                return Ok(stays(format!("a row of {table} changed meanwhile")));
            }
            count += all.rows;
        }
        let branch = self.month.branch.id.as_str();
        for table in WITH_PLANS {
            rows::remove(transaction, table, branch, day.with_plans()).await?;
        }
        rows::remove(transaction, "plan", branch, day.of_plans()).await?;
        let jobs = RemoveJobs {
            transaction,
            branch,
            filed: self.filed,
        };
        count += jobs.run(&day.going).await?;
        self.forget_leases(transaction).await?;
        let Filed { name, sha256, .. } = self.filed;
        let change = Change {
            subject: branches::name(branch),
            kind: "days.archived",
            before: None,
            after: Some(json!({
                "day": self.day, "rows": count, "file": name, "sha256": sha256,
            })),
        };
        Ok(Accepted {
            answer: Ok(count),
            changes: if count > 0 { vec![change] } else { vec![] },
        })
    }
}

/// Rows, and how many of them the file has as they stand.
struct Counted {
    rows: u64,
    filed: u64,
}

impl Counted {
    async fn of(
        transaction: &DatabaseTransaction,
        removal: &RemoveDay<'_>,
        table: &str,
        which: Condition,
    ) -> Result<Self, Error> {
        let branch = removal.month.branch.id.as_str();
        let mut counted = Self { rows: 0, filed: 0 };
        let mut all = rows::rows(transaction, table, branch, Some(which)).await?;
        while let Some(row) = all.next().await {
            counted.rows += 1;
            counted.filed += u64::from(removal.filed.has(table, &row?));
        }
        Ok(counted)
    }
}

impl RemoveDay<'_> {
    async fn forget_leases(&self, transaction: &DatabaseTransaction) -> Result<(), Error> {
        solve_lease::Entity::delete_many()
            .filter(solve_lease::Column::BranchId.eq(self.month.branch.id.as_str()))
            .filter(
                solve_lease::Column::Scope.is_in([plan_scope(self.day), replan_scope(self.day)]),
            )
            .filter(solve_lease::Column::Holder.is_null())
            .exec(transaction)
            .await?;
        Ok(())
    }
}

/// Takes audit entries and events out.
pub(super) struct RemoveRecord<'a> {
    pub(super) branch: &'a str,
    pub(super) numbers: Numbers,
    pub(super) filed: &'a Filed,
}

impl Command for RemoveRecord<'_> {
    type Answer = u64;

    async fn run(
        &self,
        transaction: &DatabaseTransaction,
        _now: DateTime<Utc>,
    ) -> Result<Accepted<u64>, Error> {
        let mut count = 0;
        for table in ["audit_entry", "outbox_event"] {
            let which = self.numbers.rows();
            let mut all = rows::rows(transaction, table, self.branch, Some(which)).await?;
            while let Some(row) = all.next().await {
                if !self.filed.has(table, &row?) {
                    return Err(Error::Internal(format!(
                        "a row of {table} is not in {}, though none ever changes",
                        self.filed.name
                    )));
                }
            }
            drop(all);
            count += rows::remove(transaction, table, self.branch, self.numbers.rows()).await?;
        }
        let Filed { name, sha256, .. } = self.filed;
        let Numbers { first, end } = self.numbers;
        let change = Change {
            subject: branches::name(self.branch),
            kind: "record.archived",
            before: None,
            after: Some(json!({
                "first": first, "last": end - 1, "rows": count, "file": name, "sha256": sha256,
            })),
        };
        Ok(Accepted {
            answer: count,
            changes: vec![change],
        })
    }
}
