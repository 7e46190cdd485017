//! The program: settings, log, listener, database, signals, and an exit code for each way it can end.

use std::io::{self, Write};
use std::net::SocketAddr;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

use forenoon_roads::Roads;
use forenoon_store::{Backup, BackupError, Database, OpenError, backup};
use tokio::net::TcpListener;
use tokio::signal::unix::{SignalKind, signal};
use tokio_util::sync::CancellationToken;
use tonic::transport::Identity;
use tracing::{debug, error, info, warn};

use crate::config::{Arguments, AskFor, Certificate, ConfigError, KeyTask, Settings, Task};
use crate::edge::{SignIn, State};
use crate::keys;
use crate::serve::{Entrance, ServeError, serve};
use crate::telemetry;
use crate::work::archive::{ArchiveError, ArchivedMonth, archive};
use crate::work::bench::settle_hours;
use crate::work::branch::all_ids;
use crate::work::day::WatchLimits;
use crate::work::plan::{RoadsError, Searches, read_roads, throw_old_drafts_away};
use crate::work::sign_in::{KeyError, Keys};
use crate::work::{Clock, SystemClock, forget_answers};

/// How often a server looks whether it can still work with the schema.
const SCHEMA_LOOK: Duration = Duration::from_secs(5);

/// Why the program ended other than as asked.
#[derive(Debug, thiserror::Error)]
pub enum StartError {
    /// The settings are wrong.
    #[error(transparent)]
    Config(#[from] ConfigError),
    /// The address cannot be listened on.
    #[error("cannot listen on {address}: {}", why_not(.cause))]
    Listen {
        /// The address.
        address: SocketAddr,
        /// The system's words.
        cause: io::Error,
    },
    /// The database cannot be used.
    #[error(transparent)]
    Database(#[from] OpenError),
    /// No backup was made.
    #[error(transparent)]
    Backup(#[from] BackupError),
    /// A later version has changed the schema while this one served.
    #[error(
        "a later version changed the database so that this one cannot work with it; run that version"
    )]
    Outdated,
    /// It is not said how many days stay.
    #[error("setting days_kept is missing: it says how many days stay in the database")]
    DaysKept,
    /// Not all was archived that could be.
    #[error("archiving stopped; what had gone is in its files: {0}")]
    Archive(#[from] ArchiveError),
    /// A file of the certificate cannot be read.
    #[error("{} cannot be read: {cause}", path.display())]
    Identity {
        /// The file.
        path: PathBuf,
        /// The system's words.
        cause: io::Error,
    },
    /// No key was given out or ended.
    #[error(transparent)]
    Key(#[from] KeyError),
    /// The file of roads is of no use.
    #[error(transparent)]
    Roads(#[from] RoadsError),
    /// The port file cannot be written.
    #[error("the port file {} cannot be written: {cause}", path.display())]
    PortFile {
        /// The file.
        path: PathBuf,
        /// The system's words.
        cause: io::Error,
    },
    /// Serving ended with an error.
    #[error(transparent)]
    Serve(#[from] ServeError),
    /// The system refuses threads or signals.
    #[error("the system refuses: {0}")]
    System(io::Error),
}

impl StartError {
    /// The exit code, as `--help` lists them.
    pub fn exit_code(&self) -> u8 {
        match self {
            Self::Config(_)
            | Self::DaysKept
            | Self::Database(OpenError::Url(_))
            | Self::Identity { .. }
            | Self::Serve(ServeError::Certificate(_))
            | Self::Backup(BackupError::Url(_) | BackupError::OtherTools { .. }) => 3,
            Self::Listen { .. } => 4,
            Self::Database(OpenError::NotWritable { .. } | OpenError::TakesNoWrites { .. }) => 5,
            Self::Database(OpenError::SchemaNewer { .. }) | Self::Outdated => 6,
            Self::Database(OpenError::Unreachable { .. }) => 7,
            Self::Database(OpenError::NotADatabase { .. } | OpenError::Migration(_)) => 8,
            Self::Serve(ServeError::CutOff(_)) => 9,
            Self::Backup(_) => 10,
            Self::Archive(_) => 11,
            Self::Roads(_) => 12,
            Self::Key(_) => 13,
            Self::Serve(ServeError::Transport(_) | ServeError::Reflection(_))
            | Self::PortFile { .. }
            | Self::System(_) => 1,
        }
    }
}

fn why_not(cause: &io::Error) -> String {
    match cause.kind() {
        io::ErrorKind::AddrInUse => {
            "another program listens there; stop it, or choose another with --listen".to_owned()
        }
        io::ErrorKind::PermissionDenied => {
            "ports below 1024 need a privilege; choose another with --listen".to_owned()
        }
        _ => cause.to_string(),
    }
}

/// Runs the server until SIGTERM or SIGINT, or does the task that is asked for instead.
///
/// # Errors
/// Every way in which it can end other than as asked.
pub fn run(arguments: Arguments) -> Result<(), StartError> {
    let task = arguments.task.clone();
    let settings = arguments.settings()?;
    telemetry::begin(settings.log_format, &settings.log)?;
    let runtime = tokio::runtime::Builder::new_multi_thread()
        .enable_all()
        .build()
        .map_err(StartError::System)?;
    match task {
        None => runtime.block_on(run_with(settings)),
        Some(Task::Backup { file }) => {
            let Backup { bytes, schema } = runtime.block_on(backup(&settings.database, &file))?;
            let file = file.display();
            say(&format!("{file}: {bytes} bytes, checked, schema {schema}"))
        }
        Some(Task::Archive { folder, branch }) => {
            runtime.block_on(archive_all(&settings, branch, &folder))
        }
        Some(Task::Key(task)) => runtime.block_on(tend_keys(&settings, task)),
    }
}

fn say(line: &str) -> Result<(), StartError> {
    writeln!(io::stdout(), "{line}").map_err(StartError::System)
}

/// Archives one branch or all, and tells what went and what stays.
async fn archive_all(
    settings: &Settings,
    branch: Option<String>,
    folder: &Path,
) -> Result<(), StartError> {
    let days_kept = settings.days_kept.ok_or(StartError::DaysKept)?;
    let database = Database::open(&settings.database).await?;
    let branches = match branch {
        Some(branch) => vec![branch],
        None => all_ids(database.read()).await.map_err(ArchiveError::Work)?,
    };
    for branch in branches {
        let months = archive(&database, &SystemClock, &branch, days_kept, folder).await?;
        if months.is_empty() {
            say(&format!("{branch}: nothing is old enough"))?;
        }
        for month in months {
            let ArchivedMonth {
                first,
                file,
                filed,
                removed,
                held,
            } = month;
            let month = first.format("%Y-%m");
            let told = match file {
                Some(file) => format!(
                    "{filed} rows in {}, {removed} rows gone from the database",
                    file.display()
                ),
                None => "nothing may go now".to_owned(),
            };
            say(&format!("{branch} {month}: {told}"))?;
            for (day, reason) in held {
                say(&format!("{branch} {day} stays: {reason}"))?;
            }
        }
    }
    database
        .close()
        .await
        .map_err(|error| StartError::Archive(ArchiveError::from(error)))
}

/// Gives out, lists or ends keys.
async fn tend_keys(settings: &Settings, task: KeyTask) -> Result<(), StartError> {
    let database = Database::open(&settings.database).await?;
    for line in keys::tend(&database, task, SystemClock.now()).await? {
        say(&line)?;
    }
    if let Err(error) = database.close().await {
        warn!(%error, "the database did not close");
    }
    Ok(())
}

async fn run_with(settings: Settings) -> Result<(), StartError> {
    // The address first: a second server started by mistake must not touch the database.
    let listener =
        TcpListener::bind(settings.listen)
            .await
            .map_err(|cause| StartError::Listen {
                address: settings.listen,
                cause,
            })?;
    let address = listener.local_addr().map_err(StartError::System)?;
    let going_down = CancellationToken::new();
    cancel_on_signal(&going_down)?;

    let identity = settings.certificate.map(identity).transpose()?;
    let roads = roads(settings.roads).await?;
    let database = Database::open(&settings.database).await?;
    let sign_in = match settings.sign_in {
        AskFor::Nothing => SignIn::is_not_asked_for(),
        AskFor::Key => SignIn::by(Keys::new(database.clone())),
    };
    if !address.ip().is_loopback() {
        warn_of_open_doors(settings.sign_in, identity.is_some());
    }
    tokio::spawn(forget_answers(
        database.clone(),
        &SystemClock,
        going_down.clone(),
    ));
    tokio::spawn(throw_old_drafts_away(
        database.clone(),
        &SystemClock,
        going_down.clone(),
    ));
    tokio::spawn(settle_hours(
        database.clone(),
        &SystemClock,
        going_down.clone(),
    ));
    let relaying = database.clone();
    tokio::spawn(
        going_down
            .clone()
            .run_until_cancelled_owned(async move { relaying.relay().await }),
    );
    let tended = database.clone();
    tokio::spawn(
        going_down
            .clone()
            .run_until_cancelled_owned(async move { tended.tend_log().await }),
    );
    let outdated = Arc::new(AtomicBool::new(false));
    tokio::spawn(end_when_outdated(
        database.clone(),
        Arc::clone(&outdated),
        going_down.clone(),
    ));
    let state = State::new(
        database.clone(),
        Arc::new(SystemClock),
        Searches::new(settings.limits.search),
        settings.bench,
        WatchLimits::default(),
        going_down,
    )
    .with_roads(roads);
    // Calls that come from here on wait in the listener's queue for a moment, and are answered.
    if let Some(path) = &settings.port_file {
        write_port(path, address.port())?;
    }
    info!(%address, version = env!("CARGO_PKG_VERSION"), "listening");

    let entrance = Entrance { identity, sign_in };
    let served = serve(state, settings.limits, entrance, listener).await;
    if let Err(error) = database.close().await {
        warn!(%error, "the database did not close");
    }
    served?;
    if outdated.load(Ordering::Relaxed) {
        return Err(StartError::Outdated);
    }
    info!("stopped");
    Ok(())
}

fn identity(files: Certificate) -> Result<Identity, StartError> {
    let read =
        |path: PathBuf| std::fs::read(&path).map_err(|cause| StartError::Identity { path, cause });
    Ok(Identity::from_pem(read(files.chain)?, read(files.key)?))
}

/// What others on the network could do.
fn warn_of_open_doors(asked_for: AskFor, is_encrypted: bool) {
    if asked_for == AskFor::Nothing {
        warn!(
            "whoever reaches this address may do everything; see --sign-in, or put a proxy before it"
        );
    } else if !is_encrypted {
        warn!(
            "keys come in the clear to this address; see --tls-certificate, or put a proxy before it"
        );
    }
}

async fn roads(file: Option<PathBuf>) -> Result<Option<Roads>, StartError> {
    let Some(file) = file else {
        return Ok(None);
    };
    let begun = Instant::now();
    let reading = tokio::task::spawn_blocking(move || read_roads(&file));
    let roads = reading
        .await
        .map_err(|error| StartError::System(error.into()))??;
    info!(seconds = begun.elapsed().as_secs_f64(), "roads are read");
    Ok(Some(roads))
}

/// Looks whether the schema is still one that this version can work with, and ends the server where it is not.
async fn end_when_outdated(
    database: Database,
    outdated: Arc<AtomicBool>,
    going_down: CancellationToken,
) {
    while going_down
        .run_until_cancelled(tokio::time::sleep(SCHEMA_LOOK))
        .await
        .is_some()
    {
        match database.still_fits().await {
            Ok(true) => {}
            Ok(false) => {
                error!("a later version has changed the schema; this one ends");
                outdated.store(true, Ordering::Relaxed);
                going_down.cancel();
            }
            Err(error) => debug!(%error, "the schema could not be looked at"),
        }
    }
}

/// Writes beside and renames, so that a reader never sees half a number.
fn write_port(path: &Path, port: u16) -> Result<(), StartError> {
    let fault = |cause| StartError::PortFile {
        path: path.to_owned(),
        cause,
    };
    let mut beside = path.to_owned().into_os_string();
    beside.push(".new");
    std::fs::write(&beside, format!("{port}\n")).map_err(fault)?;
    std::fs::rename(&beside, path).map_err(fault)
}

fn cancel_on_signal(going_down: &CancellationToken) -> Result<(), StartError> {
    let mut terminate = signal(SignalKind::terminate()).map_err(StartError::System)?;
    let mut interrupt = signal(SignalKind::interrupt()).map_err(StartError::System)?;
    let going_down = going_down.clone();
    tokio::spawn(async move {
        tokio::select! {
            _ = terminate.recv() => {}
            _ = interrupt.recv() => {}
        }
        going_down.cancel();
    });
    Ok(())
}
