//! A whole copy of an SQLite database, made while a server writes to it.
//!
//! `VACUUM INTO` reads one state in one transaction, so that the copy has every command acknowledged before it began,
//! and no half of any. It is written under another name, checked, brought to the disk and only then given its own: a
//! file of that name is a whole backup or is not there. A copy file by file would not be one, as the newest commands
//! are in the file of the log beside the database.

use std::fs::File;
use std::io;
use std::path::{Path, PathBuf};
use std::time::Duration;

use forenoon_migrations::applied;
use sea_orm::sqlx::sqlite::SqliteSynchronous;
use sea_orm::{
    ConnectOptions, ConnectionTrait, DatabaseConnection, DbBackend, DbErr, EntityTrait, QueryOrder,
    Statement, Value,
};

use crate::options::{DatabaseOptions, Location};

/// Faults that are told of a copy; more would tell nothing new.
const FAULTS_MAX: usize = 10;

/// Why there is no backup.
#[derive(Debug, thiserror::Error)]
pub enum BackupError {
    /// The URL is wrong.
    #[error("the database URL is wrong: {0}")]
    Url(&'static str),
    /// Another kind of database, which has its own tools.
    #[error(
        "a PostgreSQL database is backed up by its own tools, while serving: \
         pg_dump --format=custom --file={} --dbname=URL", file.display()
    )]
    OtherTools {
        /// Where the backup was to go.
        file: PathBuf,
    },
    /// Something is there already.
    #[error("{} is there already; a backup never writes over a file", file.display())]
    Exists {
        /// Where the backup was to go.
        file: PathBuf,
    },
    /// There is no database of ours.
    #[error("the database {} cannot be read: {reason}", path.display())]
    NoDatabase {
        /// Its file.
        path: PathBuf,
        /// The database's words.
        reason: String,
    },
    /// The copy cannot be written.
    #[error("the backup {} cannot be written: {reason}", file.display())]
    NotWritten {
        /// Where the backup was to go.
        file: PathBuf,
        /// The system's or the database's words.
        reason: String,
    },
    /// The copy is not sound. Nothing is left of it.
    #[error("the copy is not sound, so that it was thrown away: {}", faults.join("; "))]
    Unsound {
        /// What SQLite finds.
        faults: Vec<String>,
    },
}

/// A backup that was made.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Backup {
    /// Its size.
    pub bytes: u64,
    /// The last migration it has.
    pub schema: String,
}

/// Writes a whole copy of an SQLite database to a file that is not there yet, and checks it. Servers go on reading and
/// writing meanwhile.
///
/// # Errors
/// Where there is no SQLite database, the file is there or cannot be written, or the copy is not sound.
pub async fn backup(options: &DatabaseOptions, file: &Path) -> Result<Backup, BackupError> {
    let path = match Location::parse(&options.url).map_err(BackupError::Url)? {
        Location::Sqlite(path) => path,
        Location::Postgres(_) => {
            return Err(BackupError::OtherTools {
                file: file.to_owned(),
            });
        }
    };
    if file.symlink_metadata().is_ok() {
        return Err(BackupError::Exists {
            file: file.to_owned(),
        });
    }
    let not_written = |reason: String| BackupError::NotWritten {
        file: file.to_owned(),
        reason,
    };
    let folder = match file.parent() {
        Some(folder) if !folder.as_os_str().is_empty() => folder,
        _ => Path::new("."),
    };
    // Its owner's alone: it has all that the database has.
    let beside = tempfile::Builder::new()
        .prefix(".forenoon-backup-")
        .suffix(".partial")
        .tempfile_in(folder)
        .map_err(|error| not_written(error.to_string()))?
        .into_temp_path();
    copy(&path, options.wait_max, &beside, &not_written).await?;
    let schema = check(&beside, options.wait_max).await?;
    let written = File::open(&beside).map_err(|error| not_written(error.to_string()))?;
    let bytes = to_disk(&written).map_err(|error| not_written(error.to_string()))?;
    beside
        .persist_noclobber(file)
        .map_err(|error| match error.error.kind() {
            io::ErrorKind::AlreadyExists => BackupError::Exists {
                file: file.to_owned(),
            },
            _ => not_written(error.error.to_string()),
        })?;
    File::open(folder)
        .and_then(|folder| folder.sync_all())
        .map_err(|error| not_written(error.to_string()))?;
    Ok(Backup { bytes, schema })
}

