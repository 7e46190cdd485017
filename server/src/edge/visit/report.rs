//! Reports of a crew, from the wire to the use case and back.

use chrono::{DateTime, Utc};
use forenoon_proto::v1;
use prost::Message;
use prost_types::Timestamp;
use tonic::{Request, Response};

use super::convert::to_wire;
use super::service::VisitApi;
use crate::edge::caller::Incoming;
use crate::edge::checks::{Checked, Checks};
use crate::work::Error;
use crate::work::visit::{Report, Step};

/// What every report says, before it is checked.
pub(super) struct Heading {
    pub(super) job: String,
    pub(super) crew: String,
    /// The field with the time, and the time.
    pub(super) at: (&'static str, Option<Timestamp>),
    pub(super) request_id: String,
}

impl VisitApi {
    /// Checks a report and does it. `step` checks what the report says beside its heading; `present` wraps the visit.
    pub(super) async fn report<Q, A>(
        &self,
        request: Request<Q>,
        method: &'static str,
        take: impl FnOnce(Q) -> Heading,
        step: impl FnOnce(&mut Checks, &str, Q) -> Option<Step>,
        present: impl Fn(Option<v1::Visit>) -> A + Send + Sync,
    ) -> Result<Response<A>, Error>
    where
        Q: Message + Clone,
        A: Message + Default,
    {
        let incoming = Incoming::take(request, method)?;
        let heading = take(incoming.message.clone());
        let mut checks = Checks::new();
        let ids = job_and_crew(&mut checks, &heading.job, &heading.crew);
        let branch = ids.as_ref().map(|ids| ids[0].clone());
        let at = when(&mut checks, heading.at.0, heading.at.1);
        let known = branch.clone().unwrap_or_default();
        let step = step(&mut checks, &known, incoming.message.clone());
        let call = incoming.call(&mut checks, branch.as_deref(), &heading.request_id);
        let parts = ids.zip(at).zip(step).zip(call);
        let ((([branch, job, crew], at), step), call) = checks.finish(parts)?;
        let command = Report {
            branch,
            job,
            crew,
            at,
            step,
        };
        self.0
            .command(&call, &command, |row| present(Some(to_wire(row.clone()))))
            .await
    }
}

/// When something happened; none for now.
pub(super) fn when(
    checks: &mut Checks,
    field: &str,
    at: Option<Timestamp>,
) -> Checked<Option<DateTime<Utc>>> {
    match at {
        Some(at) => checks.instant(field, at).map(Some),
        None => Some(None),
    }
}

/// Branch, job and crew of a report.
pub(super) fn job_and_crew(checks: &mut Checks, job: &str, crew: &str) -> Option<[String; 3]> {
    let ids = checks.name("job", ["branches", "jobs"], job);
    let known = ids
        .as_ref()
        .map(|[branch, _]| branch.clone())
        .unwrap_or_default();
    let crew = checks
        .name("crew", ["branches", "crews"], crew)
        .and_then(|_| checks.reference("crew", &known, "crews", crew))
        .flatten();
    let ([branch, job], crew) = ids.zip(crew)?;
    Some([branch, job, crew])
}
