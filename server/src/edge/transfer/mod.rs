//! `TransferService`: a whole branch as JSON lines.

use std::pin::Pin;
use std::sync::Arc;
use std::time::Duration;

use forenoon_proto::v1;
use forenoon_proto::v1::import_branch_request::Part;
use forenoon_proto::v1::transfer_service_server::TransferService;
use futures::stream::{self, Stream};
use tokio::sync::{OwnedSemaphorePermit, Semaphore};
use tonic::{Request, Response, Status, Streaming};

use crate::edge::caller::actor;
use crate::edge::checks::Checks;
use crate::edge::gathering::{Gathering, sized};
use crate::edge::services::State;
use crate::edge::status::status;
use crate::work::transfer::{ImportBranch, PART_BYTES_MAX, Spooled, export};
use crate::work::{Call, Error, Reason, Retry};

/// Transfers at a time; each holds a connection to the database, or a file.
const TRANSFERS_MAX: usize = 2;
/// The longest that the parts of a branch may take to come.
const IMPORT_MAX: Duration = Duration::from_mins(30);

/// Turns for transfers.
#[derive(Clone, Debug)]
pub struct Transfers(Arc<Semaphore>);

impl Default for Transfers {
    fn default() -> Self {
        Self(Arc::new(Semaphore::new(TRANSFERS_MAX)))
    }
}

impl Transfers {
    fn turn(&self) -> Result<OwnedSemaphorePermit, Error> {
        Arc::clone(&self.0)
            .try_acquire_owned()
            .map_err(|_| Error::TooMuch {
                limit: format!("{TRANSFERS_MAX} transfers of one server"),
            })
    }
}

/// `TransferService` over the use cases.
pub(crate) struct TransferApi {
    pub(crate) state: State,
    /// Most bytes of a branch that is brought in.
    pub(crate) import_bytes_max: u64,
}

type Parts = Pin<Box<dyn Stream<Item = Result<v1::ExportBranchResponse, Status>> + Send>>;

#[tonic::async_trait]
impl TransferService for TransferApi {
    type ExportBranchStream = Parts;

    async fn export_branch(
        &self,
        request: Request<v1::ExportBranchRequest>,
    ) -> Result<Response<Parts>, Status> {
        self.take_out(request.into_inner()).await.map_err(status)
    }

    async fn import_branch(
        &self,
        request: Request<Streaming<v1::ImportBranchRequest>>,
    ) -> Result<Response<v1::ImportBranchResponse>, Status> {
        let actor = actor(request.metadata()).map_err(status)?;
        let _turn = self.state.transfers.turn().map_err(status)?;
        let mut parts = Gathering::new(request.into_inner(), IMPORT_MAX, &self.state.going_down);
        let first = parts.next().await?.and_then(|message| message.part);
        let Some(Part::Header(header)) = first else {
            return Err(status(Error::violation(
                "header",
                Reason::Required,
                "the first part must say which branch comes",
            )));
        };
        let v1::ImportBranchHeader {
            branch_id,
            request_id,
        } = header;
        let mut checks = Checks::new();
        let id = checks.within("header", |checks| checks.new_id("branch_id", branch_id));
        let request_id = checks.within("header", |checks| checks.request_id(&request_id));
        let (id, request_id) = checks.finish(id.zip(request_id)).map_err(status)?;
        let mut spool = Spooled::begin(self.import_bytes_max).map_err(status)?;
        while let Some(message) = parts.next().await? {
            // A message without a part says nothing; it is taken as an empty chunk.
            let part = message.part.unwrap_or_else(|| Part::Chunk(Vec::new()));
            spool.add(&chunk(part).map_err(status)?).map_err(status)?;
        }
        // Reading a large file takes a while.
        let known = id.clone();
        let lines = tokio::task::spawn_blocking(move || spool.check(&known))
            .await
            .map_err(|error| status(Error::Internal(format!("reading broke off: {error}"))))?
            .map_err(status)?;
        let call = Call {
            actor,
            branch: id.clone(),
            method: "forenoon.v1.TransferService/ImportBranch",
            retry: request_id.map(|request_id| Retry {
                request_id,
                fingerprint: lines.sha256().as_bytes().to_vec(),
            }),
        };
        let name = crate::work::branch::name(&id);
        self.state
            .command(&call, &ImportBranch { id, lines }, |rows| {
                v1::ImportBranchResponse {
                    name: name.clone(),
                    rows: i64::try_from(*rows).unwrap_or(i64::MAX),
                }
            })
            .await
            .map_err(status)
    }
}

impl TransferApi {
    async fn take_out(&self, request: v1::ExportBranchRequest) -> Result<Response<Parts>, Error> {
        let v1::ExportBranchRequest { name } = request;
        let mut checks = Checks::new();
        let id = checks.name("name", ["branches"], &name).map(|[id]| id);
        let id = checks.finish(id)?;
        let turn = self.state.transfers.turn()?;
        let export = export(&self.state.database, &id, &self.state.going_down).await?;
        let parts = stream::unfold((export, turn), |(mut export, turn)| async move {
            let part = match export.next().await? {
                Ok(part) => Ok(v1::ExportBranchResponse { chunk: part.into() }),
                Err(error) => Err(status(error)),
            };
            Some((part, (export, turn)))
        });
        Ok(Response::new(Box::pin(parts)))
    }
}

fn chunk(part: Part) -> Result<Vec<u8>, Error> {
    match part {
        Part::Chunk(chunk) => sized(chunk, PART_BYTES_MAX),
        Part::Header(_) => Err(Error::violation(
            "header",
            Reason::Duplicate,
            "comes once, before the lines",
        )),
    }
}
