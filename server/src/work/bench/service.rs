//! A mechanic has serviced a unit.

use chrono::{DateTime, Utc};
use forenoon_store::entity::{unit, unit_service, worker};
use forenoon_store::sea_orm::{
    ColumnTrait, DatabaseTransaction, EntityTrait, PaginatorTrait, QueryFilter,
};
use forenoon_store::value::Role;

use super::hours::life_at;
use crate::work::visit::moment;
use crate::work::{Accepted, Change, Command, Error, Reason, row};

/// Records a service.
pub struct RecordService {
    /// The branch.
    pub branch: String,
    /// The unit.
    pub unit: String,
    /// Who did it.
    pub mechanic: String,
    /// What was done.
    pub work: String,
    /// When; none for now.
    pub service_time: Option<DateTime<Utc>>,
}

impl Command for RecordService {
    type Answer = unit_service::Model;

    async fn run(
        &self,
        transaction: &DatabaseTransaction,
        now: DateTime<Utc>,
    ) -> Result<Accepted<unit_service::Model>, Error> {
        let subject = format!("branches/{}/units/{}", self.branch, self.unit);
        let unit = unit::Entity::find_by_id((self.branch.clone(), self.unit.clone()))
            .one(transaction)
            .await?
            .ok_or_else(|| Error::not_found(subject.clone()))?;
        let mechanic = worker::Entity::find_by_id((self.branch.clone(), self.mechanic.clone()))
            .one(transaction)
            .await?
            .ok_or_else(|| {
                Error::violation(
                    "mechanic",
                    Reason::UnknownReference,
                    "names no worker of the branch",
                )
            })?;
        if !mechanic.roles.0.contains(&Role::Mechanic) {
            return Err(Error::NotPermitted {
                action: format!("{} is no mechanic; only a mechanic services", mechanic.id),
            });
        }
        let service_time = moment(self.service_time, "service_time", now)?;
        let effective_hours = life_at(transaction, &unit, service_time).await?;
        let known = unit_service::Entity::find()
            .filter(unit_service::Column::BranchId.eq(self.branch.as_str()))
            .filter(unit_service::Column::UnitId.eq(self.unit.as_str()))
            .count(transaction)
            .await?;
        let row = unit_service::Model {
            branch_id: self.branch.clone(),
            id: format!("{}-{}", self.unit, known + 1),
            unit_id: self.unit.clone(),
            mechanic_id: mechanic.id,
            work: self.work.clone(),
            effective_hours,
            service_time,
            create_time: now,
        };
        row::insert(transaction, &row).await?;
        let change = Change::of(subject, "unit.serviced", None, Some(&row))?;
        Ok(Accepted {
            answer: row,
            changes: vec![change],
        })
    }
}
