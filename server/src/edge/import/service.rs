//! The handler: check, say who calls, run the use case, convert back.

use std::collections::BTreeSet;

use forenoon_proto::v1;
use forenoon_proto::v1::import_record::Record;
use forenoon_proto::v1::import_service_server::ImportService;
use tonic::{Request, Response, Status};

use crate::edge::caller::Incoming;
use crate::edge::checks::Checks;
use crate::edge::services::State;
use crate::edge::sign_in::refuse_to_write;
use crate::edge::status::status;
use crate::work::import::{Fault, Outlook, Removed};
use crate::work::{Error, Reason};

use super::convert;

/// The most records of one import.
const RECORDS_MAX: usize = 20_000;

/// `ImportService` over its use case.
pub(crate) struct ImportApi(pub(crate) State);

#[tonic::async_trait]
impl ImportService for ImportApi {
    async fn import_records(
        &self,
        request: Request<v1::ImportRecordsRequest>,
    ) -> Result<Response<v1::ImportRecordsResponse>, Status> {
        self.import(request).await.map_err(status)
    }
}

impl ImportApi {
    async fn import(
        &self,
        request: Request<v1::ImportRecordsRequest>,
    ) -> Result<Response<v1::ImportRecordsResponse>, Error> {
        let mut incoming = Incoming::take(request, "forenoon.v1.ImportService/ImportRecords")?;
        let v1::ImportRecordsRequest {
            parent,
            records,
            validate_only,
            request_id,
        } = std::mem::take(&mut incoming.message);
        let mut checks = Checks::new();
        let parent = checks.name("parent", ["branches"], &parent).map(|[id]| id);
        let count = records.len();
        if count > RECORDS_MAX {
            let words = format!("{count} given; give {RECORDS_MAX} at most");
            checks.fault::<()>("records", Reason::TooMany, words);
        }
        // By this call nobody writes what they may not write by another.
        for kind in records.iter().filter_map(kind).collect::<BTreeSet<_>>() {
            if let Some(refused) = refuse_to_write(kind) {
                checks.refuse::<()>(refused);
            }
        }
        let call = incoming.call(&mut checks, parent.as_deref(), &request_id);
        let branch = self.0.branch(parent.as_deref()).await?;
        let (call, branch) = checks.finish(call.zip(branch))?;
        let import = convert::from_wire(&branch, records);
        if validate_only {
            let snapshot = self.0.database.begin_read().await?;
            let outlook = import.dry_run(&snapshot, self.0.clock.now()).await?;
            return Ok(Response::new(to_wire(&outlook)));
        }
        self.0.command(&call, &import, to_wire).await
    }
}

fn kind(record: &v1::ImportRecord) -> Option<&'static str> {
    record.record.as_ref().map(|record| match record {
        Record::Unit(_) => "Unit",
        Record::Crew(_) => "Crew",
        Record::Worker(_) => "Worker",
        Record::Site(_) => "Site",
        Record::Job(_) => "Job",
    })
}

fn to_wire(outlook: &Outlook) -> v1::ImportRecordsResponse {
    let Outlook {
        created,
        updated,
        removed: Removed {
            hazards,
            shifts,
            absences,
        },
        faults,
    } = outlook;
    // The request has no more records, and these no more parts, than fit.
    let count = |value: usize| i32::try_from(value).unwrap_or(i32::MAX);
    v1::ImportRecordsResponse {
        created: count(*created),
        updated: count(*updated),
        faults: faults
            .iter()
            .map(|Fault { index, violation }| v1::RecordFault {
                record_index: count(*index),
                field: violation.field.clone(),
                description: violation.description.clone(),
            })
            .collect(),
        removed_hazards: count(*hazards),
        removed_shifts: count(*shifts),
        removed_absences: count(*absences),
    }
}
