//! What finished visits teach, kept from call to call: to learn it anew takes longer than to plan.

use std::collections::BTreeSet;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use chrono::{DateTime, NaiveDate, Utc};
use forenoon_desk::clock::DayClock;
use forenoon_desk::lessons::{Lessons, PastVisit};
use forenoon_store::entity::{outbox_event, unit, worker};
use forenoon_store::sea_orm::{
    ColumnTrait, Condition, ConnectionTrait, EntityTrait, ExprTrait, QueryFilter, QuerySelect,
};
use forenoon_trade::rates::Rates;
use hashlink::LruCache;

use super::past;
use crate::work::{Error, row};

/// Days of branches whose lessons are kept.
const KEPT_MAX: usize = 256;
/// Events that are looked through; after more, all is learned anew.
const EVENTS_MAX: u64 = 5_000;
/// Kinds of events that say nothing of past work, by how they begin.
const BESIDE: [&str; 4] = ["plan.", "tag_out.", "case.", "load."];

/// Lessons of branches and days. Clones share them.
#[derive(Clone, Debug)]
pub struct Learning(Arc<Mutex<LruCache<(String, NaiveDate), Kept>>>);

/// Lessons, and what they were drawn from.
#[derive(Clone, Debug)]
struct Kept {
    lessons: Arc<Lessons>,
    /// The branch's last event then.
    seq: i64,
    /// Resource names of the jobs and sites of past visits.
    subjects: Arc<BTreeSet<String>>,
}

impl Default for Learning {
    fn default() -> Self {
        Self(Arc::new(Mutex::new(LruCache::new(KEPT_MAX))))
    }
}

impl Learning {
    /// What a branch's visits before the day teach, as the transaction sees them: kept from an earlier call where no
    /// event since then can have changed it.
    ///
    /// # Errors
    /// Those of the database.
    pub(crate) async fn lessons(
        &self,
        transaction: &impl ConnectionTrait,
        branch: &str,
        clock: &DayClock,
    ) -> Result<Arc<Lessons>, Error> {
        let key = (branch.to_owned(), clock.day());
        let last = row::last_event(transaction, branch).await?;
        let known = self.lock().get(&key).cloned();
        let mut kept = match known {
            // Not one drawn from a state that this transaction does not see yet.
            Some(kept)
                if kept.seq <= last && !changed(transaction, branch, clock, &kept).await? =>
            {
                kept
            }
            _ => learned(transaction, branch, clock).await?,
        };
        kept.seq = last;
        let lessons = Arc::clone(&kept.lessons);
        self.lock().insert(key, kept);
        Ok(lessons)
    }

    fn lock(&self) -> MutexGuard<'_, LruCache<(String, NaiveDate), Kept>> {
        // Whoever panicked left whole entries.
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// Whether an event since then can have changed what is taught.
async fn changed(
    transaction: &impl ConnectionTrait,
    branch: &str,
    clock: &DayClock,
    kept: &Kept,
) -> Result<bool, Error> {
    let mut other = Condition::all();
    for beginning in BESIDE {
        other = other.add(outbox_event::Column::Kind.starts_with(beginning).not());
    }
    let since = outbox_event::Entity::find()
        .filter(outbox_event::Column::BranchId.eq(branch))
        .filter(outbox_event::Column::Seq.gt(kept.seq))
        .filter(other)
        .limit(EVENTS_MAX)
        .all(transaction)
        .await?;
    let begins = clock.instant(0);
    let full = u64::try_from(since.len()).unwrap_or(u64::MAX) == EVENTS_MAX;
    Ok(full || since.iter().any(|event| kept.is_changed_by(event, begins)))
}

impl Kept {
    fn is_changed_by(&self, event: &outbox_event::Model, begins: DateTime<Utc>) -> bool {
        if self.subjects.contains(&event.subject) {
            return true;
        }
        match event.kind.split_once('.').map(|(of, _)| of) {
            Some("job" | "site") => false,
            // Work of another day teaches nothing yet.
            Some("visit" | "walk") => started(event).is_some_and(|start| start < begins),
            _ => true,
        }
    }
}

/// When the work of an event about a visit began.
fn started(event: &outbox_event::Model) -> Option<DateTime<Utc>> {
    event.body.get("start_time")?.as_str()?.parse().ok()
}

async fn learned(
    transaction: &impl ConnectionTrait,
    branch: &str,
    clock: &DayClock,
) -> Result<Kept, Error> {
    let past = past::visits(transaction, branch, clock).await?;
    // Retired ones too: past work was done with them.
    let units = unit::Entity::find()
        .filter(unit::Column::BranchId.eq(branch))
        .all(transaction)
        .await?;
    let workers = worker::Entity::find()
        .filter(worker::Column::BranchId.eq(branch))
        .all(transaction)
        .await?;
    let crew_size = |crew: &str| {
        let of_crew = workers
            .iter()
            .filter(|worker| worker.crew_id.as_deref() == Some(crew));
        of_crew.count()
    };
    let lessons = Lessons::from_visits(&past, &units, crew_size, clock.zone(), &Rates::default());
    Ok(Kept {
        lessons: Arc::new(lessons),
        seq: 0,
        subjects: Arc::new(past.iter().flat_map(subjects).collect()),
    })
}

fn subjects(past: &PastVisit) -> [String; 2] {
    let branch = &past.visit.branch_id;
    [
        crate::work::job::name(branch, &past.job.id),
        crate::work::site::name(branch, &past.site.id),
    ]
}
