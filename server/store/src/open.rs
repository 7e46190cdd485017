//! Opens a database and brings it to this build's schema.

use std::fs;
use std::path::{Path, PathBuf};
use std::time::Duration;

use forenoon_migrations::{Migrator, MigratorTrait, compatibility};
use sea_orm::sqlx::Executor;
use sea_orm::sqlx::sqlite::{SqliteJournalMode, SqliteSynchronous};
use sea_orm::{
    ConnectOptions, ConnectionTrait, DatabaseConnection, DbErr, SqliteTransactionMode, Statement,
    TransactionOptions, TransactionTrait,
};

use tracing::warn;

use crate::database::Database;
use crate::error::StoreError;
use crate::options::{DatabaseOptions, Location};
use crate::write_ahead;

/// Statements that each connection keeps prepared: all that the server asks, and plans' rows in some lengths.
const STATEMENTS_KEPT: usize = 400;
/// How long after its last use a connection to PostgreSQL is taken to be sound without a question, which would cost each
/// read as much again.
const TRUSTED_FOR: Duration = Duration::from_secs(1);
/// PostgreSQL's setting for how long a transaction may wait for its server's next statement.
const STANDS_STILL: &str = "idle_in_transaction_session_timeout";
/// A server that is frozen or cut off keeps what it has locked for so long, unless the database's address says otherwise. An
/// export waits in its transaction for who reads it, so this is longer than any write takes.
const STANDS_STILL_MAX: &str = "60s";
/// The quicker way to store what is long, where the server was built with it and knows the setting: drafts, answers and audit
/// entries take a fifth of the time of a call for proposals otherwise.
const COMPRESS_QUICKLY: &str = "SELECT set_config(name, 'lz4', false) FROM pg_settings \
     WHERE name = 'default_toast_compression' AND 'lz4' = ANY (enumvals)";
/// Guards the migration of one PostgreSQL database against several servers that start at once.
const MIGRATION_LOCK: i64 = 0x666f_7265_6e6f_6f6e;

/// Why a database cannot be used.
#[derive(Debug, thiserror::Error)]
pub enum OpenError {
    /// The URL is wrong.
    #[error("the database URL is wrong: {0}")]
    Url(&'static str),
    /// The file or its folder cannot be written.
    #[error("the database file {} cannot be written: {reason}", path.display())]
    NotWritable {
        /// The file.
        path: PathBuf,
        /// The system's or the database's words.
        reason: String,
    },
    /// The file is there and is no SQLite database.
    #[error("{} is not an SQLite database", path.display())]
    NotADatabase {
        /// The file.
        path: PathBuf,
    },
    /// The server cannot be reached.
    #[error("the database cannot be reached: {reason}")]
    Unreachable {
        /// The database's words.
        reason: String,
    },
    /// A later build has changed the schema, so that this one cannot work with it.
    #[error(
        "the database was made by a later version: it has {} that this one does not know{}. \
         Run that version, or restore a backup", unknown.join(", "), needs(required.as_deref())
    )]
    SchemaNewer {
        /// Migrations applied that this build does not know.
        unknown: Vec<String>,
        /// The migration that a server must know to work with the schema, where the schema says so.
        required: Option<String>,
    },
    /// The schema could not be brought up to date; nothing of it was changed.
    #[error("the schema could not be brought up to date: {0}")]
    Migration(DbErr),
}

fn needs(required: Option<&str>) -> String {
    required.map_or_else(String::new, |required| {
        format!("; it needs a server that knows {required}")
    })
}

/// The name of this build's schema: that of its last migration.
pub fn schema() -> String {
    Migrator::migrations()
        .last()
        .map(|migration| migration.name().to_owned())
        .unwrap_or_default()
}

impl Database {
    /// Opens the database, creates it where it is an absent file, and brings it to this build's schema.
    ///
    /// # Errors
    /// Where it cannot be reached or written, or a later build has changed its schema.
    pub async fn open(options: &DatabaseOptions) -> Result<Self, OpenError> {
        match Location::parse(&options.url).map_err(OpenError::Url)? {
            Location::Sqlite(path) => open_sqlite(&path, options).await,
            Location::Postgres(url) => open_postgres(&url, options).await,
        }
    }

    /// Whether this build can work with the schema as it is now: a later one may have changed it since.
    ///
    /// # Errors
    /// Those of the database.
    pub async fn still_fits(&self) -> Result<bool, StoreError> {
        let transaction = self.begin_read().await?;
        let required = compatibility::required(&transaction).await?;
        transaction.commit().await?;
        Ok(required.is_none_or(|required| knows(&required)))
    }
}

fn knows(migration: &str) -> bool {
    Migrator::migrations()
        .iter()
        .any(|known| known.name() == migration)
}

async fn open_sqlite(path: &Path, options: &DatabaseOptions) -> Result<Database, OpenError> {
    if let Some(folder) = path.parent() {
        fs::create_dir_all(folder).map_err(|error| OpenError::NotWritable {
            path: path.to_owned(),
            reason: error.to_string(),
        })?;
    }
    let write = connect_sqlite(path, 1, options.wait_max, false)
        .await
        .map_err(|error| sqlite_fault(path, error))?;
    migrate(&write).await.map_err(|fault| match fault {
        MigrateFault::Newer { unknown, required } => OpenError::SchemaNewer { unknown, required },
        MigrateFault::Database(error) => sqlite_fault(path, error),
    })?;
    let read = connect_sqlite(path, options.connections_max, options.wait_max, true)
        .await
        .map_err(|error| sqlite_fault(path, error))?;
    Ok(Database::new(write, read, None))
}

