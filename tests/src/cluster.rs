//! A throwaway PostgreSQL cluster, started once per test process, reached over a socket.
//!
//! A shell keeps it and waits for the end of its standard input. That comes when the test process ends,
//! however it ends, so that no cluster is left behind by a crash or by a static that is never dropped.

use std::env;
use std::io::{BufRead, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::OnceLock;
use std::sync::atomic::{AtomicU32, Ordering};

/// Names the folder with PostgreSQL's server programs; `tests/run` sets it.
const PROGRAMS_VARIABLE: &str = "FORENOON_POSTGRES_BIN";
/// Where Debian keeps them, by version.
const DEBIAN_FOLDER: &str = "/usr/lib/postgresql";
/// What PostgreSQL runs as where the tests run as root, which it refuses.
const USER: &str = "postgres";

/// Starts a cluster in a new folder, prints the folder, waits for the end of input, removes all.
const KEEPER: &str = r#"
set -eu
trap '' INT TERM HUP
programs=$1
folder=$(mktemp -d /tmp/forenoon-pg.XXXXXX)
remove() {
    "$programs/pg_ctl" -D "$folder/data" -m immediate stop >/dev/null 2>&1 || true
    rm -rf "$folder"
}
trap remove EXIT
cd "$folder"
"$programs/initdb" -D "$folder/data" -A trust -U postgres -N --no-instructions -E UTF8 --locale=C \
    >"$folder/initdb.log" 2>&1 || { cat "$folder/initdb.log" >&2; exit 1; }
"$programs/pg_ctl" -D "$folder/data" -w -l "$folder/log" \
    -o "-c listen_addresses='' -c unix_socket_directories='$folder' -c max_connections=300" \
    -o "-c fsync=off -c full_page_writes=off -c shared_buffers=32MB" \
    start >/dev/null 2>&1 </dev/null || { cat "$folder/log" >&2; exit 1; }
echo "$folder"
read -r _ || true
"#;

/// A running cluster.
#[derive(Debug)]
pub struct Cluster {
    programs: PathBuf,
    folder: PathBuf,
    /// Holds the keeper's input open.
    _keeper: Child,
}

impl Cluster {
    /// The cluster of this process.
    pub fn shared() -> &'static Self {
        static SHARED: OnceLock<Cluster> = OnceLock::new();
        SHARED.get_or_init(Self::start)
    }

    /// Starts a cluster of one's own, for a test that stops or breaks it.
    pub fn start() -> Self {
        let programs = programs();
        let mut keeper = if rustix::process::geteuid().is_root() {
            let mut command = Command::new("runuser");
            command.args(["-u", USER, "--", "sh"]);
            command
        } else {
            Command::new("sh")
        };
        let mut keeper = keeper
            .args(["-c", KEEPER, "keeper"])
            .arg(&programs)
            .current_dir("/tmp")
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .spawn()
            .expect("the cluster's keeper starts");
        let answer = keeper.stdout.take().expect("the keeper's output");
        let mut folder = String::new();
        BufReader::new(answer)
            .read_line(&mut folder)
            .expect("the keeper answers");
        assert!(
            folder.ends_with('\n'),
            "the PostgreSQL cluster did not start; its log is above"
        );
        Self {
            programs,
            folder: PathBuf::from(folder.trim_end()),
            _keeper: keeper,
        }
    }

    /// Creates an empty database and answers with its name.
    pub fn create_database(&self) -> String {
        static COUNT: AtomicU32 = AtomicU32::new(0);
        let name = format!("branch_{}", COUNT.fetch_add(1, Ordering::Relaxed));
        self.run(
            "psql",
            &[
                "-X",
                "-q",
                "-v",
                "ON_ERROR_STOP=1",
                "-d",
                &self.url("postgres"),
                "-c",
                &format!("CREATE DATABASE {name}"),
            ],
        );
        name
    }

    /// Runs one of PostgreSQL's client programs, which must do well.
    pub fn run(&self, program: &str, arguments: &[&str]) {
        let answer = Command::new(self.programs.join(program))
            .args(arguments)
            .current_dir("/tmp")
            .output()
            .expect("the program runs");
        assert!(answer.status.success(), "{program}: {answer:?}");
    }

    /// Ends every process of the cluster at once, as a crash would, and starts it again: it recovers from its log.
    pub fn crash_and_restart(&self) {
        let program = self.programs.join("pg_ctl");
        let mut command = if rustix::process::geteuid().is_root() {
            let mut command = Command::new("runuser");
            command.args(["-u", USER, "--"]).arg(program);
            command
        } else {
            Command::new(program)
        };
        let status = command
            .arg("-D")
            .arg(self.folder.join("data"))
            .args(["-m", "immediate", "-w", "-l"])
            .arg(self.folder.join("log"))
            .arg("restart")
            .current_dir("/tmp")
            .stdin(Stdio::null())
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .status()
            .expect("pg_ctl runs");
        assert!(status.success(), "the cluster did not start again");
    }

    /// All that the cluster has logged.
    pub fn log(&self) -> String {
        std::fs::read_to_string(self.folder.join("log")).expect("the log")
    }

    /// The URL of one of its databases.
    pub fn url(&self, database: &str) -> String {
        format!(
            "postgres://postgres@localhost/{database}?host={}",
            self.folder.display()
        )
    }
}

/// The newest PostgreSQL of the machine.
fn programs() -> PathBuf {
    if let Some(folder) = env::var_os(PROGRAMS_VARIABLE) {
        return PathBuf::from(folder);
    }
    let mut versions: Vec<(u32, PathBuf)> = Path::new(DEBIAN_FOLDER)
        .read_dir()
        .into_iter()
        .flatten()
        .flatten()
        .filter_map(|entry| {
            let version = entry.file_name().to_str()?.parse().ok()?;
            Some((version, entry.path().join("bin")))
        })
        .filter(|(_, folder)| folder.join("initdb").is_file())
        .collect();
    versions.sort();
    match versions.pop() {
        Some((_, folder)) => folder,
        None => panic!(
            "PostgreSQL is not installed. Run tests/run, which installs it, or set \
             {PROGRAMS_VARIABLE} to the folder with initdb, pg_ctl and postgres"
        ),
    }
}
