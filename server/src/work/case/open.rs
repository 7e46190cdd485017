//! Opens a case. Damage adds a hazard to the site; a callback makes a return job. What is told twice is one case.

use chrono::{DateTime, Utc};
use forenoon_store::Revisioned;
use forenoon_store::entity::{job, site, site_case};
use forenoon_store::sea_orm::{ColumnTrait, DatabaseTransaction, EntityTrait, QueryFilter};
use forenoon_store::value::{CaseKind, Hazard, JobState};

use super::name;
use super::returning::return_job;
use crate::work::photo::refuse_unknown;
use crate::work::site::{KINDS, PARTS_MAX};
use crate::work::{Accepted, Change, Command, Error, ObstacleKind, Reason, row};

/// Most characters of a hazard's description, as the contract has it.
const HAZARD_LENGTH_MAX: usize = 500;

/// Opens a case.
pub struct OpenCase {
    /// The case; its number, outcome and times are set here.
    pub case: site_case::Model,
}

impl Command for OpenCase {
    type Answer = site_case::Model;

    async fn run(
        &self,
        transaction: &DatabaseTransaction,
        now: DateTime<Utc>,
    ) -> Result<Accepted<site_case::Model>, Error> {
        let mut row = self.case.clone();
        crate::work::branch::get(transaction, &row.branch_id).await?;
        let job = job::Entity::find_by_id((row.branch_id.clone(), row.job_id.clone()))
            .one(transaction)
            .await?
            .ok_or_else(|| {
                Error::violation("case.job", Reason::UnknownReference, "names no job")
            })?;
        refuse_unknown(transaction, &row.branch_id, &row.photos.0, "case.photos").await?;
        if let Some(known) = told_before(transaction, &row).await? {
            return Ok(Accepted {
                answer: known,
                changes: vec![],
            });
        }
        row.number = next_number(transaction, &row.branch_id).await?;
        row.id = format!("c-{}", row.number);
        row.closed = false;
        row.resolution.clear();
        row.stamp_created(now);
        let mut changes = Vec::new();
        match row.kind {
            CaseKind::Damage => {
                let (hazard, change) = add_hazard(transaction, &row, &job, now).await?;
                row.hazard_id = Some(hazard);
                changes.push(change);
            }
            CaseKind::Callback => {
                refuse_unfinished(&job)?;
                let (returning, created) = return_job(transaction, &row, &job, now).await?;
                row.return_job_id = Some(returning);
                changes.extend(created);
            }
            CaseKind::Complaint => {}
        }
        row::insert(transaction, &row).await?;
        changes.push(Change::of(
            name(&row.branch_id, &row.id),
            "case.opened",
            None,
            Some(&row),
        )?);
        Ok(Accepted {
            answer: row,
            changes,
        })
    }
}

/// The open case that says all that this one does: somebody told it again, and there is one window to mend, and one return to
/// make. One that shows more than the first is a case of its own.
async fn told_before(
    transaction: &DatabaseTransaction,
    case: &site_case::Model,
) -> Result<Option<site_case::Model>, Error> {
    let alike = site_case::Entity::find()
        .filter(site_case::Column::BranchId.eq(case.branch_id.as_str()))
        .filter(site_case::Column::JobId.eq(case.job_id.as_str()))
        .filter(site_case::Column::Kind.eq(case.kind))
        .filter(site_case::Column::Closed.eq(false))
        .filter(site_case::Column::Description.eq(case.description.as_str()))
        .filter(site_case::Column::Cause.eq(case.cause.as_str()))
        .all(transaction)
        .await?;
    let shows_all = |known: &site_case::Model| {
        let mut photos = case.photos.0.iter();
        photos.all(|photo| known.photos.0.contains(photo))
    };
    let known = alike.into_iter().filter(shows_all);
    Ok(known.min_by_key(|known| known.number))
}

async fn next_number(transaction: &DatabaseTransaction, branch: &str) -> Result<i64, Error> {
    let all = site_case::Entity::find().filter(site_case::Column::BranchId.eq(branch));
    let last: Option<i64> = row::highest(transaction, all, site_case::Column::Number).await?;
    Ok(last.unwrap_or(0) + 1)
}

/// Work that was not done cannot be done again.
fn refuse_unfinished(job: &job::Model) -> Result<(), Error> {
    if job.state == JobState::Done {
        return Ok(());
    }
    Err(Error::obstacle(
        ObstacleKind::NotFinished,
        format!("branches/{}/jobs/{}", job.branch_id, job.id),
        "it is not done; a callback is for work that was done",
    ))
}

/// Adds a hazard to the site of the job, for every later sheet. Its id and the change of the site.
async fn add_hazard(
    transaction: &DatabaseTransaction,
    case: &site_case::Model,
    job: &job::Model,
    now: DateTime<Utc>,
) -> Result<(String, Change), Error> {
    let subject = format!("branches/{}/sites/{}", job.branch_id, job.site_id);
    let before = site::Entity::find_by_id((job.branch_id.clone(), job.site_id.clone()))
        .one(transaction)
        .await?
        .ok_or_else(|| Error::Internal(format!("{subject} of a job is gone")))?;
    if before.hazards.0.len() >= PARTS_MAX {
        return Err(Error::violation(
            "case.job",
            Reason::TooMany,
            format!(
                "is at {subject}, which has {PARTS_MAX} hazards already; remove some that are no more, then open the case"
            ),
        ));
    }
    let mut hazard_id = format!("damage-{}", case.number);
    while before
        .hazards
        .0
        .iter()
        .any(|known| known.hazard_id == hazard_id)
    {
        hazard_id.push('x');
    }
    let told = format!("Damaged before: {}", case.description);
    let mut after = before.clone();
    after.hazards.0.push(Hazard {
        hazard_id: hazard_id.clone(),
        description: told.chars().take(HAZARD_LENGTH_MAX).collect(),
        place: None,
        area_id: None,
    });
    after.stamp_changed(&before, now);
    row::update(transaction, &before, &after).await?;
    let change = Change::of(subject, KINDS.changed, Some(&before), Some(&after))?;
    Ok((hazard_id, change))
}
