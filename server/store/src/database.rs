//! The handle on the database, and the one way to write.

use std::hash::{BuildHasher, Hasher, RandomState};
use std::sync::Arc;
use std::time::{Duration, Instant};

use sea_orm::{
    ConnectionTrait, DatabaseConnection, DatabaseTransaction, DbBackend, IsolationLevel,
    SqliteTransactionMode, TransactionOptions, TransactionTrait,
};
use tokio::sync::{Mutex, MutexGuard};
use tracing::debug;

use crate::error::{Contended, StoreError};
use crate::notice::Notices;
use crate::relay::{Outgoing, relay};

/// Attempts at one write before contention is reported: a plan takes long to write, and meets many short writes of
/// other servers before it gets between two of them.
pub const WRITE_ATTEMPTS_MAX: u32 = 24;
/// Attempts after which a write keeps others out until it is through.
const LOST_TURNS_MAX: u32 = 6;
/// Keeps others from taking numbers for their events, which all do last, in whatever branch. Not statements that a
/// transaction's view of the database begins with: what others write until the lock is given is seen.
///
/// Whoever takes a number meanwhile stands behind the one that waits for the lock. So it waits no longer than a moment for
/// a transaction that has taken its number and does not end, lets the others by, and tries again. What the transaction
/// itself waits for afterwards, it waits for as usual.
const KEEP_OTHERS_OUT: &str = "SET LOCAL lock_timeout = '1s'; \
     LOCK TABLE branch_sequence IN SHARE ROW EXCLUSIVE MODE; \
     SET LOCAL lock_timeout TO DEFAULT";
/// Longest pause before the second attempt; it doubles from attempt to attempt.
const FIRST_PAUSE_MAX: Duration = Duration::from_millis(4);
/// Longest pause before any: those who wait longer than others write are no nearer to their turn.
const PAUSE_MAX: Duration = Duration::from_millis(32);
/// Locks among which the branches of one server are spread.
const LANES: usize = 64;
/// Longest wait for one of them. They only spare writes that would meet in the database; others must not stand behind one
/// that takes long.
const LANE_WAIT_MAX: Duration = Duration::from_secs(1);

/// A database that is open and has this build's schema.
#[derive(Clone, Debug)]
pub struct Database {
    write: DatabaseConnection,
    read: DatabaseConnection,
    lanes: Arc<[Mutex<()>]>,
    lane_of: RandomState,
    notices: Notices,
    outgoing: Outgoing,
    /// Where other servers on the same database are told and heard; none on SQLite.
    relay_url: Option<String>,
    /// Longest wait for a lock.
    wait_max: Duration,
}

/// Work inside one transaction. It may be run several times: each attempt begins from nothing.
pub trait Write: Sync {
    /// What comes of it.
    type Output: Send;
    /// Why nothing came of it. Nothing is written then.
    type Error: From<StoreError> + Contended + Send;

    /// Whether nobody else writes to the branch meanwhile, as where the whole branch is brought in. Such work may take
    /// minutes: it neither stands in line with the branch's other writes nor ever keeps others out. Nobody sees what it
    /// writes before it is done, and keys guard what it looked for, so that on PostgreSQL it need not be serializable: of
    /// transactions that are, the longest is the first to be undone for what others read and write beside it. The schema takes
    /// plans, tag-outs and visits from it only where it made the branch itself.
    fn is_without_rivals(&self) -> bool {
        false
    }

    /// Does the work. Everything goes through `transaction`; the pool would wait for it without end.
    fn run(
        &self,
        transaction: &DatabaseTransaction,
    ) -> impl Future<Output = Result<Self::Output, Self::Error>> + Send;
}

impl Database {
    pub(crate) fn new(
        write: DatabaseConnection,
        read: DatabaseConnection,
        relay_url: Option<String>,
        wait_max: Duration,
    ) -> Self {
        Self {
            write,
            read,
            lanes: (0..LANES).map(|_| Mutex::new(())).collect(),
            lane_of: RandomState::new(),
            notices: Notices::default(),
            outgoing: Outgoing::default(),
            relay_url,
            wait_max,
        }
    }

    /// Tells the other servers on the database what is written through this one, and hears what they tell, without end.
    pub async fn relay(&self) {
        let url = self.relay_url.as_deref();
        relay(&self.write, url, &self.notices, &self.outgoing).await;
    }

    /// Where it is told that a branch was written to.
    pub fn notices(&self) -> &Notices {
        &self.notices
    }

    /// For reading. On SQLite it refuses to write.
    pub fn read(&self) -> &DatabaseConnection {
        &self.read
    }

    /// Begins a transaction in which all reads see one state.
    ///
    /// # Errors
    /// Where the database cannot be reached.
    pub async fn begin_read(&self) -> Result<DatabaseTransaction, StoreError> {
        let options = TransactionOptions {
            isolation_level: self.is_postgres().then_some(IsolationLevel::RepeatableRead),
            sqlite_transaction_mode: Some(SqliteTransactionMode::Deferred),
            ..TransactionOptions::default()
        };
        begin(&self.read, options).await
    }

