//! One search at a time for a day of a branch, among all servers on one database.
//!
//! The lease's holder shows every second that it lives. Who waits takes over once nothing has come for
//! [`LeaseLimits::silence`]. The holder's plan is stored only where its lease still stands, in the same transaction
//! (`StorePlan`), so that a server which fell asleep over a search cannot store beside the one that took over.

use std::time::Duration;

use chrono::NaiveDate;
use forenoon_store::entity::solve_lease;
use forenoon_store::lease::{Asked, Lease, beat, give_back, standing, take};
use forenoon_store::sea_orm::DatabaseTransaction;
use forenoon_store::{Database, StoreError, Write};
use tokio::time::Instant;
use tokio_util::sync::{CancellationToken, DropGuard};
use tracing::{debug, info, warn};
use uuid::Uuid;

use crate::work::Error;

/// How leases are kept and waited for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct LeaseLimits {
    /// How often a holder shows that it lives.
    pub beat: Duration,
    /// After how long without a sign a holder is taken for dead.
    pub silence: Duration,
    /// Pause between looks of one who waits: the first, and the longest it grows to.
    pub look: (Duration, Duration),
    /// Longest wait for a lease.
    pub wait_max: Duration,
}

impl Default for LeaseLimits {
    fn default() -> Self {
        Self {
            beat: Duration::from_secs(1),
            silence: Duration::from_secs(5),
            look: (Duration::from_millis(10), Duration::from_millis(200)),
            wait_max: Duration::from_mins(2),
        }
    }
}

/// The leases of one server.
#[derive(Clone, Debug)]
pub struct Leases {
    database: Database,
    limits: LeaseLimits,
    holder: String,
}

/// A lease that is held. Dropped, it is given back.
#[derive(Debug)]
pub struct Held {
    lease: Lease,
    database: Database,
    lost: CancellationToken,
    _beating: DropGuard,
}

/// What the search for a plan of a day is called among leases.
pub fn plan_scope(day: NaiveDate) -> String {
    format!("plan/{day}")
}

/// What the search for a re-plan of a day is called among leases. It does not wait for one of the whole day: somebody
/// stands beside a machine.
pub fn replan_scope(day: NaiveDate) -> String {
    format!("replan/{day}")
}

impl Leases {
    /// None is held yet.
    pub fn new(database: Database, limits: LeaseLimits) -> Self {
        Self {
            database,
            limits,
            holder: Uuid::new_v4().to_string(),
        }
    }

    /// Waits for a lease and holds it.
    ///
    /// # Errors
    /// Contention where others hold it for longer than one waits, and those of the database.
    pub async fn hold(&self, branch: &str, scope: &str) -> Result<Held, Error> {
        let began = Instant::now();
        let (mut pause, pause_max) = self.limits.look;
        let mut seen: Option<(solve_lease::Model, Instant)> = None;
        loop {
            let dead = seen
                .as_ref()
                .filter(|(_, since)| since.elapsed() >= self.limits.silence)
                .map(|(row, _)| row.clone());
            if let Some(row) = &dead {
                warn!(
                    branch,
                    scope,
                    fence = row.fence,
                    "the holder is silent; taking over"
                );
            }
            match self.ask(branch, scope, dead).await? {
                Asked::Taken(lease) => return Ok(self.begin(lease)),
                Asked::Held(row) => {
                    if seen.as_ref().is_none_or(|(known, _)| *known != row) {
                        seen = Some((row, Instant::now()));
                    }
                }
            }
            if began.elapsed() >= self.limits.wait_max {
                return Err(Error::Store(StoreError::Contention {
                    detail: format!("{scope} of {branch} is searched for by another"),
                }));
            }
            tokio::time::sleep(pause).await;
            pause = Ord::min(pause * 2, pause_max);
        }
    }

