//! Watchers: each a place in the numbering of a branch's events.

use std::collections::{HashMap, VecDeque};
use std::sync::{Arc, Mutex, PoisonError, Weak};
use std::time::Duration;

use bytes::Bytes;
use chrono::{DateTime, NaiveDate, Utc};
use forenoon_store::Database;
use forenoon_store::entity::outbox_event;
use forenoon_store::sea_orm::EntityTrait;
use tokio::sync::{OwnedSemaphorePermit, Semaphore, watch};
use tokio::time::Instant;
use tokio_util::sync::CancellationToken;

use super::event::DayEvent;
use super::hub::{Follower, Hub, PAGE, Present, Shown, shown_after};
use super::snapshot::{Snapshot, snapshot};
use crate::work::Error;

/// How watching is bounded.
#[derive(Clone, Copy, Debug)]
pub struct WatchLimits {
    /// A watcher hears something at least this often.
    pub heartbeat: Duration,
    /// How often events are looked for that no notice told of.
    pub poll: Duration,
    /// The same while other servers tell what they write, and what they did not tell is looked for in one question for
    /// all branches (`store/relay.rs`).
    pub poll_when_told: Duration,
    /// Most watchers of this server.
    pub watchers_max: usize,
    /// Most watchers that read the database at a time; the others wait for their turn, so that calls find connections.
    pub readers_max: usize,
}

impl Default for WatchLimits {
    fn default() -> Self {
        Self {
            heartbeat: Duration::from_secs(15),
            poll: Duration::from_millis(500),
            poll_when_told: Duration::from_mins(1),
            watchers_max: 10_000,
            readers_max: 2,
        }
    }
}

/// A place in the numbering of a branch's events.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Place {
    /// The number of the last event known; 0 before the first.
    pub seq: i64,
    /// When that was accepted. Numbers of a database that was put back to an earlier state are given again: the time
    /// tells.
    pub at: DateTime<Utc>,
}

impl Place {
    /// Before the first event.
    pub const START: Self = Self {
        seq: 0,
        at: DateTime::UNIX_EPOCH,
    };
}

/// All who watch at this server.
#[derive(Clone)]
pub struct Watches(Arc<Inner>);

struct Inner {
    database: Database,
    limits: WatchLimits,
    going_down: CancellationToken,
    present: Arc<Present>,
    hubs: Mutex<HashMap<String, Weak<Hub>>>,
    watchers: Arc<Semaphore>,
    readers: Semaphore,
}

impl Watches {
    /// Nobody watches yet. `present` puts an event into the words of the wire; it is done once for all.
    pub fn new(
        database: Database,
        limits: WatchLimits,
        going_down: CancellationToken,
        present: impl Fn(&DayEvent) -> Bytes + Send + Sync + 'static,
    ) -> Self {
        Self(Arc::new(Inner {
            database,
            limits,
            going_down,
            present: Arc::new(present),
            hubs: Mutex::default(),
            watchers: Arc::new(Semaphore::new(limits.watchers_max)),
            readers: Semaphore::new(limits.readers_max),
        }))
    }

    /// Begins to watch: how the day stands, and who tells the changes after that.
    ///
    /// # Errors
    /// [`Error::NotFound`] where the branch is not there; [`Error::TooMuch`] where too many watch.
    pub async fn begin(&self, branch: &str, day: NaiveDate) -> Result<(Snapshot, Watcher), Error> {
        let permit = self.admit()?;
        let _turn = self.turn().await?;
        let snapshot = snapshot(&self.0.database, branch, day).await?;
        let watcher = self.watcher(branch, day, snapshot.place, permit);
        Ok((snapshot, watcher))
    }

    /// Goes on from a place.
    ///
    /// # Errors
    /// [`Error::TokenTooOld`] where its event is gone or is another; [`Error::NotFound`] where the branch is not there.
    pub async fn resume(
        &self,
        branch: &str,
        day: NaiveDate,
        place: Place,
    ) -> Result<Watcher, Error> {
        let permit = self.admit()?;
        let _turn = self.turn().await?;
        let read = self.0.database.read();
        crate::work::branch::get(read, branch).await?;
        if place != Place::START {
            let known = outbox_event::Entity::find_by_id((branch.to_owned(), place.seq))
                .one(read)
                .await?;
            if known.is_none_or(|row| row.at != place.at) {
                return Err(Error::TokenTooOld);
            }
        }
        Ok(self.watcher(branch, day, place, permit))
    }

