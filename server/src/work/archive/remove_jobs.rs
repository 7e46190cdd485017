//! Takes jobs out of the database that are in a file, with the photographs of nothing else.

use std::collections::BTreeSet;

use forenoon_store::entity::{job, photo_part, photo_subject};
use forenoon_store::rows;
use forenoon_store::sea_orm::sea_query::{Expr, ExprTrait as _};
use forenoon_store::sea_orm::{
    ColumnTrait, Condition, DatabaseTransaction, EntityTrait, PaginatorTrait, QueryFilter,
    QuerySelect,
};
use futures::StreamExt;
use serde_json::Value;

use super::days::chunks;
use super::file::{Filed, of_jobs, photos_of};
use crate::work::Error;
use crate::work::job::name;
use crate::work::photo::unneeded;

/// Takes jobs of a branch out that are in a file as they stand.
pub(super) struct RemoveJobs<'a> {
    pub(super) transaction: &'a DatabaseTransaction,
    pub(super) branch: &'a str,
    pub(super) filed: &'a Filed,
}

impl RemoveJobs<'_> {
    /// Deletes the jobs and answers with how many rows went. One that has changed since, or has a photograph that the file
    /// has not, stays whole until the next run.
    pub(super) async fn run(&self, going: &BTreeSet<String>) -> Result<u64, Error> {
        let mut count = 0;
        for ids in chunks(going) {
            let which = Condition::all().add(job::Column::Id.is_in(ids.iter().cloned()));
            let changed = self.unfiled("job", which, "id").await?;
            let mut jobs: BTreeSet<String> = ids.into_iter().collect();
            jobs.retain(|id| !changed.contains(id));
            let photographed = self.photographed_since(&jobs).await?;
            jobs.retain(|id| !photographed.contains(&name(self.branch, id)));
            count += self.remove_photos(&jobs).await?;
            let which = Condition::all().add(job::Column::Id.is_in(jobs));
            count += rows::remove(self.transaction, "job", self.branch, which).await?;
        }
        Ok(count)
    }

    /// The names of jobs of which a photograph is told that the file has not, or not as it stands.
    async fn photographed_since(&self, jobs: &BTreeSet<String>) -> Result<BTreeSet<String>, Error> {
        let ids: Vec<String> = jobs.iter().cloned().collect();
        let which = of_jobs(self.branch, &ids);
        let mut names = self
            .unfiled("photo_subject", which.clone(), "subject")
            .await?;
        for sha256s in chunks(&photos_of(self.transaction, self.branch, jobs).await?) {
            let mut late = BTreeSet::new();
            for table in ["photo", "photo_part"] {
                late.append(&mut self.unfiled(table, with(&sha256s), "sha256").await?);
            }
            if late.is_empty() {
                continue;
            }
            let of_late: Vec<String> = photo_subject::Entity::find()
                .select_only()
                .column(photo_subject::Column::Subject)
                .filter(photo_subject::Column::BranchId.eq(self.branch))
                .filter(photo_subject::Column::Sha256.is_in(late))
                .filter(which.clone())
                .into_tuple()
                .all(self.transaction)
                .await?;
            names.extend(of_late);
        }
        Ok(names)
    }

    /// Rows of a table that the file has not as they stand, by one of their columns.
    async fn unfiled(
        &self,
        table: &str,
        which: Condition,
        column: &str,
    ) -> Result<BTreeSet<String>, Error> {
        let mut found = BTreeSet::new();
        let mut all = rows::rows(self.transaction, table, self.branch, Some(which)).await?;
        while let Some(row) = all.next().await {
            let row = row?;
            if !self.filed.has(table, &row) {
                let value = row.get(column).and_then(Value::as_str).unwrap_or_default();
                found.insert(value.to_owned());
            }
        }
        Ok(found)
    }

    /// Deletes what says that photographs are of the jobs, and those that nothing else needs.
    async fn remove_photos(&self, jobs: &BTreeSet<String>) -> Result<u64, Error> {
        let photos = photos_of(self.transaction, self.branch, jobs).await?;
        if photos.is_empty() {
            return Ok(0);
        }
        let ids: Vec<String> = jobs.iter().cloned().collect();
        let which = of_jobs(self.branch, &ids);
        let mut count = rows::remove(self.transaction, "photo_subject", self.branch, which).await?;
        for sha256s in chunks(&unneeded(self.transaction, self.branch, &photos).await?) {
            // They go with their photographs.
            count += photo_part::Entity::find()
                .filter(photo_part::Column::BranchId.eq(self.branch))
                .filter(with(&sha256s))
                .count(self.transaction)
                .await?;
            count += rows::remove(self.transaction, "photo", self.branch, with(&sha256s)).await?;
        }
        Ok(count)
    }
}

/// Rows of these photographs.
fn with(sha256s: &[String]) -> Condition {
    Condition::all().add(Expr::col("sha256").is_in(sha256s.iter().cloned()))
}
