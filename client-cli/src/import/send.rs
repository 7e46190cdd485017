//! Records to the server: first only checked, then stored as one.

use forenoon_proto::v1::{ImportRecord, ImportRecordsRequest, ImportRecordsResponse};

use super::fault::{Fault, Place};
use super::origin::Origins;
use crate::connect::Link;
use crate::failure::Failure;
use crate::names::request_id;

/// What the server said to records it only checked.
#[derive(Debug)]
pub struct Checked {
    /// The server's answer.
    pub answer: ImportRecordsResponse,
    /// What is wrong, where it was written.
    pub faults: Vec<Fault>,
}

/// Has the server check records. Nothing is stored.
///
/// # Errors
/// What the server answers, or that it cannot be reached.
pub async fn check(
    link: &Link,
    branch: &str,
    records: &[ImportRecord],
    origins: &[Origins],
) -> Result<Checked, Failure> {
    let answer = import(link, branch, records.to_vec(), true).await?;
    let faults = answer
        .faults
        .iter()
        .map(|fault| {
            let origin = usize::try_from(fault.record_index)
                .ok()
                .and_then(|index| origins.get(index));
            match origin {
                Some(origin) => origin.fault(&fault.field, &fault.description),
                None => Fault::new(Place::file(&"the import".into()), fault.description.clone()),
            }
        })
        .collect();
    Ok(Checked { answer, faults })
}

/// Has the server store records, all or none.
///
/// # Errors
/// What the server answers, or that it cannot be reached.
pub async fn store(
    link: &Link,
    branch: &str,
    records: Vec<ImportRecord>,
) -> Result<ImportRecordsResponse, Failure> {
    import(link, branch, records, false).await
}

async fn import(
    link: &Link,
    branch: &str,
    records: Vec<ImportRecord>,
    validate_only: bool,
) -> Result<ImportRecordsResponse, Failure> {
    link.import_records(ImportRecordsRequest {
        parent: branch.to_owned(),
        records,
        validate_only,
        request_id: request_id(),
    })
    .await
}
