//! Cases, between wire and domain.

use chrono::DateTime;
use forenoon_proto::v1;
use forenoon_store::entity::site_case;
use forenoon_store::value::{CaseKind, Words};

use crate::edge::checks::Checks;
use crate::edge::name::in_branch;
use crate::edge::{etag, time};
use crate::work::{self, Reason};

/// A row as the wire has it.
pub(super) fn to_wire(row: site_case::Model) -> v1::Case {
    let etag = etag::of(&row);
    let site_case::Model {
        branch_id,
        id,
        number: _,
        kind,
        job_id,
        description,
        cause,
        photos,
        reported_by,
        hazard_id,
        return_job_id,
        closed,
        resolution,
        revision: _,
        create_time,
        update_time,
    } = row;
    v1::Case {
        name: work::case::name(&branch_id, &id),
        kind: match kind {
            CaseKind::Damage => v1::CaseKind::Damage,
            CaseKind::Callback => v1::CaseKind::Callback,
            CaseKind::Complaint => v1::CaseKind::Complaint,
        }
        .into(),
        job: in_branch(&branch_id, "jobs", &job_id),
        description,
        cause,
        photos: photos.0,
        reported_by,
        hazard_id: hazard_id.unwrap_or_default(),
        return_job: return_job_id.map_or_else(String::new, |id| in_branch(&branch_id, "jobs", &id)),
        closed,
        resolution,
        etag,
        create_time: Some(time::timestamp(create_time)),
        update_time: Some(time::timestamp(update_time)),
    }
}

/// A new case; number, outcome and times are for the use case to set.
pub(super) fn from_wire(
    checks: &mut Checks,
    branch: &str,
    wire: v1::Case,
) -> Option<site_case::Model> {
    let v1::Case {
        name: _,
        kind,
        job,
        description,
        cause,
        photos,
        reported_by,
        hazard_id: _,
        return_job: _,
        closed: _,
        resolution: _,
        etag: _,
        create_time: _,
        update_time: _,
    } = wire;
    let kind = checks.word("kind", kind, None, |word| match word {
        v1::CaseKind::Unspecified => None,
        v1::CaseKind::Damage => Some(CaseKind::Damage),
        v1::CaseKind::Callback => Some(CaseKind::Callback),
        v1::CaseKind::Complaint => Some(CaseKind::Complaint),
    });
    let job = checks
        .name("job", ["branches", "jobs"], &job)
        .and_then(|_| checks.reference("job", branch, "jobs", &job))
        .flatten();
    let description = checks.text("description", description, 1..=2_000);
    let cause = if kind == Some(CaseKind::Callback) && cause.is_empty() {
        checks.fault(
            "cause",
            Reason::Required,
            "is empty; a callback says what caused it",
        )
    } else {
        checks.text("cause", cause, 0..=500)
    };
    let photos = checks.photos("photos", photos);
    let reported_by = checks.text("reported_by", reported_by, 0..=200);
    Some(site_case::Model {
        branch_id: branch.to_owned(),
        id: String::new(),
        number: 0,
        kind: kind?,
        job_id: job?,
        description: description?,
        cause: cause?,
        photos: Words(photos?),
        reported_by: reported_by?,
        hazard_id: None,
        return_job_id: None,
        closed: false,
        resolution: String::new(),
        revision: 0,
        create_time: DateTime::UNIX_EPOCH,
        update_time: DateTime::UNIX_EPOCH,
    })
}
