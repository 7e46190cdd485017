//! Opens a database and brings it to this build's schema.

use std::fs;
use std::path::{Path, PathBuf};
use std::time::Duration;

use forenoon_migrations::compatibility;
use sea_orm::sqlx::sqlite::{SqliteConnection, SqliteJournalMode, SqliteSynchronous};
use sea_orm::sqlx::{self, Connection, Executor};
use sea_orm::{ConnectOptions, DatabaseConnection, DbErr};

use crate::database::Database;
use crate::error::StoreError;
use crate::migrate::{MigrateFault, knows_schema, migrate};
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
    /// The server answers and takes no writes: it is a standby, or is out of room.
    #[error("the database takes no writes now: {reason}")]
    TakesNoWrites {
        /// The database's words.
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
        Ok(required.is_none_or(|required| knows_schema(&required)))
    }
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
        .map_err(|error| sqlite_fault(path, error.into()))?;
    migrate(&write).await.map_err(|fault| match fault {
        MigrateFault::Newer { unknown, required } => OpenError::SchemaNewer { unknown, required },
        MigrateFault::Store(error) => sqlite_fault(path, error),
    })?;
    let read = connect_sqlite(path, options.connections_max, options.wait_max, true)
        .await
        .map_err(|error| sqlite_fault(path, error.into()))?;
    Ok(Database::new(write, read, None, options.wait_max))
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
        .map_sqlx_sqlite_pool_opts(|pool| {
            pool.after_release(|connection, _| Box::pin(has_no_transaction(connection)))
        })
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
                .pragma("wal_autocheckpoint", write_ahead::PAGES_MAX)
                .pragma("journal_size_limit", write_ahead::BYTES_KEPT);
            if read_only {
                sqlite.pragma("query_only", "ON")
            } else {
                sqlite
            }
        });
    sea_orm::Database::connect(connect).await
}

/// Whether a connection that is given back may be used again.
///
/// Where a disk is full, SQLite ends a transaction by itself when its commit fails. `sqlx` 0.9 goes on counting it, as there is
/// nothing any more that could be rolled back, and takes the next transaction for one within it: a savepoint, whose release
/// commits nothing. Commands would be answered as done and be gone with the connection.
async fn has_no_transaction(connection: &mut SqliteConnection) -> Result<bool, sqlx::Error> {
    if connection.is_in_transaction() {
        // A rollback of a transaction that was dropped may still be on its way.
        connection.ping().await?;
    }
    Ok(!connection.is_in_transaction())
}

fn sqlite_fault(path: &Path, error: StoreError) -> OpenError {
    const NOT_A_DATABASE: &str = "file is not a database";
    let words = error.to_string();
    if words.contains(NOT_A_DATABASE) {
        return OpenError::NotADatabase {
            path: path.to_owned(),
        };
    }
    match error {
        StoreError::Other(error) => OpenError::Migration(error),
        // Another program writes to the file, and may be done when the server is started again.
        StoreError::Contention { .. } => OpenError::Unreachable { reason: words },
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
        MigrateFault::Store(error) => postgres_fault(error),
    })?;
    let url = Some(url.to_owned());
    Ok(Database::new(pool.clone(), pool, url, options.wait_max))
}

/// A database that is away, busy or a standby for the moment is none that is damaged: whoever supervises the server is to
/// start it again.
fn postgres_fault(error: StoreError) -> OpenError {
    let reason = error.to_string();
    match error {
        StoreError::Unavailable { .. } | StoreError::Contention { .. } => {
            OpenError::Unreachable { reason }
        }
        StoreError::NotWritable { .. } | StoreError::Full { .. } => {
            OpenError::TakesNoWrites { reason }
        }
        StoreError::Other(error) => OpenError::Migration(error),
        StoreError::Unique(_) | StoreError::ForeignKey { .. } | StoreError::Guard(_) => {
            OpenError::Migration(DbErr::Custom(reason))
        }
    }
}
