//! What a report of the end says about tasks and units must be of the job and the branch.

use forenoon_store::entity::{job, unit};
use forenoon_store::sea_orm::{
    ColumnTrait, DatabaseTransaction, EntityTrait, QueryFilter, QuerySelect,
};
use forenoon_store::value::TaskActual;

use crate::work::{Error, Reason, Violation};

/// Refuses tasks that the job does not have and units that the branch does not have.
pub(super) async fn refuse_unknown(
    transaction: &DatabaseTransaction,
    job: &job::Model,
    actuals: &[TaskActual],
) -> Result<(), Error> {
    let named: Vec<String> = actuals
        .iter()
        .flat_map(|actual| actual.unit_ids.clone())
        .collect();
    let known: Vec<String> = unit::Entity::find()
        .filter(unit::Column::BranchId.eq(job.branch_id.as_str()))
        .filter(unit::Column::Id.is_in(named))
        .select_only()
        .column(unit::Column::Id)
        .into_tuple()
        .all(transaction)
        .await?;
    let mut faults = Vec::new();
    for (ix, actual) in actuals.iter().enumerate() {
        let mut fault = |field: String, what: &str| {
            faults.push(Violation {
                field: format!("task_actuals[{ix}].{field}"),
                reason: Reason::UnknownReference,
                description: format!("names no {what}"),
            });
        };
        if !job
            .tasks
            .0
            .iter()
            .any(|task| task.task_id == actual.task_id)
        {
            fault("task_id".to_owned(), "task of the job");
        }
        for (position, id) in actual.unit_ids.iter().enumerate() {
            if !known.contains(id) {
                fault(format!("units[{position}]"), "unit of the branch");
            }
        }
    }
    if faults.is_empty() {
        Ok(())
    } else {
        Err(Error::Invalid(faults))
    }
}
