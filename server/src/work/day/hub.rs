//! Follows the events of one branch for all who watch it, so that each is read and put into words once.

use std::collections::VecDeque;
use std::sync::{Arc, Mutex, PoisonError, Weak};

use bytes::Bytes;
use chrono::{DateTime, NaiveDate, Utc};
use forenoon_store::Database;
use tokio::sync::watch;
use tokio_util::sync::CancellationToken;
use tracing::warn;

use super::event::{DayEvent, last_row, rows_after};
use super::watch::WatchLimits;
use crate::work::Error;

/// Events read at a time.
pub(super) const PAGE: u64 = 64;
/// Events kept for those who are nearly up to date. Others read the database.
const KEPT_MAX: usize = 64;

/// Puts an event into the words of the wire.
pub(super) type Present = dyn Fn(&DayEvent) -> Bytes + Send + Sync;

/// An event as it is told.
#[derive(Debug)]
pub(super) struct Shown {
    pub(super) seq: i64,
    pub(super) at: DateTime<Utc>,
    pub(super) day: Option<NaiveDate>,
    pub(super) words: Bytes,
}

/// The recent events of a branch.
pub(super) struct Hub {
    recent: Mutex<VecDeque<Arc<Shown>>>,
    /// The number of the last event that is known.
    latest: watch::Sender<i64>,
}

impl Hub {
    pub(super) fn new() -> Self {
        Self {
            recent: Mutex::default(),
            latest: watch::Sender::new(0),
        }
    }

    /// Tells the number of the last event, now and whenever it grows.
    pub(super) fn latest(&self) -> watch::Receiver<i64> {
        self.latest.subscribe()
    }

    /// The kept events after a number, `limit` at most; none where the next one is not kept any more.
    pub(super) fn after(&self, seq: i64, limit: usize) -> Option<VecDeque<Arc<Shown>>> {
        let recent = self.recent.lock().unwrap_or_else(PoisonError::into_inner);
        if recent.front()?.seq > seq + 1 {
            return None;
        }
        let found: VecDeque<_> = recent
            .iter()
            .filter(|shown| shown.seq > seq)
            .take(limit)
            .cloned()
            .collect();
        (!found.is_empty()).then_some(found)
    }

    fn add(&self, shown: Vec<Arc<Shown>>) {
        let Some(last) = shown.last().map(|shown| shown.seq) else {
            return;
        };
        let mut recent = self.recent.lock().unwrap_or_else(PoisonError::into_inner);
        recent.extend(shown);
        let surplus = recent.len().saturating_sub(KEPT_MAX);
        recent.drain(..surplus);
        drop(recent);
        self.latest.send_replace(last);
    }
}

/// The events after a number, put into words.
pub(super) async fn shown_after(
    database: &Database,
    present: &Present,
    branch: &str,
    seq: i64,
) -> Result<Vec<Arc<Shown>>, Error> {
    let rows = rows_after(database.read(), branch, seq, PAGE).await?;
    let mut all = Vec::with_capacity(rows.len());
    for row in rows {
        let event = DayEvent::of(database.read(), row).await?;
        all.push(Arc::new(Shown {
            seq: event.seq,
            at: event.at,
            day: event.day,
            words: present(&event),
        }));
    }
    Ok(all)
}

/// What follows a branch's events.
pub(super) struct Follower {
    pub(super) database: Database,
    pub(super) present: Arc<Present>,
    pub(super) limits: WatchLimits,
    pub(super) going_down: CancellationToken,
    pub(super) branch: String,
}

impl Follower {
    /// Follows until nobody watches, or the server goes down. A commit of this server wakes it at once; one of another
    /// is seen when it looks by itself.
    pub(super) async fn follow(self, hub: Weak<Hub>) {
        let mut notice = self.database.notices().of(&self.branch);
        let mut known = None;
        loop {
            let Some(watched) = hub.upgrade() else {
                return;
            };
            let full_page = match self.look(&watched, &mut known).await {
                Ok(full_page) => full_page,
                Err(error) => {
                    warn!(branch = self.branch, %error, "events could not be read; trying again");
                    false
                }
            };
            drop(watched);
            if full_page {
                continue;
            }
            let pause = if self.database.notices().relayed() {
                self.limits.poll_when_told
            } else {
                self.limits.poll
            };
            tokio::select! {
                () = notice.told() => {}
                () = tokio::time::sleep(pause) => {}
                () = self.going_down.cancelled() => return,
            }
        }
    }

    /// Takes in what is new. Whether there may be more.
    async fn look(&self, hub: &Hub, known: &mut Option<i64>) -> Result<bool, Error> {
        let Some(after) = *known else {
            let last = last_row(self.database.read(), &self.branch).await?;
            let last = last.map_or(0, |row| row.seq);
            hub.latest.send_replace(last);
            *known = Some(last);
            return Ok(true);
        };
        let shown = shown_after(&self.database, &*self.present, &self.branch, after).await?;
        if let Some(last) = shown.last() {
            *known = Some(last.seq);
        }
        let full_page = u64::try_from(shown.len()).is_ok_and(|count| count == PAGE);
        hub.add(shown);
        Ok(full_page)
    }
}
