//! SQLite's write-ahead log, emptied beside the commands: within a commit it would hold up whoever waits for the answer.

use std::time::Duration;

use sea_orm::{ConnectionTrait, DbBackend};
use tracing::warn;

use crate::database::Database;
use crate::error::StoreError;

/// How often what was written is moved from the log into the database.
const INTERVAL: Duration = Duration::from_secs(1);
/// Pages of the log, of 4 KiB, at which a commit empties it after all: a bound where nothing tends it.
pub(crate) const PAGES_MAX: &str = "16384";
/// Bytes that the log's file keeps once it is begun anew, as many as these pages have. While something reads one state for
/// long, as a backup or an export does, the log grows beyond; the room is given back after it.
pub(crate) const BYTES_KEPT: &str = "67108864";

impl Database {
    /// Empties the write-ahead log as it fills, without end. PostgreSQL does so itself.
    pub async fn tend_log(&self) {
        if self.read().get_database_backend() != DbBackend::Sqlite {
            return;
        }
        loop {
            tokio::time::sleep(INTERVAL).await;
            if let Err(error) = self.empty_log().await {
                warn!(%error, "the write-ahead log stays for now");
            }
        }
    }

    /// Moves what is in SQLite's write-ahead log into the database, as far as nobody reads it. Holds up no writer.
    ///
    /// # Errors
    /// Those of the database.
    pub async fn empty_log(&self) -> Result<(), StoreError> {
        self.read()
            .execute_unprepared("PRAGMA wal_checkpoint(PASSIVE)")
            .await?;
        Ok(())
    }
}
