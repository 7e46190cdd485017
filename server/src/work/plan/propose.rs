//! Re-plans a published day from how it stands, and stores what came of it as drafts.

use std::sync::Arc;

use chrono::{DateTime, NaiveDate, Utc};
use forenoon_desk::changes::changes;
use forenoon_desk::drives::Drives;
use forenoon_desk::outcome::{Label, rows};
use forenoon_desk::problem::DayProblem;
use forenoon_desk::reasons::reasons;
use forenoon_desk::warm::warm_start;
use forenoon_desk::{DayInputs, StoredPlan};
use forenoon_store::Database;
use forenoon_store::lease::Lease;
use forenoon_store::sea_orm::DatabaseTransaction;
use forenoon_store::value::{PlanChanges, Words};

use super::day;
use super::lease::settle;
use super::make::{no_problem, verified};
use super::read::published;
use super::solve::{SearchSettings, Searches};
use super::write::{insert, next_revision, renumbered};
use crate::work::{Accepted, Command, Error, ObstacleKind};

/// What to re-plan.
#[derive(Clone, Debug)]
pub struct ReplanRequest {
    /// The branch.
    pub branch: String,
    /// Its local date.
    pub day: NaiveDate,
    /// From when on things may change; none for now.
    pub from: Option<DateTime<Utc>>,
    /// What happened, in words.
    pub cause: String,
    /// Driving times that go before the branch's travel rule.
    pub drives: Drives,
    /// How to search.
    pub settings: SearchSettings,
    /// Who asks.
    pub actor: String,
}

/// Searches for ways to go on with a day. Stores nothing.
///
/// # Errors
/// Obstacles where the day has no published plan or no crew goes out.
pub async fn propose(
    database: &Database,
    searches: &Searches,
    now: DateTime<Utc>,
    request: &ReplanRequest,
) -> Result<Vec<StoredPlan>, Error> {
    let inputs = gather(database, now, request).await?;
    let Some((base, _)) = &inputs.base else {
        return Err(Error::Internal("a re-plan without its base".to_owned()));
    };
    let day = DayProblem::new(&inputs).map_err(|error| no_problem(&request.branch, error))?;
    let day = Arc::new(day);
    let warm = warm_start(&day, base);
    let solved = searches
        .run(Arc::clone(&day), request.settings, Some(warm))
        .await?;
    verified(&day, &solved.plan)?;
    let label = Label {
        day_revision: 0,
        created_by: request.actor.clone(),
        now,
        seed: request.settings.seed,
        iterations: i64::try_from(solved.iterations).unwrap_or(i64::MAX),
        cause: request.cause.clone(),
    };
    let mut stored = rows(
        &inputs,
        &day,
        &solved.plan,
        reasons(&inputs, &day, &solved.plan),
        &label,
    );
    let changes = changes(&inputs, base, &stored);
    stored.plan.changes = PlanChanges(changes.list);
    stored.plan.sites_to_phone = Words(changes.sites_to_phone);
    Ok(vec![stored])
}

async fn gather(
    database: &Database,
    now: DateTime<Utc>,
    request: &ReplanRequest,
) -> Result<DayInputs, Error> {
    let transaction = database.begin_read().await?;
    let base = published(&transaction, &request.branch, request.day)
        .await?
        .ok_or_else(|| {
            Error::obstacle(
                ObstacleKind::NoPublishedPlan,
                format!("branches/{}", request.branch),
                format!(
                    "nothing is published for {}; plan the day and publish it",
                    request.day
                ),
            )
        })?;
    let from = request.from.unwrap_or(now);
    let mut inputs = day::inputs(
        &transaction,
        &request.branch,
        request.day,
        Some((base, from)),
    )
    .await?;
    transaction.commit().await?;
    inputs.drives.clone_from(&request.drives);
    Ok(inputs)
}

/// Stores proposals as drafts with the day's next revisions.
pub struct StoreProposals {
    /// The proposals, the one that costs least first.
    pub proposals: Vec<StoredPlan>,
    /// The lease under which they were made.
    pub lease: Lease,
}

impl Command for StoreProposals {
    type Answer = Vec<StoredPlan>;

    async fn run(
        &self,
        transaction: &DatabaseTransaction,
        now: DateTime<Utc>,
    ) -> Result<Accepted<Vec<StoredPlan>>, Error> {
        settle(transaction, &self.lease).await?;
        let mut answer = Vec::with_capacity(self.proposals.len());
        let mut changes = Vec::with_capacity(self.proposals.len());
        for proposal in &self.proposals {
            let plan = &proposal.plan;
            let revision = next_revision(transaction, &plan.branch_id, plan.day).await?;
            let stored = renumbered(proposal.clone(), revision, now);
            changes.push(insert(transaction, &stored).await?);
            answer.push(stored);
        }
        Ok(Accepted { answer, changes })
    }
}