    /// Does `work` in one transaction: serializable on PostgreSQL where it has rivals, immediate on SQLite.
    ///
    /// Where others write at the same time, it is rolled back and done again, at most
    /// [`WRITE_ATTEMPTS_MAX`] times, and on SQLite no longer than a lock is waited for. Writes to one branch through one
    /// server queue in memory, so that only different servers ever meet in the database. A long write would never get
    /// between the short ones of another server: once it has lost some turns, it keeps others out.
    ///
    /// # Errors
    /// Those of the work, and contention where no attempt came through.
    pub async fn write<W: Write>(&self, branch: &str, work: &W) -> Result<W::Output, W::Error> {
        let output = self.write_untold(branch, work).await?;
        self.notices.tell(branch);
        self.outgoing.add(branch);
        Ok(output)
    }

    /// As [`Database::write`], for what nobody who watches the branch is concerned with.
    ///
    /// # Errors
    /// As there.
    pub async fn write_untold<W: Write>(
        &self,
        branch: &str,
        work: &W,
    ) -> Result<W::Output, W::Error> {
        let has_rivals = !work.is_without_rivals();
        let lane = self.lane(branch).filter(|_| has_rivals);
        let began = Instant::now();
        let mut attempt = 1;
        loop {
            let error = {
                let _turn = turn(lane).await;
                let alone = has_rivals && attempt > LOST_TURNS_MAX;
                match self.attempt(work, alone).await {
                    Ok(output) => return Ok(output),
                    Err(error) => error,
                }
            };
            let again = error.is_contention() || (attempt == 1 && error.may_be_contention());
            if !again || attempt == WRITE_ATTEMPTS_MAX {
                return Err(error);
            }
            // One server has an SQLite file, whose writes stand in line. So somebody else has it locked, for longer than a
            // write waits already, and the next writes wait behind this one.
            if !self.is_postgres() && error.is_contention() && began.elapsed() >= self.wait_max {
                let detail = "another program has the database's file locked".to_owned();
                return Err(StoreError::Unavailable { detail }.into());
            }
            debug!(attempt, branch, "contention, trying again");
            tokio::time::sleep(pause(attempt)).await;
            attempt += 1;
        }
    }

    /// Whether the database answers.
    ///
    /// # Errors
    /// Where it does not.
    pub async fn ping(&self) -> Result<(), StoreError> {
        Ok(self.read.ping().await?)
    }

    /// Closes all connections, once those in use are given back.
    ///
    /// # Errors
    /// Where the database refuses.
    pub async fn close(self) -> Result<(), StoreError> {
        self.read.close().await?;
        self.write.close().await?;
        Ok(())
    }

    async fn attempt<W: Write>(&self, work: &W, alone: bool) -> Result<W::Output, W::Error> {
        let isolation = if work.is_without_rivals() {
            IsolationLevel::RepeatableRead
        } else {
            IsolationLevel::Serializable
        };
        let options = TransactionOptions {
            isolation_level: self.is_postgres().then_some(isolation),
            sqlite_transaction_mode: Some(SqliteTransactionMode::Immediate),
            ..TransactionOptions::default()
        };
        let transaction = begin(&self.write, options).await?;
        if alone && self.is_postgres() {
            transaction
                .execute_unprepared(KEEP_OTHERS_OUT)
                .await
                .map_err(StoreError::from)?;
        }
        match work.run(&transaction).await {
            Ok(output) => {
                transaction.commit().await.map_err(StoreError::from)?;
                Ok(output)
            }
            Err(error) => {
                // The work's own error matters more than that of a rollback, which a lost
                // connection does by itself.
                if let Err(rollback) = transaction.rollback().await {
                    debug!(%rollback, "rollback failed");
                }
                Err(error)
            }
        }
    }

    fn is_postgres(&self) -> bool {
        self.write.get_database_backend() == DbBackend::Postgres
    }

    /// The lock of a branch; none on SQLite, whose one writer is a queue already.
    fn lane(&self, branch: &str) -> Option<&Mutex<()>> {
        if !self.is_postgres() {
            return None;
        }
        let hash = self.lane_of.hash_one(branch);
        let lanes = u64::try_from(self.lanes.len()).ok()?;
        self.lanes
            .get(usize::try_from(hash.checked_rem(lanes)?).ok()?)
    }
}

/// Begins a transaction in a task of its own, which goes on where the caller is dropped meanwhile: a call that is broken
/// off, or a sign of life no longer needed. `sqlx` 0.9 forgets a PostgreSQL transaction whose beginning is dropped and gives
/// its connection, with the transaction open, to the next (transact-rs/sqlx, issue 4393). One that was begun and reaches
/// nobody is rolled back.
async fn begin(
    connection: &DatabaseConnection,
    options: TransactionOptions,
) -> Result<DatabaseTransaction, StoreError> {
    let connection = connection.clone();
    let beginning = tokio::spawn(async move { connection.begin_with_options(options).await });
    match beginning.await {
        Ok(begun) => Ok(begun?),
        // The runtime is going down.
        Err(fault) => Err(StoreError::Unavailable {
            detail: fault.to_string(),
        }),
    }
}

/// The turn in a lane; none where there is no lane, or where its turn does not come.
async fn turn(lane: Option<&Mutex<()>>) -> Option<MutexGuard<'_, ()>> {
    tokio::time::timeout(LANE_WAIT_MAX, lane?.lock()).await.ok()
}

/// A pause by chance, so that those who met do not meet again.
fn pause(attempt: u32) -> Duration {
    let longest = FIRST_PAUSE_MAX
        .saturating_mul(2_u32.saturating_pow(attempt - 1))
        .min(PAUSE_MAX);
    let chance = RandomState::new().build_hasher().finish();
    let share = u32::try_from(chance % 1_000).unwrap_or(0);
    longest * share / 1_000
}
