//! Bad input is refused with a code, the path of each field at fault and a reason, and writes nothing.
//!
//! Each table puts one fault at a time into a message that is sound; at the end the sound one is taken, so
//! that no case passes for another reason than its own.

mod branches;
mod crews;
mod imports;
mod jobs;
mod plans;
mod retries;
mod sites;
mod tag_outs;
mod units;
mod weather;

use forenoon_tests::actors::Api;
use forenoon_tests::contents::Contents;
use forenoon_tests::database::Database;
use forenoon_tests::refusal::refused;
use forenoon_tests::server::Server;
use forenoon_tests::small_branch::{BRANCH, BRANCH_ID, branch, records};
use tonic::{Code, Response, Status};

/// One fault put into a sound message.
struct Case<M> {
    what: &'static str,
    fault: fn(&mut M),
    /// Path and reason of every field blamed.
    blamed: &'static [(&'static str, &'static str)],
}

impl<M> Case<M> {
    const fn new(
        what: &'static str,
        blamed: &'static [(&'static str, &'static str)],
        fault: fn(&mut M),
    ) -> Self {
        Self {
            what,
            fault,
            blamed,
        }
    }
}

/// A server with the small branch.
async fn small_branch(database: &Database) -> (Server, Api) {
    let server = Server::start(database).await;
    let api = Api::of(&server);
    api.create_branch(BRANCH_ID, branch()).await;
    api.create_all(BRANCH, records()).await;
    (server, api)
}

/// Sends the sound message with each fault, and at last as it is.
async fn check<M: Clone, A: std::fmt::Debug>(
    api: &Api,
    sound: &M,
    cases: &[Case<M>],
    send: impl AsyncFn(M) -> Result<Response<A>, Status>,
) {
    let before = Contents::of(api, BRANCH).await;
    for case in cases {
        let mut message = sound.clone();
        (case.fault)(&mut message);
        let refusal = refused(send(message).await, case.what);
        assert_eq!(
            refusal.code,
            Code::InvalidArgument,
            "{}: {refusal:?}",
            case.what
        );
        let blamed: Vec<_> = refusal
            .faults
            .iter()
            .map(|fault| (fault.field.as_str(), fault.reason.as_str()))
            .collect();
        assert_eq!(blamed, case.blamed, "{}: {refusal:?}", case.what);
        for fault in &refusal.faults {
            assert!(!fault.description.is_empty(), "{}: {fault:?}", case.what);
        }
        assert_eq!(
            Contents::of(api, BRANCH).await,
            before,
            "{} wrote",
            case.what
        );
    }
    let accepted = send(sound.clone()).await;
    assert!(
        accepted.is_ok(),
        "the sound message is refused: {accepted:?}"
    );
}