    fn admit(&self) -> Result<OwnedSemaphorePermit, Error> {
        Arc::clone(&self.0.watchers)
            .try_acquire_owned()
            .map_err(|_| Error::TooMuch {
                limit: format!("{} watchers of one server", self.0.limits.watchers_max),
            })
    }

    async fn turn(&self) -> Result<tokio::sync::SemaphorePermit<'_>, Error> {
        tokio::select! {
            turn = self.0.readers.acquire() => turn.map_err(|_| Error::GoingDown),
            () = self.0.going_down.cancelled() => Err(Error::GoingDown),
        }
    }

    fn watcher(
        &self,
        branch: &str,
        day: NaiveDate,
        place: Place,
        permit: OwnedSemaphorePermit,
    ) -> Watcher {
        let hub = self.hub(branch);
        Watcher {
            watches: self.clone(),
            latest: hub.latest(),
            hub,
            branch: branch.to_owned(),
            day,
            place,
            ahead: VecDeque::new(),
            heard: Instant::now(),
            _permit: permit,
        }
    }

    /// The hub of a branch; begins to follow it where nobody watched.
    fn hub(&self, branch: &str) -> Arc<Hub> {
        let mut hubs = self.0.hubs.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(hub) = hubs.get(branch).and_then(Weak::upgrade) {
            return hub;
        }
        hubs.retain(|_, hub| hub.strong_count() > 0);
        let hub = Arc::new(Hub::new());
        hubs.insert(branch.to_owned(), Arc::downgrade(&hub));
        let follower = Follower {
            database: self.0.database.clone(),
            present: Arc::clone(&self.0.present),
            limits: self.0.limits,
            going_down: self.0.going_down.clone(),
            branch: branch.to_owned(),
        };
        tokio::spawn(follower.follow(Arc::downgrade(&hub)));
        hub
    }
}

/// Somebody who watches a day.
pub struct Watcher {
    watches: Watches,
    hub: Arc<Hub>,
    latest: watch::Receiver<i64>,
    branch: String,
    day: NaiveDate,
    place: Place,
    /// Events read and not yet told: a page at most.
    ahead: VecDeque<Arc<Shown>>,
    heard: Instant,
    _permit: OwnedSemaphorePermit,
}

/// What a watcher is told next.
#[derive(Clone, Debug)]
pub enum Told {
    /// A change, in the words of the wire.
    Change(Bytes),
    /// Nothing new.
    Heartbeat,
}

impl Watcher {
    /// Up to where the watcher was told.
    pub fn place(&self) -> Place {
        self.place
    }

    /// Waits for what is to be told next. Nothing is read for a watcher who does not ask.
    ///
    /// # Errors
    /// [`Error::GoingDown`] where the server stops; [`Error::TokenTooOld`] where events went before they were told; and
    /// those of the database.
    pub async fn next(&mut self) -> Result<Told, Error> {
        loop {
            if let Some(shown) = self.ahead.pop_front() {
                // Numbers have no gaps, so that one that is missing was taken away.
                if shown.seq != self.place.seq + 1 {
                    return Err(Error::TokenTooOld);
                }
                self.place = Place {
                    seq: shown.seq,
                    at: shown.at,
                };
                if shown.day.is_none_or(|day| day == self.day) {
                    self.heard = Instant::now();
                    return Ok(Told::Change(shown.words.clone()));
                }
                continue;
            }
            if *self.latest.borrow_and_update() > self.place.seq {
                self.read_on().await?;
                continue;
            }
            let inner = &self.watches.0;
            let silence = self.heard + inner.limits.heartbeat;
            tokio::select! {
                biased;
                () = inner.going_down.cancelled() => return Err(Error::GoingDown),
                // The sender is the hub's, which is held here.
                _ = self.latest.changed() => {}
                () = tokio::time::sleep_until(silence) => {
                    self.heard = Instant::now();
                    return Ok(Told::Heartbeat);
                }
            }
        }
    }

    /// Takes the next events from the hub, or from the database where the hub is far ahead.
    async fn read_on(&mut self) -> Result<(), Error> {
        let page = usize::try_from(PAGE).unwrap_or(usize::MAX);
        if let Some(shown) = self.hub.after(self.place.seq, page) {
            self.ahead = shown;
            return Ok(());
        }
        let watches = self.watches.clone();
        let _turn = watches.turn().await?;
        let inner = &watches.0;
        self.ahead = shown_after(
            &inner.database,
            &*inner.present,
            &self.branch,
            self.place.seq,
        )
        .await?
        .into();
        if self.ahead.is_empty() {
            return Err(Error::TokenTooOld);
        }
        Ok(())
    }
}
