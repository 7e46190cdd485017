//! Tells those who wait that a branch has changed.
//!
//! A notice carries nothing and may be missed or come for nothing: who gets one looks into the database. So any source
//! can give it. Every write through this process's [`Database`](crate::Database) does; a listener to other processes'
//! commits calls [`Notices::tell`] too.

use std::collections::HashMap;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, PoisonError};

use tokio::sync::watch;

/// Where notices are given and waited for, by branch.
#[derive(Clone, Debug, Default)]
pub struct Notices {
    branches: Arc<Mutex<HashMap<String, watch::Sender<()>>>>,
    relayed: Arc<AtomicBool>,
}

/// Waits for the notices of one branch.
#[derive(Clone, Debug)]
pub struct Notice(watch::Receiver<()>);

impl Notices {
    /// Waits for notices of a branch, from now on.
    pub fn of(&self, branch: &str) -> Notice {
        let mut branches = self.branches.lock().unwrap_or_else(PoisonError::into_inner);
        let sender = branches
            .entry(branch.to_owned())
            .or_insert_with(|| watch::Sender::new(()));
        Notice(sender.subscribe())
    }

    /// Tells that a branch has changed, or may have. Costs next to nothing where nobody waits.
    pub fn tell(&self, branch: &str) {
        let mut branches = self.branches.lock().unwrap_or_else(PoisonError::into_inner);
        let nobody_waits = branches
            .get(branch)
            .is_some_and(|sender| sender.send(()).is_err());
        if nobody_waits {
            branches.remove(branch);
        }
    }

    /// Tells all who wait, of whatever branch: something may have been missed.
    pub fn tell_all(&self) {
        let mut branches = self.branches.lock().unwrap_or_else(PoisonError::into_inner);
        branches.retain(|_, sender| sender.send(()).is_ok());
    }

    /// The branches for which somebody waits.
    pub(crate) fn waited_for(&self) -> Vec<String> {
        let mut branches = self.branches.lock().unwrap_or_else(PoisonError::into_inner);
        branches.retain(|_, sender| sender.receiver_count() > 0);
        branches.keys().cloned().collect()
    }

    /// Whether other processes' commits are told here, and looked for where they were not, so that who waits need not look
    /// often.
    pub fn relayed(&self) -> bool {
        self.relayed.load(Ordering::Relaxed)
    }

    pub(crate) fn set_relayed(&self, relayed: bool) {
        self.relayed.store(relayed, Ordering::Relaxed);
    }
}

impl Notice {
    /// Waits until the branch was told of since the last time. Where nobody can tell any more, it waits without end.
    pub async fn told(&mut self) {
        if self.0.changed().await.is_err() {
            std::future::pending::<()>().await;
        }
    }
}

#[cfg(test)]
mod tests {
    use std::time::Duration;

    use tokio::time::timeout;

    use super::*;

    const SOON: Duration = Duration::from_millis(50);

    #[tokio::test]
    async fn who_waits_is_told_once_of_many_changes_of_its_branch_alone() {
        let notices = Notices::default();
        let mut north = notices.of("north");
        let mut south = notices.of("south");
        notices.tell("north");
        notices.tell("north");
        assert!(timeout(SOON, north.told()).await.is_ok());
        assert!(timeout(SOON, north.told()).await.is_err());
        assert!(timeout(SOON, south.told()).await.is_err());
        notices.tell("south");
        assert!(timeout(SOON, south.told()).await.is_ok());
        notices.tell_all();
        assert!(timeout(SOON, north.told()).await.is_ok());
        assert!(timeout(SOON, south.told()).await.is_ok());
    }

    #[test]
    fn branches_that_nobody_waits_for_take_no_room() {
        let notices = Notices::default();
        drop(notices.of("north"));
        notices.tell("north");
        notices.tell("south");
        drop(notices.of("east"));
        let west = notices.of("west");
        assert_eq!(notices.waited_for(), ["west"]);
        drop(west);
        assert!(notices.waited_for().is_empty());
        assert!(notices.branches.lock().expect("the list").is_empty());
    }
}
