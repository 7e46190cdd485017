//! Runs the real server on a free port, ends it gently or hard, and reads what it says.

use std::ffi::OsStr;
use std::fs::{self, File};
use std::net::{Ipv4Addr, SocketAddr};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, ExitStatus, Stdio};
use std::sync::atomic::{AtomicU32, Ordering};
use std::time::{Duration, Instant};

use rustix::process::{Pid, Signal, kill_process};
use tonic::transport::{Channel, Endpoint};
use tonic_health::pb::HealthCheckRequest;
use tonic_health::pb::health_check_response::ServingStatus;
use tonic_health::pb::health_client::HealthClient;

use crate::database::Database;
use crate::programs;

/// Longest wait for a start or an end; a start takes a fraction of it on an idle machine.
const WAIT_MAX: Duration = Duration::from_mins(1);
/// Pause between two looks.
const PAUSE: Duration = Duration::from_millis(10);
/// Any free port of the loopback interface.
const LISTEN: &str = "127.0.0.1:0";

/// A running server. Dropped, it is killed.
#[derive(Debug)]
pub struct Server {
    child: Child,
    address: SocketAddr,
    channel: Channel,
    log: PathBuf,
}

impl Server {
    /// Starts the server on a database and waits until it says that it serves.
    pub async fn start(database: &Database) -> Self {
        Self::start_with(database, ["--listen", LISTEN]).await
    }

    /// Starts the server with further arguments, a loopback address to listen on among them.
    pub async fn start_with<A: AsRef<OsStr>>(
        database: &Database,
        arguments: impl IntoIterator<Item = A>,
    ) -> Self {
        let mut command = command(database);
        command.args(arguments);
        Self::spawn(command, database).await
    }

    /// Starts the server by a program that ends in it, as a shell that sets limits does: the server's path and
    /// arguments come after those of the command.
    pub async fn start_under(mut by: Command, database: &Database) -> Self {
        let server = command(database);
        by.arg(server.get_program())
            .args(server.get_args())
            .args(["--listen", LISTEN])
            .current_dir(database.folder())
            .stdin(Stdio::null());
        Self::spawn(by, database).await
    }

    async fn spawn(mut command: Command, database: &Database) -> Self {
        static COUNT: AtomicU32 = AtomicU32::new(0);
        let count = COUNT.fetch_add(1, Ordering::Relaxed);
        let log = database.folder().join(format!("server-{count}.log"));
        let port_file = database.folder().join(format!("server-{count}.port"));
        let file = File::create(&log).expect("a log file");
        let child = command
            .arg("--port-file")
            .arg(&port_file)
            .stdout(file.try_clone().expect("a second handle"))
            .stderr(file)
            .spawn()
            .expect("the server starts");
        let mut starting = Starting {
            child,
            log,
            port_file,
        };
        let address = starting.address().await;
        let channel = Endpoint::from_shared(format!("http://{address}"))
            .expect("an address")
            .connect()
            .await
            .expect("a connection");
        starting.wait_until_serving(channel.clone()).await;
        let Starting { child, log, .. } = starting;
        Self {
            child,
            address,
            channel,
            log,
        }
    }

    /// Where it listens.
    pub fn address(&self) -> SocketAddr {
        self.address
    }

    /// Where it listens, as the command takes it.
    pub fn url(&self) -> String {
        format!("http://{}", self.address)
    }

    /// A connection to it.
    pub fn channel(&self) -> Channel {
        self.channel.clone()
    }

    /// What it has logged so far.
    pub fn log(&self) -> String {
        fs::read_to_string(&self.log).expect("a readable log")
    }

    /// Ends it at once, as a power cut would.
    pub fn kill(mut self) {
        self.child.kill().expect("the server can be killed");
        self.child.wait().expect("the server ends");
    }

    /// A path of its own, as others reach it, by Linux's `/proc`.
    pub fn path(&self, own: &Path) -> PathBuf {
        let root = PathBuf::from(format!("/proc/{}/root", self.child.id()));
        root.join(own.strip_prefix("/").unwrap_or(own))
    }

    /// The memory it holds now, by Linux's `/proc`.
    pub fn resident_megabytes(&self) -> f64 {
        let path = format!("/proc/{}/status", self.child.id());
        let status = fs::read_to_string(path).expect("the process's status");
        let line = status
            .lines()
            .find_map(|line| line.strip_prefix("VmRSS:"))
            .expect("its memory");
        let kilobytes: f64 = line
            .trim()
            .trim_end_matches(" kB")
            .parse()
            .expect("a number");
        kilobytes / 1_024.0
    }

