//! Walks of the site, from the wire.

use chrono::DateTime;
use forenoon_proto::v1;
use forenoon_store::value::{WalkOutcome, Walkthrough};
use tonic::{Request, Response};

use super::convert::to_wire;
use super::report::{job_and_crew, when};
use super::service::VisitApi;
use crate::edge::caller::Incoming;
use crate::edge::checks::Checks;
use crate::work::Error;
use crate::work::visit::RecordWalkthrough;

impl VisitApi {
    pub(super) async fn walk(
        &self,
        request: Request<v1::RecordWalkthroughRequest>,
    ) -> Result<Response<v1::RecordWalkthroughResponse>, Error> {
        let incoming = Incoming::take(request, "forenoon.v1.VisitService/RecordWalkthrough")?;
        let v1::RecordWalkthroughRequest {
            job,
            crew,
            walkthrough,
            request_id,
        } = incoming.message.clone();
        let mut checks = Checks::new();
        let ids = job_and_crew(&mut checks, &job, &crew);
        let walk = checks
            .required("walkthrough", walkthrough)
            .and_then(|wire| checks.within("walkthrough", |checks| from_wire(checks, wire)));
        let branch = ids.as_ref().map(|ids| ids[0].as_str());
        let call = incoming.call(&mut checks, branch, &request_id);
        let parts = ids.zip(walk).zip(call);
        let (([branch, job, crew], (walk, at)), call) = checks.finish(parts)?;
        let command = RecordWalkthrough {
            branch,
            job,
            crew,
            walk,
            at,
        };
        self.0
            .command(&call, &command, |row| v1::RecordWalkthroughResponse {
                visit: Some(to_wire(row.clone())),
            })
            .await
    }
}

/// A walk, and when it was; none for now.
fn from_wire(
    checks: &mut Checks,
    wire: v1::Walkthrough,
) -> Option<(Walkthrough, Option<DateTime<chrono::Utc>>)> {
    let v1::Walkthrough {
        before_work,
        outcome,
        walk_time,
        note,
        photos,
    } = wire;
    let outcome = checks.word("outcome", outcome, None, |word| match word {
        v1::WalkthroughOutcome::Unspecified => None,
        v1::WalkthroughOutcome::Met => Some(WalkOutcome::Met),
        v1::WalkthroughOutcome::NotHome => Some(WalkOutcome::NotHome),
        v1::WalkthroughOutcome::CrewOnly => Some(WalkOutcome::CrewOnly),
    });
    let at = when(checks, "walk_time", walk_time);
    let note = checks.text("note", note, 0..=2_000);
    let photos = checks.photos("photos", photos);
    let walk = Walkthrough {
        before_work,
        outcome: outcome?,
        walk_time: DateTime::UNIX_EPOCH,
        note: note?,
        photos: photos?,
    };
    Some((walk, at?))
}
