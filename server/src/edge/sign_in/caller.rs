//! The caller of the call that this task answers.
//!
//! It is known to the task, and not handed from function to function, so that no handler can forget to ask: every
//! resource name that a request is about is read by [`Checks::name`], which asks here.

use std::future::pending;
use std::sync::Arc;

use tokio::task_local;

use super::access::{Access, access_to_create};
use crate::edge::checks::Checks;
use crate::work::sign_in::{Caller, Keys, Secret};
use crate::work::{Error, Reason};

task_local! {
    static CALLER: Signed;
}

/// A caller with what they signed in by.
#[derive(Clone)]
pub(super) struct Signed {
    pub(super) caller: Arc<Caller>,
    pub(super) keys: Keys,
    pub(super) secret: Secret,
    /// Who may make the call.
    pub(super) access: Access,
}

impl Signed {
    /// Does work as this caller's.
    pub(super) async fn within<F: Future>(self, work: F) -> F::Output {
        CALLER.scope(self, work).await
    }
}

/// Asks about the caller; none where no keys are asked for.
fn caller<T>(ask: impl FnOnce(&Caller) -> T) -> Option<T> {
    CALLER.try_with(|signed| ask(&signed.caller)).ok()
}

/// The refusal where a branch is not the caller's; none where it is.
pub(crate) fn refuse(branch: &str) -> Option<Error> {
    let is_good = caller(|caller| caller.is_good_for(branch)).unwrap_or(true);
    (!is_good).then(|| Error::NotPermitted {
        action: format!("the key is not good for branch {branch}"),
    })
}

/// The only branch that the caller may see; none where it is every branch.
pub(crate) fn only_branch() -> Option<String> {
    caller(|caller| caller.branch.clone()).flatten()
}

/// The refusal where the caller may not write a kind of record, as `Unit`; none where they may.
pub(crate) fn refuse_to_write(kind: &str) -> Option<Error> {
    let may = caller(|caller| access_to_create(kind).lets(caller)).unwrap_or(true);
    (!may).then(|| Error::NotPermitted {
        action: format!(
            "the key is not good for bringing in a {}",
            kind.to_lowercase()
        ),
    })
}

/// The worker of a branch who answers for something, by id. Where a worker's key is given, it must be their own.
pub(crate) fn signer(checks: &mut Checks, field: &str, branch: &str, name: &str) -> Option<String> {
    let worker = checks
        .name(field, ["branches", "workers"], name)
        .and_then(|_| checks.reference(field, branch, "workers", name))
        .flatten()?;
    let own = caller(|caller| caller.worker.as_ref().is_none_or(|own| *own == worker));
    if own == Some(false) {
        return checks.fault(
            field,
            Reason::Conflict,
            "is not the worker whose key this is",
        );
    }
    Some(worker)
}

/// Waits until the caller's key is good no longer for the call that they made; without end where no keys are asked for.
pub(crate) fn gone() -> impl Future<Output = ()> + Send + 'static {
    let signed = CALLER.try_with(Clone::clone).ok();
    async move {
        match signed {
            Some(signed) => {
                let lets = |caller: &Caller| signed.access.lets(caller);
                signed.keys.ended(&signed.secret, lets).await;
            }
            None => pending().await,
        }
    }
}