    /// Stops it where it is, as a machine that is out of breath would.
    pub fn freeze(&self) {
        let pid = Pid::from_child(&self.child);
        kill_process(pid, Signal::STOP).expect("the server can be stopped");
    }

    /// Lets it go on.
    pub fn thaw(&self) {
        let pid = Pid::from_child(&self.child);
        kill_process(pid, Signal::CONT).expect("the server can go on");
    }

    /// Asks it to end, as a service manager would, without waiting.
    pub fn ask_to_end(&self) {
        let pid = Pid::from_child(&self.child);
        kill_process(pid, Signal::TERM).expect("the server can be told");
    }

    /// Waits for its end; meanwhile its clients can take leave.
    pub async fn wait(mut self) -> ExitStatus {
        let begun = Instant::now();
        loop {
            if let Some(status) = self.child.try_wait().expect("the server can be watched") {
                return status;
            }
            assert!(
                begun.elapsed() < WAIT_MAX,
                "the server has not ended after {WAIT_MAX:?}:\n{}",
                self.log()
            );
            tokio::time::sleep(PAUSE).await;
        }
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        // Already ended is as good.
        let _ = self.child.kill();
        let _ = self.child.wait();
        if std::thread::panicking() {
            tell_faults(&self.log);
        }
    }
}

/// Prints what the server says of its own faults beside the test that fails by one: a client is not told.
fn tell_faults(log: &Path) {
    let text = fs::read_to_string(log).unwrap_or_default();
    for line in text.lines().filter(|line| line.contains("ERROR")) {
        eprintln!("server: {line}");
    }
}

/// A run of the server that ended by itself.
#[derive(Debug)]
pub struct Ended {
    /// How it ended.
    pub status: ExitStatus,
    /// What it printed.
    pub output: String,
    /// What it said beside that.
    pub messages: String,
}

/// Runs the server where it must end by itself, as on an error at its start.
pub fn run_to_end(mut command: Command) -> Ended {
    let mut child = command
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("the server starts");
    let status = wait_for_end(&mut child);
    let answer = child.wait_with_output().expect("its output");
    Ended {
        status,
        output: String::from_utf8(answer.stdout).expect("output in UTF-8"),
        messages: String::from_utf8(answer.stderr).expect("messages in UTF-8"),
    }
}

/// The server on a database, with nothing of the caller's environment but the path.
pub fn command(database: &Database) -> Command {
    let mut command = bare_command();
    command
        .args(["--database", database.url()])
        .current_dir(database.folder());
    command
}

/// The server without any setting.
pub fn bare_command() -> Command {
    let mut command = Command::new(programs::server());
    command
        .env_clear()
        .env("PATH", std::env::var_os("PATH").unwrap_or_default())
        .stdin(Stdio::null());
    command
}

fn wait_for_end(child: &mut Child) -> ExitStatus {
    let begun = Instant::now();
    loop {
        if let Some(status) = child.try_wait().expect("the server can be watched") {
            return status;
        }
        if begun.elapsed() > WAIT_MAX {
            // Not left behind.
            let _ = child.kill();
            panic!("the server has not ended after {WAIT_MAX:?}");
        }
        std::thread::sleep(PAUSE);
    }
}

/// A server that may not serve yet.
struct Starting {
    child: Child,
    log: PathBuf,
    port_file: PathBuf,
}

impl Starting {
    async fn address(&mut self) -> SocketAddr {
        let begun = Instant::now();
        loop {
            if let Ok(port) = fs::read_to_string(&self.port_file) {
                let port: u16 = port.trim().parse().expect("a port");
                return SocketAddr::from((Ipv4Addr::LOCALHOST, port));
            }
            self.fail_where_ended_or_late(begun);
            tokio::time::sleep(PAUSE).await;
        }
    }

    async fn wait_until_serving(&mut self, channel: Channel) {
        let mut health = HealthClient::new(channel);
        let begun = Instant::now();
        loop {
            let answer = health
                .check(HealthCheckRequest {
                    service: String::new(),
                })
                .await;
            if answer.is_ok_and(|answer| answer.get_ref().status() == ServingStatus::Serving) {
                return;
            }
            self.fail_where_ended_or_late(begun);
            tokio::time::sleep(PAUSE).await;
        }
    }

    fn fail_where_ended_or_late(&mut self, begun: Instant) {
        let said = || fs::read_to_string(&self.log).expect("a readable log");
        if let Some(status) = self.child.try_wait().expect("the server can be watched") {
            panic!("the server ended at its start, {status}:\n{}", said());
        }
        if begun.elapsed() > WAIT_MAX {
            let said = said();
            // Not left behind.
            let _ = self.child.kill();
            panic!("the server does not serve after {WAIT_MAX:?}:\n{said}");
        }
    }
}
