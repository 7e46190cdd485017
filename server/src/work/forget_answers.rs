//! Forgets the answers kept for retries, once nobody can be waiting for them any more.

use std::time::Duration;

use chrono::{DateTime, TimeDelta, Utc};
use forenoon_store::sea_orm::DatabaseTransaction;
use forenoon_store::{Database, Write, record};
use tokio_util::sync::CancellationToken;
use tracing::{debug, warn};

use super::steady::Steady;
use super::{Clock, Error};

/// How long an answer is kept. A crew's telephone may be without a network for a weekend.
const KEPT: TimeDelta = TimeDelta::days(7);
/// How often old ones are looked for.
const INTERVAL: Duration = Duration::from_hours(1);

/// Looks for old answers every hour, until the server goes down.
pub async fn forget_answers(database: Database, clock: &dyn Clock, going_down: CancellationToken) {
    let mut steady = Steady::from(clock.now());
    while going_down
        .run_until_cancelled(tokio::time::sleep(INTERVAL))
        .await
        .is_some()
    {
        let before = steady.believe(clock.now()) - KEPT;
        // No branch: the answers of all are in one table.
        match database.write_untold("", &ForgetAnswers { before }).await {
            Ok(count) => debug!(count, "forgot old answers"),
            Err(error) => warn!(%error, "old answers stay for now"),
        }
    }
}

/// Forgets the answers kept before an instant.
pub struct ForgetAnswers {
    /// The instant.
    pub before: DateTime<Utc>,
}

impl Write for ForgetAnswers {
    type Output = u64;
    type Error = Error;

    async fn run(&self, transaction: &DatabaseTransaction) -> Result<u64, Error> {
        Ok(record::forget_answers(transaction, self.before).await?)
    }
}