fn to_disk(file: &File) -> io::Result<u64> {
    file.sync_all()?;
    Ok(file.metadata()?.len())
}

async fn copy(
    path: &Path,
    wait_max: Duration,
    to: &Path,
    not_written: &impl Fn(String) -> BackupError,
) -> Result<(), BackupError> {
    let no_database = |error: DbErr| BackupError::NoDatabase {
        path: path.to_owned(),
        reason: error.to_string(),
    };
    let to = to
        .to_str()
        .ok_or_else(|| not_written("its path is not in UTF-8".to_owned()))?;
    let source = connect(path, wait_max).await.map_err(no_database)?;
    // A file without our schema is none of ours.
    last_migration(&source).await.map_err(no_database)?;
    let copied = source
        .execute_raw(Statement::from_sql_and_values(
            DbBackend::Sqlite,
            "VACUUM INTO ?",
            [Value::from(to)],
        ))
        .await;
    let closed = source.close().await;
    copied.map_err(|error| not_written(error.to_string()))?;
    closed.map_err(no_database)
}

/// Finds nothing wrong with a copy and answers with the last migration it has.
async fn check(copy: &Path, wait_max: Duration) -> Result<String, BackupError> {
    let unsound = |error: DbErr| BackupError::Unsound {
        faults: vec![error.to_string()],
    };
    let connection = connect(copy, wait_max).await.map_err(unsound)?;
    let found = faults(&connection).await;
    let schema = last_migration(&connection).await;
    connection.close().await.map_err(unsound)?;
    let faults = found.map_err(unsound)?;
    if !faults.is_empty() {
        return Err(BackupError::Unsound { faults });
    }
    schema.map_err(unsound)
}

async fn faults(connection: &DatabaseConnection) -> Result<Vec<String>, DbErr> {
    let mut faults = Vec::new();
    for row in rows(connection, &format!("PRAGMA integrity_check({FAULTS_MAX})")).await? {
        let words: String = row.try_get_by_index(0)?;
        if words != "ok" {
            faults.push(words);
        }
    }
    for row in rows(connection, "PRAGMA foreign_key_check")
        .await?
        .into_iter()
        .take(FAULTS_MAX)
    {
        let (table, parent): (String, String) =
            (row.try_get_by_index(0)?, row.try_get_by_index(2)?);
        faults.push(format!("a row of {table} refers to no row of {parent}"));
    }
    Ok(faults)
}

async fn rows(
    connection: &DatabaseConnection,
    query: &str,
) -> Result<Vec<sea_orm::QueryResult>, DbErr> {
    let query = Statement::from_string(DbBackend::Sqlite, query);
    connection.query_all_raw(query).await
}

async fn last_migration(connection: &DatabaseConnection) -> Result<String, DbErr> {
    applied::Entity::find()
        .order_by_desc(applied::Column::Version)
        .one(connection)
        .await?
        .map(|last| last.version)
        .ok_or_else(|| DbErr::Custom("it has no schema of this program".to_owned()))
}

/// One connection, which changes neither the file's mode nor its schema.
async fn connect(path: &Path, wait_max: Duration) -> Result<DatabaseConnection, DbErr> {
    let path = path.to_owned();
    let mut connect = ConnectOptions::new("sqlite://");
    connect
        .max_connections(1)
        .acquire_timeout(wait_max)
        .sqlx_logging(false)
        .map_sqlx_sqlite_opts(move |sqlite| {
            sqlite
                .filename(&path)
                .create_if_missing(false)
                .busy_timeout(wait_max)
                .synchronous(SqliteSynchronous::Full)
        });
    sea_orm::Database::connect(connect).await
}
