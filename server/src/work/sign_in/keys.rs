//! Looks for the holder of a key with each call.

use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use forenoon_store::Database;
use forenoon_store::entity::access_key;
use forenoon_store::sea_orm::{ColumnTrait, EntityTrait, QueryFilter};
use hashlink::LruCache;
use tokio::sync::Semaphore;
use tokio::time::Instant;

use super::{Caller, Secret};
use crate::work::{Error, worker};

/// How long what was found holds. A key that is ended, or a role that is taken away, is good for so much longer at most.
pub const KNOWN_FOR: Duration = Duration::from_secs(5);
/// Holders kept in mind.
const KNOWN_MAX: usize = 10_000;
/// Keys looked for in the database at a time.
const LOOKED_FOR_MAX: usize = 2;

/// The keys of a database, as one server sees them.
#[derive(Clone, Debug)]
pub struct Keys {
    database: Database,
    known: Arc<Mutex<LruCache<Vec<u8>, Known>>>,
    turns: Arc<Semaphore>,
}

#[derive(Clone, Debug)]
struct Known {
    caller: Arc<Caller>,
    until: Instant,
}

impl Keys {
    /// Nobody is known yet.
    pub fn new(database: Database) -> Self {
        Self {
            database,
            known: Arc::new(Mutex::new(LruCache::new(KNOWN_MAX))),
            turns: Arc::new(Semaphore::new(LOOKED_FOR_MAX)),
        }
    }

    /// Who holds a key.
    ///
    /// # Errors
    /// [`Error::Unauthenticated`] where it is not good, or the database's.
    pub async fn holder(&self, secret: &Secret) -> Result<Arc<Caller>, Error> {
        let digest = secret.digest();
        let known = self.lock().get(&digest).cloned();
        if let Some(known) = known.filter(|known| Instant::now() < known.until) {
            return Ok(known.caller);
        }
        let asked = Instant::now();
        let Some(caller) = self.find(&digest).await? else {
            self.lock().remove(&digest);
            return Err(Error::Unauthenticated);
        };
        let caller = Arc::new(caller);
        let known = Known {
            caller: Arc::clone(&caller),
            until: asked + KNOWN_FOR,
        };
        self.lock().insert(digest, known);
        Ok(caller)
    }

    /// Waits until a key is good no longer, or not for what its holder does. While the database cannot be reached it is
    /// taken to be good still.
    pub async fn ended(&self, secret: &Secret, is_let: impl Fn(&Caller) -> bool) {
        loop {
            tokio::time::sleep(KNOWN_FOR).await;
            match self.holder(secret).await {
                Ok(caller) if !is_let(&caller) => return,
                Err(Error::Unauthenticated) => return,
                _ => {}
            }
        }
    }

    async fn find(&self, digest: &[u8]) -> Result<Option<Caller>, Error> {
        // Never closed. Whoever tries keys by the thousand waits here, and leaves the database to others.
        let _turn = self.turns.acquire().await;
        let found = access_key::Entity::find()
            .filter(access_key::Column::Digest.eq(digest))
            .one(self.database.read())
            .await?;
        let Some(key) = found.filter(|key| key.end_time.is_none()) else {
            return Ok(None);
        };
        let roles = match (&key.branch_id, &key.worker_id) {
            (Some(branch), Some(id)) => {
                let found = worker::find(self.database.read(), branch, id).await?;
                let Some(worker) = found else {
                    return Ok(None);
                };
                worker.roles.0
            }
            _ => key.roles.0,
        };
        Ok(Some(Caller {
            name: key.holder,
            branch: key.branch_id,
            worker: key.worker_id,
            roles,
            everything: key.everything,
        }))
    }

    fn lock(&self) -> MutexGuard<'_, LruCache<Vec<u8>, Known>> {
        self.known.lock().unwrap_or_else(PoisonError::into_inner)
    }
}
