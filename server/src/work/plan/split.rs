//! A job of which a plan does a part: the rest becomes a job of its own.

use chrono::{DateTime, NaiveDate, Utc};
use forenoon_desk::split::is_first_service;
use forenoon_store::Revisioned;
use forenoon_store::entity::{job, plan};
use forenoon_store::sea_orm::{DatabaseTransaction, EntityTrait};
use forenoon_store::value::{JobState, SplitJob, VisitWindow};

use crate::work::job::follow_up::{create, week_from};
use crate::work::job::{KINDS, name};
use crate::work::text::{NAME_LENGTH_MAX, NOTE_LENGTH_MAX, cut};
use crate::work::{Change, Error, Obstacle, ObstacleKind, row};

/// Most characters of an id, as the contract has it.
const ID_LENGTH_MAX: usize = 63;

/// Splits the jobs that the draft does in part: each keeps the tasks of the plan's day, and a new job has the rest. An
/// agreed price stays with the first part; the rest is part of it.
///
/// # Errors
/// An obstacle where a job is no longer open.
pub(super) async fn split(
    transaction: &DatabaseTransaction,
    draft: &plan::Model,
    now: DateTime<Utc>,
) -> Result<Vec<Change>, Error> {
    let mut changes = Vec::new();
    let split = draft
        .proposal
        .as_ref()
        .map_or(&[][..], |facts| facts.split.as_slice());
    for parts in split {
        let key = (draft.branch_id.clone(), parts.job_id.clone());
        let subject = name(&draft.branch_id, &parts.job_id);
        let before = job::Entity::find_by_id(key)
            .one(transaction)
            .await?
            .filter(|job| job.state == JobState::Open);
        let Some(before) = before else {
            return Err(Error::Obstructed(vec![Obstacle {
                kind: ObstacleKind::DayChanged,
                subject,
                description: "the job that was to be split is no longer open; re-plan".to_owned(),
            }]));
        };
        let rest = rest(transaction, &before, parts, draft.day, now).await?;
        let mut after = before.clone();
        after
            .tasks
            .0
            .retain(|task| parts.today.contains(&task.task_id));
        after.tasks = after.tasks.written();
        after.stamp_changed(&before, now);
        row::update(transaction, &before, &after).await?;
        changes.push(Change::of(
            subject,
            KINDS.changed,
            Some(&before),
            Some(&after),
        )?);
        changes.extend(rest);
    }
    Ok(changes)
}

/// Makes the job of the rest.
async fn rest(
    transaction: &DatabaseTransaction,
    job: &job::Model,
    parts: &SplitJob,
    day: NaiveDate,
    now: DateTime<Utc>,
) -> Result<Vec<Change>, Error> {
    let mut row = job.clone();
    row.id = free_id(transaction, job).await?;
    row.display_name = cut(format!("Rest of {}", job.display_name), NAME_LENGTH_MAX);
    row.tasks
        .0
        .retain(|task| parts.later.contains(&task.task_id));
    // The customer who was promised a meeting is met with the first part.
    row.promise = None;
    row.price_minor = job.price_minor.map(|_| 0);
    row.note = cut(
        format!("What was left of job {} on {day}. {}", job.id, job.note)
            .trim_end()
            .to_owned(),
        NOTE_LENGTH_MAX,
    );
    row.condition.first_service = is_first_service(job, parts);
    // What is left was chosen, and is not to be composed anew from all the areas.
    row.tasks = row.tasks.written();
    let (_, changes) = create(transaction, row, later_windows(job, day)?, now).await?;
    Ok(changes)
}

/// The job's windows after the day; the week after it where there are none.
fn later_windows(job: &job::Model, day: NaiveDate) -> Result<Vec<VisitWindow>, Error> {
    let next = day
        .succ_opt()
        .ok_or_else(|| Error::Internal("the calendar ends".to_owned()))?;
    let later: Vec<VisitWindow> = job
        .windows
        .0
        .iter()
        .filter(|window| window.last_day >= next)
        .map(|window| VisitWindow {
            first_day: Ord::max(window.first_day, next),
            ..window.clone()
        })
        .collect();
    if later.is_empty() {
        return Ok(vec![week_from(job, next)?]);
    }
    Ok(later)
}

async fn free_id(transaction: &DatabaseTransaction, job: &job::Model) -> Result<String, Error> {
    let taken = |id: String| job::Entity::find_by_id((job.branch_id.clone(), id)).one(transaction);
    for count in 1_u32.. {
        let end = if count == 1 {
            "-rest".to_owned()
        } else {
            format!("-rest-{count}")
        };
        let begin = cut(job.id.clone(), ID_LENGTH_MAX - end.len());
        let id = format!("{begin}{end}");
        if taken(id.clone()).await?.is_none() {
            return Ok(id);
        }
    }
    Err(Error::Internal("no id is free".to_owned()))
}
