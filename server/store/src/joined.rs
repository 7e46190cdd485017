//! Reads of single rows, joined: those asked for while one is under way go to the database together.
//!
//! What such a read costs is the way to the database and back, far more than what is done there. Where none is under way
//! one goes at once, without waiting for company. Others wait until it is back, and then go all in one. A read goes out
//! after it was asked for, so it sees whatever was written before that.

use std::collections::HashMap;
use std::hash::Hash;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use tokio::runtime::Handle;
use tokio::sync::oneshot;
use tokio::time::timeout;

use crate::error::StoreError;

/// Most rows of one read.
const TOGETHER_MAX: usize = 64;
/// Nobody waits longer for a read that others asked for: its connection may have gone silent.
const WAIT_MAX: Duration = Duration::from_millis(100);

/// Rows of one kind, found by their keys.
pub trait Rows: Clone + Send + Sync + 'static {
    /// What one is found by.
    type Key: Clone + Eq + Hash + Send + Sync + 'static;
    /// One of them, with whatever is told with it.
    type Row: Clone + Send + 'static;

    /// Those that are there. No key comes twice.
    fn fetch(
        &self,
        keys: &[Self::Key],
    ) -> impl Future<Output = Result<HashMap<Self::Key, Self::Row>, StoreError>> + Send;
}

/// Reads of one kind of rows.
#[derive(Clone, Debug)]
pub struct Joined<R: Rows> {
    rows: R,
    queue: Arc<Mutex<Queue<R::Key, R::Row>>>,
}

#[derive(Debug)]
struct Queue<K, T> {
    /// The turn that those who wait are waiting for.
    under_way: Option<u64>,
    turns: u64,
    waiting: Vec<Waiting<K, T>>,
}

#[derive(Debug)]
struct Waiting<K, T> {
    key: K,
    answer: oneshot::Sender<Option<T>>,
}

type Answer<R> = oneshot::Receiver<Option<<R as Rows>::Row>>;

impl<R: Rows> Joined<R> {
    /// Of these rows.
    pub fn new(rows: R) -> Self {
        let queue = Queue {
            under_way: None,
            turns: 0,
            waiting: Vec::new(),
        };
        Self {
            rows,
            queue: Arc::new(Mutex::new(queue)),
        }
    }

    /// The row, if it is there.
    ///
    /// # Errors
    /// Those of the database.
    pub async fn find(&self, key: R::Key) -> Result<Option<R::Row>, StoreError> {
        let answer = match self.turn_or_wait(&key) {
            Ok(_turn) => return self.alone(key).await,
            Err(answer) => answer,
        };
        match timeout(WAIT_MAX, answer).await {
            Ok(Ok(found)) => Ok(found),
            // What went wrong with others need not go wrong with this one.
            Ok(Err(_)) => self.alone(key).await,
            Err(_) => {
                let _turn = Turn::after(self, &mut self.lock());
                self.alone(key).await
            }
        }
    }

    /// The turn, where no read is under way; otherwise what will come of the next.
    fn turn_or_wait(&self, key: &R::Key) -> Result<Turn<R>, Answer<R>> {
        let mut queue = self.lock();
        if queue.under_way.is_none() {
            return Ok(Turn::after(self, &mut queue));
        }
        let (answer, answered) = oneshot::channel();
        queue.waiting.push(Waiting {
            key: key.clone(),
            answer,
        });
        Err(answered)
    }

    async fn alone(&self, key: R::Key) -> Result<Option<R::Row>, StoreError> {
        let mut found = self.rows.fetch(std::slice::from_ref(&key)).await?;
        Ok(found.remove(&key))
    }

    fn lock(&self) -> MutexGuard<'_, Queue<R::Key, R::Row>> {
        self.queue.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// A read that is under way. When it is over, those who wait go.
struct Turn<R: Rows> {
    of: Joined<R>,
    number: u64,
}

impl<R: Rows> Turn<R> {
    /// Whoever waits is waiting for this one from now on.
    fn after(of: &Joined<R>, queue: &mut Queue<R::Key, R::Row>) -> Self {
        queue.turns += 1;
        queue.under_way = Some(queue.turns);
        Self {
            of: of.clone(),
            number: queue.turns,
        }
    }

    /// Reads for all of them. Where that fails they are not answered, and go alone.
    async fn together(self, waiting: Vec<Waiting<R::Key, R::Row>>) {
        let mut keys: Vec<R::Key> = Vec::with_capacity(waiting.len());
        for one in &waiting {
            if !keys.contains(&one.key) {
                keys.push(one.key.clone());
            }
        }
        let Ok(found) = self.of.rows.fetch(&keys).await else {
            return;
        };
        // The next can be under way while these are answered.
        drop(self);
        for one in waiting {
            // Who has gone meanwhile needs no answer.
            let _ = one.answer.send(found.get(&one.key).cloned());
        }
    }
}

impl<R: Rows> Drop for Turn<R> {
    fn drop(&mut self) {
        let mut queue = self.of.lock();
        if queue.under_way != Some(self.number) {
            // It took too long, and nobody waits for it any more.
            return;
        }
        queue.under_way = None;
        queue.waiting.retain(|one| !one.answer.is_closed());
        let together = queue.waiting.len().min(TOGETHER_MAX);
        let next: Vec<_> = queue.waiting.drain(..together).collect();
        // Without a runtime the server is going down; who is not answered finds out.
        if next.is_empty() || Handle::try_current().is_err() {
            return;
        }
        let turn = Self::after(&self.of, &mut queue);
        drop(queue);
        tokio::spawn(turn.together(next));
    }
}
