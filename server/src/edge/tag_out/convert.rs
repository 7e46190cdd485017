//! Tag-outs, between wire and domain.

use chrono::DateTime;
use forenoon_proto::v1;
use forenoon_store::entity::tag_out;
use forenoon_store::value::{ForbiddenEarlier, ForbiddenTasks, Severity, Symptom, TagOutState};
use forenoon_trade::tagout::is_to_be_told;

use crate::edge::checks::Checks;
use crate::edge::contact::contact;
use crate::edge::name::in_branch;
use crate::edge::{etag, task_kind, time};
use crate::work::text::DESCRIPTION_LENGTH_MAX;
use crate::work::{self, Reason};

/// What is told of whoever tagged a unit that another released, after 29 CFR 1910.147(e)(3).
const INFORM: &str = "tagged the unit, and another released it: tell them that the tag is off before they work with it again. \
    This informs and certifies nothing; your own procedure says who may take a tag off";
/// There are fewer kinds of work than this.
const KINDS_MAX: usize = 50;

/// A row as the wire has it.
pub(crate) fn to_wire(row: tag_out::Model, unit_display_name: String) -> v1::TagOut {
    let etag = etag::of(&row);
    let inform = inform(&row);
    let tag_out::Model {
        branch_id,
        id,
        number: _,
        unit_id,
        symptom,
        description,
        severity,
        forbidden_tasks,
        found_by_id,
        job_id,
        contact: who,
        state,
        diagnosis,
        expected_return_time,
        repair,
        repaired_by_id,
        inspection,
        inspected_by_id,
        released_by_id,
        release_time,
        reopens_id,
        severity_time,
        // What matters is what is forbidden now, and since when it is as bad as it is.
        forbidden_earlier: _,
        revision: _,
        create_time,
        update_time,
    } = row;
    let worker = |id: Option<String>| {
        id.map_or_else(String::new, |id| in_branch(&branch_id, "workers", &id))
    };
    v1::TagOut {
        name: work::tag_out::name(&branch_id, &id),
        unit: in_branch(&branch_id, "units", &unit_id),
        unit_display_name,
        symptom: symptom_to_wire(symptom).into(),
        description,
        severity: match severity {
            Severity::Unsafe => v1::Severity::Unsafe,
            Severity::Reduced => v1::Severity::Reduced,
        }
        .into(),
        found_by: worker(found_by_id),
        job: job_id.map_or_else(String::new, |id| in_branch(&branch_id, "jobs", &id)),
        contact: who.map(contact),
        state: state_to_wire(state).into(),
        diagnosis,
        expected_return_time: expected_return_time.map(time::timestamp),
        repair,
        repaired_by: worker(repaired_by_id),
        inspection,
        inspected_by: worker(inspected_by_id),
        released_by: worker(released_by_id),
        etag,
        create_time: Some(time::timestamp(create_time)),
        update_time: Some(time::timestamp(update_time)),
        release_time: release_time.map(time::timestamp),
        forbidden_tasks: forbidden_tasks
            .0
            .into_iter()
            .map(|kind| task_kind::to_wire(kind).into())
            .collect(),
        reopens: reopens_id.map_or_else(String::new, |id| work::tag_out::name(&branch_id, &id)),
        severity_time: severity_time.map(time::timestamp),
        inform,
    }
}

/// Whom to inform of a release.
fn inform(row: &tag_out::Model) -> Option<v1::Inform> {
    let applied_by = row.found_by_id.as_deref();
    let who = applied_by.map_or_else(String::new, |id| in_branch(&row.branch_id, "workers", id));
    is_to_be_told(applied_by, row.released_by_id.as_deref()).then(|| v1::Inform {
        contact: row.contact.clone().filter(|_| who.is_empty()).map(contact),
        worker: who,
        text: INFORM.to_owned(),
    })
}

