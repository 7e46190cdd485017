//! What ties a worker to a crew.

use forenoon_store::entity::worker;
use forenoon_store::sea_orm::DatabaseTransaction;

use crate::work::{self, Error, Reason, Violation};

/// What is wrong with the crew the worker refers to: it must be there.
///
/// # Errors
/// Those of the database.
pub async fn check_references(
    transaction: &DatabaseTransaction,
    row: &worker::Model,
) -> Result<Vec<Violation>, Error> {
    let Some(id) = row.crew_id.as_deref() else {
        return Ok(Vec::new());
    };
    if work::crew::find(transaction, &row.branch_id, id)
        .await?
        .is_some()
    {
        return Ok(Vec::new());
    }
    Ok(vec![unknown_crew(&row.branch_id, id)])
}

/// That the crew a worker refers to is not there.
pub fn unknown_crew(branch: &str, crew: &str) -> Violation {
    Violation {
        field: "worker.crew".to_owned(),
        reason: Reason::UnknownReference,
        description: format!(
            "{} is not there; name a crew of the branch, or none",
            work::crew::name(branch, crew)
        ),
    }
}