async fn connect_sqlite(
    path: &Path,
    connections: u32,
    wait_max: Duration,
    read_only: bool,
) -> Result<DatabaseConnection, DbErr> {
    let path = path.to_owned();
    let mut connect = ConnectOptions::new("sqlite://");
    connect
        .max_connections(connections)
        .acquire_timeout(wait_max)
        // A pool that opens anew after a pause would pay the pragmas again, for nothing.
        .idle_timeout(None::<Duration>)
        .max_lifetime(None::<Duration>)
        // Nothing comes between this process and its file.
        .test_before_acquire(false)
        .sqlx_logging(false)
        .map_sqlx_sqlite_opts(move |sqlite| {
            let sqlite = sqlite
                .filename(&path)
                .create_if_missing(!read_only)
                .foreign_keys(true)
                .busy_timeout(wait_max)
                .journal_mode(SqliteJournalMode::Wal)
                // NORMAL would lose acknowledged commands with the power.
                .synchronous(SqliteSynchronous::Full)
                .statement_cache_capacity(STATEMENTS_KEPT)
                // The proposals of a re-plan are some megabytes of rows: with SQLite's 2 MB they would spill and be read
                // again before the commit. Kibibytes where negative; taken as needed.
                .pragma("cache_size", "-16384")
                // What a statement with triggers notes, to be able to undo itself, would go through a file.
                .pragma("temp_store", "MEMORY")
                .pragma("wal_autocheckpoint", write_ahead::PAGES_MAX);
            if read_only {
                sqlite.pragma("query_only", "ON")
            } else {
                sqlite
            }
        });
    sea_orm::Database::connect(connect).await
}

fn sqlite_fault(path: &Path, error: DbErr) -> OpenError {
    const NOT_A_DATABASE: &str = "file is not a database";
    let words = error.to_string();
    if words.contains(NOT_A_DATABASE) {
        return OpenError::NotADatabase {
            path: path.to_owned(),
        };
    }
    match StoreError::from(error) {
        StoreError::Other(error) => OpenError::Migration(error),
        _ => OpenError::NotWritable {
            path: path.to_owned(),
            reason: words,
        },
    }
}

async fn open_postgres(url: &str, options: &DatabaseOptions) -> Result<Database, OpenError> {
    let told = url.contains(STANDS_STILL);
    let mut connect = ConnectOptions::new(url);
    connect
        .max_connections(options.connections_max)
        .acquire_timeout(options.wait_max)
        .connect_timeout(options.wait_max)
        .test_before_acquire_if_idle_for(TRUSTED_FOR)
        .map_sqlx_postgres_opts(move |options| {
            let options = options.statement_cache_capacity(STATEMENTS_KEPT);
            if told {
                options
            } else {
                options.options([(STANDS_STILL, STANDS_STILL_MAX)])
            }
        })
        .map_sqlx_postgres_pool_opts(|pool| {
            pool.after_connect(|connection, _| {
                Box::pin(async move {
                    connection.execute(COMPRESS_QUICKLY).await?;
                    Ok(())
                })
            })
        })
        .sqlx_logging(false);
    let pool =
        sea_orm::Database::connect(connect)
            .await
            .map_err(|error| OpenError::Unreachable {
                reason: error.to_string(),
            })?;
    migrate(&pool).await.map_err(|fault| match fault {
        MigrateFault::Newer { unknown, required } => OpenError::SchemaNewer { unknown, required },
        MigrateFault::Database(error) => OpenError::Migration(error),
    })?;
    Ok(Database::new(pool.clone(), pool, Some(url.to_owned())))
}

enum MigrateFault {
    Newer {
        unknown: Vec<String>,
        required: Option<String>,
    },
    Database(DbErr),
}

impl From<DbErr> for MigrateFault {
    fn from(error: DbErr) -> Self {
        Self::Database(error)
    }
}

/// Applies what is missing, all of it or nothing. A later build may have gone on before: where what it did only adds, all of
/// this build's schema is there, and nothing is done.
async fn migrate(connection: &DatabaseConnection) -> Result<(), MigrateFault> {
    let transaction = connection
        .begin_with_options(TransactionOptions {
            sqlite_transaction_mode: Some(SqliteTransactionMode::Immediate),
            ..TransactionOptions::default()
        })
        .await?;
    if let sea_orm::DbBackend::Postgres = transaction.get_database_backend() {
        transaction
            .execute_raw(Statement::from_sql_and_values(
                sea_orm::DbBackend::Postgres,
                "SELECT pg_advisory_xact_lock($1)",
                [MIGRATION_LOCK.into()],
            ))
            .await?;
    }
    let applied: Vec<String> = Migrator::get_migration_models(&transaction)
        .await?
        .into_iter()
        .map(|applied| applied.version)
        .collect();
    let unknown: Vec<String> = applied.iter().filter(|one| !knows(one)).cloned().collect();
    if !unknown.is_empty() {
        let required = compatibility::required(&transaction).await?;
        let all_applied = Migrator::migrations()
            .iter()
            .all(|known| applied.iter().any(|one| one == known.name()));
        if !all_applied || !required.as_deref().is_some_and(knows) {
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
