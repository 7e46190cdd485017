//! Passes notices on between the servers on one PostgreSQL database.
//!
//! Branches that were written to are told to the other servers with NOTIFY, after the commit and not in it: PostgreSQL
//! puts all commits that notify into one queue, and commands of different branches shall not wait for each other. Many
//! branches go in one message. A server that dies between a commit and its message leaves the others to find the events
//! by looking, which they always do; so a message may be lost, and truth never is. Each server looks with one question for
//! all branches that are waited for at it: with one for each, ten thousand branches on a few screens would be the most of
//! what the database does.

use std::collections::{BTreeSet, HashMap};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;

use sea_orm::sqlx::postgres::PgListener;
use sea_orm::{ConnectionTrait, DatabaseConnection, DbBackend, DbErr, Statement};
use tokio::sync::Notify;
use tracing::{debug, warn};

use crate::notice::Notices;

/// The channel, within the database.
const CHANNEL: &str = "forenoon_branches";
/// A payload is shorter than 8,000 bytes: PostgreSQL's documentation, NOTIFY.
const PAYLOAD_BYTES_MAX: usize = 7_900;
/// Pause before a listener that failed is tried again.
const PAUSE: Duration = Duration::from_secs(1);
/// How often it is looked whether a branch was written to without a word.
const LOOK_EVERY: Duration = Duration::from_secs(2);

/// Branches to be told to other servers.
#[derive(Clone, Debug, Default)]
pub(crate) struct Outgoing(Arc<Inner>);

#[derive(Debug, Default)]
struct Inner {
    running: AtomicBool,
    branches: Mutex<BTreeSet<String>>,
    some: Notify,
}

impl Outgoing {
    /// Adds a branch. Costs next to nothing where nobody passes it on.
    pub(crate) fn add(&self, branch: &str) {
        if !self.0.running.load(Ordering::Relaxed) {
            return;
        }
        let mut branches = self
            .0
            .branches
            .lock()
            .unwrap_or_else(PoisonError::into_inner);
        branches.insert(branch.to_owned());
        drop(branches);
        self.0.some.notify_one();
    }

    async fn next(&self) -> BTreeSet<String> {
        loop {
            let branches = std::mem::take(
                &mut *self
                    .0
                    .branches
                    .lock()
                    .unwrap_or_else(PoisonError::into_inner),
            );
            if !branches.is_empty() {
                return branches;
            }
            self.0.some.notified().await;
        }
    }
}

/// Passes notices on, both ways, without end. On SQLite, whose file belongs to one server, there is nothing to do.
pub(crate) async fn relay(
    connection: &DatabaseConnection,
    url: Option<&str>,
    notices: &Notices,
    outgoing: &Outgoing,
) {
    let Some(url) = url else {
        return std::future::pending().await;
    };
    outgoing.0.running.store(true, Ordering::Relaxed);
    tokio::join!(
        tell(connection, outgoing),
        listen(url, notices),
        look(connection, notices)
    );
}

async fn tell(connection: &DatabaseConnection, outgoing: &Outgoing) {
    loop {
        let branches = outgoing.next().await;
        for payload in payloads(&branches) {
            if let Err(error) = notify(connection, payload).await {
                warn!(%error, "other servers could not be told; they find it by looking");
            }
        }
    }
}

async fn notify(connection: &DatabaseConnection, payload: String) -> Result<(), DbErr> {
    let statement = Statement::from_sql_and_values(
        DbBackend::Postgres,
        "SELECT pg_notify($1, $2)",
        [CHANNEL.into(), payload.into()],
    );
    connection.execute_raw(statement).await?;
    Ok(())
}

/// Ids have neither spaces nor line ends; a line each.
fn payloads(branches: &BTreeSet<String>) -> Vec<String> {
    let mut payloads: Vec<String> = Vec::new();
    for branch in branches {
        match payloads.last_mut() {
            Some(last) if last.len() + 1 + branch.len() <= PAYLOAD_BYTES_MAX => {
                last.push('\n');
                last.push_str(branch);
            }
            _ => payloads.push(branch.clone()),
        }
    }
    payloads
}

async fn listen(url: &str, notices: &Notices) {
    loop {
        let fault = match hear(url, notices).await {
            Ok(never) => match never {},
            Err(fault) => fault,
        };
        notices.set_relayed(false);
        debug!(%fault, "the listener was cut off; trying again");
        tokio::time::sleep(PAUSE).await;
    }
}

/// Looks for what no message told of, for all who wait. Whoever is told for nothing finds nothing new.
async fn look(connection: &DatabaseConnection, notices: &Notices) {
    let mut known: HashMap<String, i64> = HashMap::new();
    loop {
        tokio::time::sleep(LOOK_EVERY).await;
        let branches = notices.waited_for();
        // Where nothing is told, those who wait look for themselves.
        if branches.is_empty() || !notices.relayed() {
            known.clear();
            continue;
        }
        match last_numbers(connection, &branches).await {
            Ok(numbers) => {
                for (branch, number) in &numbers {
                    if known.get(branch) != Some(number) {
                        notices.tell(branch);
                    }
                }
                known = numbers;
            }
            Err(error) => warn!(%error, "it could not be looked for events; trying again"),
        }
    }
}

/// The numbers of the branches' last events.
async fn last_numbers(
    connection: &DatabaseConnection,
    branches: &[String],
) -> Result<HashMap<String, i64>, DbErr> {
    let statement = Statement::from_sql_and_values(
        DbBackend::Postgres,
        "SELECT branch_id, last_seq FROM branch_sequence WHERE branch_id = ANY (string_to_array($1, E'\\n'))",
        [branches.join("\n").into()],
    );
    let rows = connection.query_all_raw(statement).await?;
    let numbers = rows
        .iter()
        .map(|row| Ok((row.try_get("", "branch_id")?, row.try_get("", "last_seq")?)));
    numbers.collect()
}

async fn hear(
    url: &str,
    notices: &Notices,
) -> Result<std::convert::Infallible, sea_orm::sqlx::Error> {
    let mut listener = PgListener::connect(url).await?;
    listener.listen(CHANNEL).await?;
    notices.set_relayed(true);
    // What was said before is not heard any more.
    notices.tell_all();
    loop {
        match listener.try_recv().await? {
            Some(notification) => {
                for branch in notification.payload().lines() {
                    notices.tell(branch);
                }
            }
            None => notices.tell_all(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn many_branches_go_in_few_payloads_of_bounded_length() {
        let branches: BTreeSet<String> = (0..1_000).map(|ix| format!("branch-{ix:04}")).collect();
        let payloads = payloads(&branches);
        assert_eq!(payloads.len(), 2);
        assert!(payloads.iter().all(|one| one.len() <= PAYLOAD_BYTES_MAX));
        let told: BTreeSet<String> = payloads
            .iter()
            .flat_map(|one| one.lines().map(str::to_owned))
            .collect();
        assert_eq!(told, branches);
    }

    #[tokio::test]
    async fn branches_wait_for_the_relay_once_each() {
        let outgoing = Outgoing::default();
        outgoing.add("lost");
        outgoing.0.running.store(true, Ordering::Relaxed);
        outgoing.add("north");
        outgoing.add("north");
        outgoing.add("south");
        let next = outgoing.next().await;
        assert_eq!(next, ["north", "south"].map(str::to_owned).into());
    }
}