/// A new tag; number, state and times are for the use case to set.
pub(super) fn from_wire(
    checks: &mut Checks,
    branch: &str,
    wire: v1::TagOut,
) -> Option<tag_out::Model> {
    let v1::TagOut {
        name: _,
        unit,
        unit_display_name: _,
        symptom,
        description,
        severity,
        found_by,
        job,
        contact,
        state: _,
        diagnosis: _,
        expected_return_time: _,
        repair: _,
        repaired_by: _,
        inspection: _,
        inspected_by: _,
        released_by: _,
        etag: _,
        create_time: _,
        update_time: _,
        release_time: _,
        forbidden_tasks,
        reopens: _,
        severity_time: _,
        inform: _,
    } = wire;
    let unit = checks
        .name("unit", ["branches", "units"], &unit)
        .map(|_| unit);
    let unit = unit.and_then(|unit| checks.reference("unit", branch, "units", &unit));
    let symptom = checks.word("symptom", symptom, None, symptom_from_wire);
    let least = usize::from(symptom == Some(Symptom::Other));
    let description = checks.text("description", description, least..=DESCRIPTION_LENGTH_MAX);
    let severity = checks.word("severity", severity, None, |word| match word {
        v1::Severity::Unspecified => None,
        v1::Severity::Unsafe => Some(Severity::Unsafe),
        v1::Severity::Reduced => Some(Severity::Reduced),
    });
    let forbidden_tasks = forbidden(checks, severity, forbidden_tasks);
    let found_by = checks.reference("found_by", branch, "workers", &found_by);
    let job = checks.reference("job", branch, "jobs", &job);
    let contact = checks.contact("contact", contact);
    if matches!((&found_by, &contact), (Some(None), Some(None))) {
        checks.fault::<()>(
            "contact",
            Reason::Required,
            "nobody to ask is named; say who found it, or give a contact",
        );
    }
    Some(tag_out::Model {
        branch_id: branch.to_owned(),
        id: String::new(),
        number: 0,
        unit_id: unit??,
        symptom: symptom?,
        description: description?,
        severity: severity?,
        forbidden_tasks: forbidden_tasks?,
        found_by_id: found_by?,
        job_id: job?,
        contact: contact?,
        state: TagOutState::Tagged,
        diagnosis: String::new(),
        expected_return_time: None,
        repair: String::new(),
        repaired_by_id: None,
        inspection: String::new(),
        inspected_by_id: None,
        released_by_id: None,
        release_time: None,
        reopens_id: None,
        severity_time: None,
        forbidden_earlier: ForbiddenEarlier::default(),
        revision: 0,
        create_time: DateTime::UNIX_EPOCH,
        update_time: DateTime::UNIX_EPOCH,
    })
}

/// What a unit of reduced severity must not do: something, and each kind once. An unsafe one must do nothing.
fn forbidden(
    checks: &mut Checks,
    severity: Option<Severity>,
    kinds: Vec<i32>,
) -> Option<ForbiddenTasks> {
    match severity? {
        Severity::Unsafe if kinds.is_empty() => return Some(ForbiddenTasks::default()),
        Severity::Unsafe => {
            return checks.fault(
                "forbidden_tasks",
                Reason::Conflict,
                "an unsafe unit must do nothing; leave it out, or say that it is reduced",
            );
        }
        Severity::Reduced if kinds.is_empty() => {
            return checks.fault(
                "forbidden_tasks",
                Reason::Required,
                "says nothing that a reduced unit must not do; name the kinds of work, or say that it is unsafe",
            );
        }
        Severity::Reduced => {}
    }
    let mut kinds = checks.each("forbidden_tasks", kinds, KINDS_MAX, |checks, kind| {
        checks.word("", kind, None, task_kind::from_wire)
    })?;
    let given = kinds.len();
    kinds.sort_unstable();
    kinds.dedup();
    if kinds.len() < given {
        return checks.fault(
            "forbidden_tasks",
            Reason::Duplicate,
            "names a kind of work twice",
        );
    }
    Some(ForbiddenTasks(kinds))
}

const fn symptom_to_wire(symptom: Symptom) -> v1::Symptom {
    match symptom {
        Symptom::NoStart => v1::Symptom::NoStart,
        Symptom::PowerLoss => v1::Symptom::PowerLoss,
        Symptom::Vibration => v1::Symptom::Vibration,
        Symptom::Leak => v1::Symptom::Leak,
        Symptom::Guard => v1::Symptom::Guard,
        Symptom::CuttingPart => v1::Symptom::CuttingPart,
        Symptom::RunningGear => v1::Symptom::RunningGear,
        Symptom::Overheating => v1::Symptom::Overheating,
        Symptom::Other => v1::Symptom::Other,
    }
}

const fn symptom_from_wire(symptom: v1::Symptom) -> Option<Symptom> {
    match symptom {
        v1::Symptom::Unspecified => None,
        v1::Symptom::NoStart => Some(Symptom::NoStart),
        v1::Symptom::PowerLoss => Some(Symptom::PowerLoss),
        v1::Symptom::Vibration => Some(Symptom::Vibration),
        v1::Symptom::Leak => Some(Symptom::Leak),
        v1::Symptom::Guard => Some(Symptom::Guard),
        v1::Symptom::CuttingPart => Some(Symptom::CuttingPart),
        v1::Symptom::RunningGear => Some(Symptom::RunningGear),
        v1::Symptom::Overheating => Some(Symptom::Overheating),
        v1::Symptom::Other => Some(Symptom::Other),
    }
}

const fn state_to_wire(state: TagOutState) -> v1::TagOutState {
    match state {
        TagOutState::Tagged => v1::TagOutState::Tagged,
        TagOutState::Diagnosed => v1::TagOutState::Diagnosed,
        TagOutState::WaitingForParts => v1::TagOutState::WaitingForParts,
        TagOutState::Repaired => v1::TagOutState::Repaired,
        TagOutState::Inspected => v1::TagOutState::Inspected,
        TagOutState::Released => v1::TagOutState::Released,
    }
}
