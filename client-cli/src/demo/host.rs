//! A server of the demo's own: started on a free port and a fresh directory, and stopped again.

use std::ffi::OsStr;
use std::fs::File;
use std::io::ErrorKind;
use std::path::{Path, PathBuf};
use std::process::{ExitStatus, Stdio};
use std::time::Duration;

use tokio::process::{Child, Command};
use tokio::time::{Instant, sleep, timeout};

use crate::connect::{Address, Link, connect};
use crate::failure::Failure;

/// How long a server may take until it says that it serves: a cold disk and the migrations are in it.
const START_LIMIT: Duration = Duration::from_secs(30);
/// How long it may take to finish running calls and close its database.
const STOP_LIMIT: Duration = Duration::from_secs(30);
/// How long one call of the demo's own may take.
const CALL_LIMIT: Duration = Duration::from_mins(1);
/// Between two looks whether it serves.
const LOOK_AGAIN: Duration = Duration::from_millis(25);
/// Lines of the server's log that are shown when it does not start.
const LOG_LINES: usize = 12;

/// The server's program beside this one, as `cargo build` and an installation lay them out.
///
/// # Errors
/// Where there is none.
pub(super) fn program() -> Result<PathBuf, Failure> {
    let own = std::env::current_exe()
        .map_err(|cause| Failure::Other(format!("this program's own place is unknown: {cause}")))?;
    let name = format!("forenoon-server{}", std::env::consts::EXE_SUFFIX);
    let beside = own.with_file_name(name);
    if beside.is_file() {
        return Ok(beside);
    }
    Err(Failure::NotFound(format!(
        "there is no server program at {}; build it with `cargo build --release`, or name one with --program",
        beside.display()
    )))
}

/// A running server.
pub(super) struct Host {
    child: Child,
    server: String,
    log: PathBuf,
}

impl Host {
    /// Starts a server on a directory and waits until it answers calls.
    ///
    /// # Errors
    /// Where the directory can't be written, or the server does not come up; then with the end of its log.
    pub(super) async fn start(program: &Path, directory: &Path) -> Result<Self, Failure> {
        let log = directory.join("server.log");
        let port_file = directory.join("server.port");
        let file = File::create(&log).map_err(|cause| file_failure(&log, &cause))?;
        let copy = file
            .try_clone()
            .map_err(|cause| file_failure(&log, &cause))?;
        // The port of an earlier run must not be taken for this one's.
        match std::fs::remove_file(&port_file) {
            Err(cause) if cause.kind() != ErrorKind::NotFound => {
                return Err(file_failure(&port_file, &cause));
            }
            _ => {}
        }
        let mut command = Command::new(program);
        for (name, _) in std::env::vars_os().filter(|(name, _)| is_setting(name)) {
            command.env_remove(name);
        }
        let child = command
            .args(["--listen", "127.0.0.1:0", "--port-file"])
            .arg(&port_file)
            .arg("--database")
            .arg(database_url(directory))
            .stdin(Stdio::null())
            .stdout(copy)
            .stderr(file)
            // For the paths on which nobody waits for it: a panic, an early return.
            .kill_on_drop(true)
            .spawn()
            .map_err(|cause| file_failure(program, &cause))?;
        let mut host = Self {
            child,
            server: String::new(),
            log,
        };
        host.server = format!("http://127.0.0.1:{}", host.port(&port_file).await?);
        let link = host.link()?;
        if link.serves().await? {
            Ok(host)
        } else {
            Err(Failure::Other(
                "the server answers, but says that it does not serve".to_owned(),
            ))
        }
    }

    /// Its address, as `--server` takes it.
    pub(super) fn server(&self) -> &str {
        &self.server
    }

    /// A connection to it.
    ///
    /// # Errors
    /// As [`connect`].
    pub(super) fn link(&self) -> Result<Link, Failure> {
        connect(&Address {
            server: self.server.clone(),
            key: None,
            certificate_authority_pem: None,
            timeout: CALL_LIMIT,
        })
    }

