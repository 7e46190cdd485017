//! Jobs, between wire and domain.

use chrono::DateTime;
use chrono_tz::Tz;
use forenoon_desk::compose::TASKS_MAX;
use forenoon_proto::v1;
use forenoon_store::entity::{branch, job};
use forenoon_store::value::{JobState, Tasks, UnitSystem, VisitWindows, Words};

use crate::edge::checks::Checks;
use crate::edge::mask::{Mask, updatable};
use crate::edge::{etag, money, time};
use crate::work::{self, Error};

use super::{part, window, word};

/// The most areas a site has.
const AREAS_MAX: usize = 200;
/// The most skills of a job.
const SKILLS_MAX: usize = 50;
/// The priority of a job where nobody says: the middle.
const PRIORITY_USUAL: i32 = 3;

updatable!(v1::Job {
    display_name, site, tasks, area_ids, condition, windows, priority, deadline, deadline_source,
    promise, skills, price, note,
} fixed {
    name, state, cancel_reason, etag, create_time, update_time, tasks_composed,
});

/// The fields an update can name, and those it cannot.
pub(super) fn mask_fields() -> (&'static [&'static str], &'static [&'static str]) {
    (UPDATABLE, FIXED)
}

/// The job as an update makes it: the fields the mask names, over the job as it is.
pub(super) fn edited(
    before: &job::Model,
    branch: &branch::Model,
    change: v1::Job,
    mask: &Mask,
) -> Result<job::Model, Error> {
    // SI goes out and comes in without a change, whatever the branch's units of measure.
    let si = branch::Model {
        unit_system: UnitSystem::Si,
        ..branch.clone()
    };
    let mut merged = to_wire(before.clone(), &si);
    overlay(&mut merged, change, mask);
    let mut checks = Checks::new();
    let row = checks.within("job", |checks| {
        from_wire(checks, branch, before.id.clone(), merged)
    });
    let mut row = checks.finish(row)?;
    row.state = before.state;
    row.cancel_reason.clone_from(&before.cancel_reason);
    Ok(row)
}

/// A row as the wire has it.
pub(super) fn to_wire(row: job::Model, branch: &branch::Model) -> v1::Job {
    let etag = etag::of(&row);
    let job::Model {
        branch_id,
        id,
        display_name,
        site_id,
        tasks,
        area_ids,
        condition,
        windows,
        first_day: _,
        last_day: _,
        priority,
        deadline,
        deadline_source,
        promise,
        skills,
        price_minor,
        note,
        state,
        cancel_reason,
        revision: _,
        create_time,
        update_time,
    } = row;
    // A zone is checked before it is stored.
    let zone: Tz = branch.time_zone.parse().unwrap_or(Tz::UTC);
    let windows = windows.0.into_iter();
    v1::Job {
        name: work::job::name(&branch_id, &id),
        display_name,
        site: work::site::name(&branch_id, &site_id),
        tasks_composed: tasks.are_composed(),
        tasks: tasks.0.into_iter().map(part::task_to_wire).collect(),
        area_ids: area_ids.0,
        condition: Some(part::condition_to_wire(condition, branch.unit_system)),
        windows: windows.map(window::window_to_wire).collect(),
        priority,
        deadline: deadline.map(|deadline| time::local(deadline, zone)),
        deadline_source,
        promise: promise.map(|promise| window::promise_to_wire(promise, zone)),
        skills: skills.0,
        price: price_minor.map(|minor| money::money(minor, &branch.currency_code)),
        note,
        state: word::state_to_wire(state).into(),
        cancel_reason,
        etag,
        create_time: Some(time::timestamp(create_time)),
        update_time: Some(time::timestamp(update_time)),
    }
}

/// A row from the wire; its state, revision and times are for the use case to set.
pub(crate) fn from_wire(
    checks: &mut Checks,
    branch: &branch::Model,
    id: String,
    wire: v1::Job,
) -> Option<job::Model> {
    let v1::Job {
        name: _,
        display_name,
        site,
        tasks,
        area_ids,
        condition,
        windows,
        priority,
        deadline,
        deadline_source,
        promise,
        skills,
        price,
        note,
        state: _,
        cancel_reason: _,
        etag: _,
        create_time: _,
        update_time: _,
        tasks_composed: _,
    } = wire;
    let display_name = checks.line("display_name", display_name, 1..=200);
    let site_id = checks.reference("site", &branch.id, "sites", &site);
    let site_id = site_id.and_then(|site| checks.required("site", site));
    checks.distinct("tasks", "task_id", tasks.iter().map(|task| &task.task_id));
    let tasks = checks.each("tasks", tasks, TASKS_MAX, part::task_from_wire);
    checks.distinct("area_ids", "", &area_ids);
    let area_ids = checks.each("area_ids", area_ids, AREAS_MAX, |checks, id| {
        checks.new_id("", id)
    });
    let condition = checks.within("condition", |checks| {
        part::condition_from_wire(checks, condition.unwrap_or_default())
    });
    let windows = window::windows_from_wire(checks, "windows", windows);
    let priority = if priority == 0 {
        PRIORITY_USUAL
    } else {
        priority
    };
    let priority = checks.whole("priority", priority, 1..=5);
    let zone: Option<Tz> = branch.time_zone.parse().ok();
    let deadline = match deadline {
        None => Some(None),
        Some(deadline) => zone
            .and_then(|zone| checks.local_time("deadline", deadline, zone))
            .map(Some),
    };
    let deadline_source = checks.line("deadline_source", deadline_source, 0..=200);
    let promise = match promise {
        None => Some(None),
        Some(promise) => checks.within("promise", |checks| {
            window::promise_from_wire(checks, promise, zone?, windows.as_deref()).map(Some)
        }),
    };
    let skills = checks.labels("skills", skills, SKILLS_MAX);
    let price = checks.money("price", price, &branch.currency_code);
    let note = checks.text("note", note, 0..=2_000);
    let windows = windows?;
    Some(job::Model {
        branch_id: branch.id.clone(),
        id,
        display_name: display_name?,
        site_id: site_id?,
        tasks: Tasks(tasks?),
        area_ids: Words(area_ids?),
        condition: condition?,
        first_day: windows.iter().map(|window| window.first_day).min()?,
        last_day: windows.iter().map(|window| window.last_day).max()?,
        windows: VisitWindows(windows),
        priority: priority?,
        deadline: deadline?,
        deadline_source: deadline_source?,
        promise: promise?,
        skills: Words(skills?),
        price_minor: price?,
        note: note?,
        state: JobState::Open,
        cancel_reason: String::new(),
        revision: 0,
        create_time: DateTime::UNIX_EPOCH,
        update_time: DateTime::UNIX_EPOCH,
    })
}
