//! Brings a database to this build's schema, beside servers of an earlier version that serve.

use std::time::Duration;

use forenoon_migrations::{Migrator, MigratorTrait, compatibility};
use sea_orm::{
    ConnectionTrait, DatabaseConnection, DbBackend, DbErr, SqliteTransactionMode, Statement,
    TransactionOptions, TransactionTrait,
};
use tracing::warn;

use crate::error::StoreError;

/// Guards the migration of one PostgreSQL database against several servers that start at once.
const MIGRATION_LOCK: i64 = 0x666f_7265_6e6f_6f6e;
/// What changes a table waits in PostgreSQL until nobody reads it, and all who come later wait behind it: beside a backup
/// that reads for an hour, servers that serve would stand still for so long. So it waits a moment, lets them go on, and
/// comes again.
const WAIT_FOR_LOCKS: &str = "SET LOCAL lock_timeout = '1s'";
/// Pause before it comes again.
const PAUSE: Duration = Duration::from_secs(4);
/// How often it comes before the start is given up; whoever supervises the server starts it again.
const ATTEMPTS_MAX: u32 = 30;

/// Why a database has not this build's schema.
pub(crate) enum MigrateFault {
    /// A later build has changed it.
    Newer {
        unknown: Vec<String>,
        required: Option<String>,
    },
    /// What the database says.
    Store(StoreError),
}

impl From<DbErr> for MigrateFault {
    fn from(error: DbErr) -> Self {
        Self::Store(error.into())
    }
}

/// The name of this build's schema: that of its last migration.
pub fn schema() -> String {
    Migrator::migrations()
        .last()
        .map(|migration| migration.name().to_owned())
        .unwrap_or_default()
}

/// Whether this build's schema is the named one, or came of it.
pub fn knows_schema(name: &str) -> bool {
    Migrator::migrations()
        .iter()
        .any(|known| known.name() == name)
}

/// Applies what is missing, all of it or nothing. A later build may have gone on before: where what it did only adds, all of
/// this build's schema is there, and nothing is done.
pub(crate) async fn migrate(connection: &DatabaseConnection) -> Result<(), MigrateFault> {
    let is_postgres = connection.get_database_backend() == DbBackend::Postgres;
    let mut attempt = 1;
    loop {
        let detail = match apply(connection, is_postgres).await {
            Err(MigrateFault::Store(StoreError::Contention { detail }))
                if is_postgres && attempt < ATTEMPTS_MAX =>
            {
                detail
            }
            done => return done,
        };
        warn!(
            attempt,
            detail, "others read or write what the new schema changes; trying again"
        );
        tokio::time::sleep(PAUSE).await;
        attempt += 1;
    }
}

async fn apply(connection: &DatabaseConnection, is_postgres: bool) -> Result<(), MigrateFault> {
    let transaction = connection
        .begin_with_options(TransactionOptions {
            sqlite_transaction_mode: Some(SqliteTransactionMode::Immediate),
            ..TransactionOptions::default()
        })
        .await?;
    if is_postgres {
        // Another server that changes the schema is waited for: it is this one's work that it does.
        transaction
            .execute_raw(Statement::from_sql_and_values(
                DbBackend::Postgres,
                "SELECT pg_advisory_xact_lock($1)",
                [MIGRATION_LOCK.into()],
            ))
            .await?;
        transaction.execute_unprepared(WAIT_FOR_LOCKS).await?;
    }
    let applied: Vec<String> = Migrator::get_migration_models(&transaction)
        .await?
        .into_iter()
        .map(|applied| applied.version)
        .collect();
    let unknown: Vec<String> = applied
        .iter()
        .filter(|one| !knows_schema(one))
        .cloned()
        .collect();
    if !unknown.is_empty() {
        let required = compatibility::required(&transaction).await?;
        let all_applied = Migrator::migrations()
            .iter()
            .all(|known| applied.iter().any(|one| one == known.name()));
        if !all_applied || !required.as_deref().is_some_and(knows_schema) {
            return Err(MigrateFault::Newer { unknown, required });
        }
        warn!(
            unknown = unknown.join(", "),
            "the schema is a later version's, which this one can work with"
        );
        return Ok(());
    }
    Migrator::up(&transaction, None).await?;
    transaction.commit().await?;
    Ok(())
}