    /// The port that the server took; it writes it down once calls are answered.
    async fn port(&mut self, port_file: &Path) -> Result<u16, Failure> {
        let started = Instant::now();
        while started.elapsed() < START_LIMIT {
            if let Some(port) = std::fs::read_to_string(port_file)
                .ok()
                .and_then(|text| text.trim().parse().ok())
            {
                return Ok(port);
            }
            if let Some(status) = self.child.try_wait().map_err(|cause| self.lost(&cause))? {
                return Err(self.ended(status));
            }
            sleep(LOOK_AGAIN).await;
        }
        Err(Failure::Other(format!(
            "the server did not come up within {} s{}",
            START_LIMIT.as_secs(),
            self.end_of_log()
        )))
    }

    /// Asks it to stop, and waits until it has.
    ///
    /// # Errors
    /// Where it does not stop in time, and is killed, or ends with an error of its own.
    pub(super) async fn stop(mut self) -> Result<(), Failure> {
        self.ask_to_stop();
        match timeout(STOP_LIMIT, self.child.wait()).await {
            Ok(Ok(status)) if status.success() => Ok(()),
            Ok(Ok(status)) => Err(self.ended(status)),
            Ok(Err(cause)) => Err(self.lost(&cause)),
            Err(_) => {
                self.child.kill().await.map_err(|cause| self.lost(&cause))?;
                Err(Failure::Other(format!(
                    "the server had not stopped after {} s and was killed; its log is {}",
                    STOP_LIMIT.as_secs(),
                    self.log.display()
                )))
            }
        }
    }

    #[cfg(unix)]
    fn ask_to_stop(&mut self) {
        use rustix::process::{Pid, Signal, kill_process};
        let raw = self.child.id().and_then(|id| i32::try_from(id).ok());
        if let Some(pid) = raw.and_then(Pid::from_raw) {
            // It fails only where the server is gone already, which waiting for it then tells.
            let _gone = kill_process(pid, Signal::TERM);
        }
    }

    #[cfg(not(unix))]
    fn ask_to_stop(&mut self) {
        // There is no signal to ask with. The database survives: every commit is whole on the disk.
        let _gone = self.child.start_kill();
    }

    fn lost(&self, cause: &std::io::Error) -> Failure {
        Failure::Other(format!(
            "the server process was lost: {cause}{}",
            self.end_of_log()
        ))
    }

    fn ended(&self, status: ExitStatus) -> Failure {
        Failure::Other(format!("the server ended ({status}){}", self.end_of_log()))
    }

    fn end_of_log(&self) -> String {
        let Ok(text) = std::fs::read_to_string(&self.log) else {
            return String::new();
        };
        let lines: Vec<&str> = text.lines().collect();
        let from = lines.len().saturating_sub(LOG_LINES);
        let end = lines.get(from..).unwrap_or_default().join("\n  ");
        if end.is_empty() {
            String::new()
        } else {
            format!("; the end of its log:\n  {end}")
        }
    }
}

/// The server reads its settings from variables too; those of the user's own server are not for this one.
fn is_setting(name: &OsStr) -> bool {
    name.to_string_lossy().starts_with("FORENOON_")
}

/// The database in a directory.
pub(super) fn database(directory: &Path) -> PathBuf {
    directory.join("forenoon.db")
}

/// The same as the server's `--database` takes it.
pub(super) fn database_url(directory: &Path) -> String {
    format!("sqlite://{}", database(directory).display())
}

fn file_failure(path: &Path, cause: &std::io::Error) -> Failure {
    Failure::File {
        path: path.display().to_string(),
        cause: cause.to_string(),
    }
}

#[cfg(all(test, unix))]
mod tests {
    use super::*;
    use std::os::unix::fs::PermissionsExt;

    #[tokio::test]
    async fn a_server_that_does_not_start_is_told_with_the_end_of_its_log() {
        let directory = tempfile::tempdir().unwrap();
        let program = directory.path().join("refusing");
        std::fs::write(&program, "#!/bin/sh\necho 'the disk is full' >&2\nexit 3\n").unwrap();
        std::fs::set_permissions(&program, std::fs::Permissions::from_mode(0o755)).unwrap();
        let failure = Host::start(&program, directory.path()).await.err().unwrap();
        let told = failure.to_string();
        assert!(
            told.contains("exit status: 3") && told.contains("the disk is full"),
            "{told}"
        );
    }

    #[tokio::test]
    async fn a_program_that_is_not_there_is_named() {
        let directory = tempfile::tempdir().unwrap();
        let failure = Host::start(&directory.path().join("none"), directory.path())
            .await
            .err()
            .unwrap();
        assert!(failure.to_string().contains("none"), "{failure}");
    }
}
