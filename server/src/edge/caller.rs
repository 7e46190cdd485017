//! Who calls, and what makes a retry of a command recognisable.

use prost::Message;
use sha2::{Digest, Sha256};
use tonic::Request;
use tonic::metadata::MetadataMap;

use crate::work::{Call, Error, Reason, Retry};

use super::checks::Checks;

/// The metadata in which a caller says who asks. Where keys are asked for, it says whose key it is.
pub(crate) const ACTOR_KEY: &str = "forenoon-actor";
/// The most characters of an actor's name.
const ACTOR_LENGTH_MAX: usize = 200;
/// Who asks where nobody says.
const ACTOR_UNNAMED: &str = "unnamed";

/// Who asks.
pub(crate) fn actor(metadata: &MetadataMap) -> Result<String, Error> {
    let Some(value) = metadata.get(ACTOR_KEY) else {
        return Ok(ACTOR_UNNAMED.to_owned());
    };
    value
        .to_str()
        .ok()
        .filter(|name| !name.is_empty() && name.len() <= ACTOR_LENGTH_MAX)
        .map(str::to_owned)
        .ok_or_else(|| {
            Error::violation(
                ACTOR_KEY,
                Reason::Malformed,
                format!("the metadata must be 1 to {ACTOR_LENGTH_MAX} printable ASCII characters"),
            )
        })
}

/// A command's request with what is recorded about the call.
pub(crate) struct Incoming<M> {
    /// The message.
    pub message: M,
    actor: String,
    digest: Vec<u8>,
    method: &'static str,
}

impl<M: Message> Incoming<M> {
    /// Takes a request in. `method` is as `forenoon.v1.BranchService/CreateBranch`.
    pub(crate) fn take(request: Request<M>, method: &'static str) -> Result<Self, Error> {
        let actor = actor(request.metadata())?;
        let message = request.into_inner();
        let mut hash = Sha256::new();
        for part in [actor.as_bytes(), method.as_bytes()] {
            hash.update(part);
            hash.update([0]);
        }
        hash.update(message.encode_to_vec());
        Ok(Self {
            message,
            actor,
            digest: hash.finalize().to_vec(),
            method,
        })
    }

    /// The call, once the branch and the request id are known.
    pub(crate) fn call(
        &self,
        checks: &mut Checks,
        branch: Option<&str>,
        request_id: &str,
    ) -> Option<Call> {
        let request_id = checks.request_id(request_id)?;
        Some(Call {
            actor: self.actor.clone(),
            branch: branch?.to_owned(),
            method: self.method,
            retry: request_id.map(|request_id| Retry {
                request_id,
                fingerprint: self.digest.clone(),
            }),
        })
    }
}