    /// Looks first, so that those who wait do not write.
    async fn ask(
        &self,
        branch: &str,
        scope: &str,
        dead: Option<solve_lease::Model>,
    ) -> Result<Asked, Error> {
        if dead.is_none()
            && let Some(row) = standing(self.database.read(), branch, scope).await?
            && row.holder.is_some()
        {
            return Ok(Asked::Held(row));
        }
        let take = Take {
            branch,
            scope,
            holder: &self.holder,
            dead,
        };
        self.database.write_untold(branch, &take).await
    }

    fn begin(&self, lease: Lease) -> Held {
        debug!(
            branch = lease.branch,
            scope = lease.scope,
            fence = lease.fence,
            "holding"
        );
        let lost = CancellationToken::new();
        let over = CancellationToken::new();
        let beating = beating(
            self.database.clone(),
            lease.clone(),
            self.limits.beat,
            lost.clone(),
        );
        tokio::spawn(over.clone().run_until_cancelled_owned(beating));
        Held {
            lease,
            database: self.database.clone(),
            lost,
            _beating: over.drop_guard(),
        }
    }
}

impl Held {
    /// The lease, to be checked where the work is stored.
    pub fn lease(&self) -> &Lease {
        &self.lease
    }

    /// Works as long as the lease is held.
    ///
    /// # Errors
    /// [`Error::LeaseLost`] where it is lost; the work is dropped then.
    pub async fn while_held<T>(
        &self,
        work: impl Future<Output = Result<T, Error>>,
    ) -> Result<T, Error> {
        tokio::select! {
            biased;
            done = work => done,
            () = self.lost.cancelled() => Err(Error::LeaseLost),
        }
    }
}

impl Drop for Held {
    fn drop(&mut self) {
        let Ok(runtime) = tokio::runtime::Handle::try_current() else {
            return;
        };
        let database = self.database.clone();
        let lease = self.lease.clone();
        // Where it was given back with the plan, or lost, this finds nothing.
        runtime.spawn(async move {
            let branch = lease.branch.clone();
            if let Err(error) = database.write_untold(&branch, &GiveBack(lease)).await {
                debug!(%error, "a lease was not given back; it ends by silence");
            }
        });
    }
}

async fn beating(database: Database, lease: Lease, every: Duration, lost: CancellationToken) {
    loop {
        tokio::time::sleep(every).await;
        match database.write_untold(&lease.branch, &Beat(&lease)).await {
            Ok(true) => {}
            Ok(false) => {
                info!(
                    branch = lease.branch,
                    scope = lease.scope,
                    fence = lease.fence,
                    "lease lost"
                );
                lost.cancel();
                return;
            }
            // It may be held still; the store decides in the end.
            Err(error) => debug!(%error, "no sign of life could be given"),
        }
    }
}

struct Take<'a> {
    branch: &'a str,
    scope: &'a str,
    holder: &'a str,
    dead: Option<solve_lease::Model>,
}

impl Write for Take<'_> {
    type Output = Asked;
    type Error = Error;

    async fn run(&self, transaction: &DatabaseTransaction) -> Result<Asked, Error> {
        let Self {
            branch,
            scope,
            holder,
            dead,
        } = self;
        Ok(take(transaction, branch, scope, holder, dead.as_ref()).await?)
    }
}

struct Beat<'a>(&'a Lease);

impl Write for Beat<'_> {
    type Output = bool;
    type Error = Error;

    async fn run(&self, transaction: &DatabaseTransaction) -> Result<bool, Error> {
        Ok(beat(transaction, self.0).await?)
    }
}

struct GiveBack(Lease);

impl Write for GiveBack {
    type Output = bool;
    type Error = Error;

    async fn run(&self, transaction: &DatabaseTransaction) -> Result<bool, Error> {
        Ok(give_back(transaction, &self.0).await?)
    }
}

/// Refuses to store what was made under a lease that is lost, and gives it back otherwise.
///
/// # Errors
/// [`Error::LeaseLost`], and those of the database.
pub(super) async fn settle(transaction: &DatabaseTransaction, lease: &Lease) -> Result<(), Error> {
    if give_back(transaction, lease).await? {
        return Ok(());
    }
    Err(Error::LeaseLost)
}
