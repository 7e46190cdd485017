//! A server of the demo's own: started on a free port and a fresh directory, and stopped again.

use std::fs::File;
use std::net::{Ipv4Addr, SocketAddr, TcpListener};
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
const STOP_LIMIT: Duration = Duration::from_secs(20);
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
    listen: SocketAddr,
    log: PathBuf,
}

impl Host {
    /// Starts a server on a directory and waits until it says that it serves.
    ///
    /// # Errors
    /// Where the directory can't be written, or the server does not come up; then with the end of its log.
    pub(super) async fn start(program: &Path, directory: &Path) -> Result<Self, Failure> {
        let file_failure = |path: &Path| {
            let path = path.display().to_string();
            move |cause: std::io::Error| Failure::File {
                path,
                cause: cause.to_string(),
            }
        };
        std::fs::create_dir_all(directory).map_err(file_failure(directory))?;
        let log = directory.join("server.log");
        let file = File::create(&log).map_err(file_failure(&log))?;
        let listen = free_address()?;
        let child = Command::new(program)
            .arg("--listen")
            .arg(listen.to_string())
            .arg("--database")
            .arg(database(directory))
            .stdin(Stdio::null())
            .stdout(file.try_clone().map_err(file_failure(&log))?)
            .stderr(file)
            // For the paths on which nobody waits for it: a panic, an early return.
            .kill_on_drop(true)
            .spawn()
            .map_err(file_failure(program))?;
        let mut host = Self { child, listen, log };
        host.wait_until_serving().await?;
        Ok(host)
    }

    /// Its address, as `--server` takes it.
    pub(super) fn server(&self) -> String {
        format!("http://{}", self.listen)
    }

    async fn wait_until_serving(&mut self) -> Result<(), Failure> {
        let link = self.link(Duration::from_secs(5))?;
        let started = Instant::now();
        while started.elapsed() < START_LIMIT {
            if let Some(status) = self.child.try_wait().map_err(|cause| self.lost(&cause))? {
                return Err(self.ended(status));
            }
            // A connection is only tried once the port answers: the link's own patience is for later.
            if tokio::net::TcpStream::connect(self.listen).await.is_ok() && link.serves().await? {
                return Ok(());
            }
            sleep(LOOK_AGAIN).await;
        }
        Err(Failure::Other(format!(
            "the server did not come up within {} s{}",
            START_LIMIT.as_secs(),
            self.end_of_log()
        )))
    }

    /// A connection to it.
    ///
    /// # Errors
    /// As [`connect`].
    pub(super) fn link(&self, timeout: Duration) -> Result<Link, Failure> {
        connect(&Address {
            server: self.server(),
            certificate_authority_pem: None,
            timeout,
        })
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

/// The database in a directory.
pub(super) fn database(directory: &Path) -> PathBuf {
    directory.join("forenoon.db")
}

/// A port nobody listens on. Another program may take it before the server does; the server then says so.
fn free_address() -> Result<SocketAddr, Failure> {
    TcpListener::bind((Ipv4Addr::LOCALHOST, 0))
        .and_then(|listener| listener.local_addr())
        .map_err(|cause| Failure::Other(format!("no port is free: {cause}")))
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
        let failure = Host::start(&program, &directory.path().join("data"))
            .await
            .err()
            .unwrap();
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
