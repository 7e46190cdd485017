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

/// Starts a cluster in a new folder, or a standby that follows the cluster in the folder of the second argument; prints the
/// folder, waits for the end of input, removes all.
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
if [ $# -gt 1 ]; then
    "$programs/pg_basebackup" -D "$folder/data" -h "$2" -U postgres -R -X stream -c fast --no-sync \
        >"$folder/backup.log" 2>&1 || { cat "$folder/backup.log" >&2; exit 1; }
else
    "$programs/initdb" -D "$folder/data" -A trust -U postgres -N --no-instructions -E UTF8 --locale=C \
        >"$folder/initdb.log" 2>&1 || { cat "$folder/initdb.log" >&2; exit 1; }
fi
"$programs/pg_ctl" -D "$folder/data" -w -l "$folder/log" \
    -o "-c listen_addresses='' -c unix_socket_directories='$folder' -c max_connections=300" \
    -o "-c fsync=off -c full_page_writes=off -c shared_buffers=32MB" \
    start >/dev/null 2>&1 </dev/null || { cat "$folder/log" >&2; exit 1; }
echo "$folder"
read -r _ || true
"#;

/// The name of a socket in its folder.
const SOCKET: &str = ".s.PGSQL.5432";

/// Where servers find whichever cluster leads: a folder whose socket is that cluster's.
#[derive(Debug)]
pub struct Front {
    folder: tempfile::TempDir,
}

impl Front {
    /// Before a cluster.
    pub fn of(cluster: &Cluster) -> Self {
        let folder = tempfile::TempDir::with_prefix("forenoon-front-").expect("a folder");
        let front = Self { folder };
        front.turn_to(cluster);
        front
    }

    /// Leads to another cluster from now on.
    pub fn turn_to(&self, cluster: &Cluster) {
        let beside = self.folder.path().join("next");
        std::os::unix::fs::symlink(cluster.folder.join(SOCKET), &beside).expect("a link");
        std::fs::rename(&beside, self.folder.path().join(SOCKET)).expect("the link is in place");
    }

    /// The URL of a database of the cluster that leads.
    pub fn url(&self, database: &str) -> String {
        socket_url(database, self.folder.path())
    }
}

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
        Self::kept(&[])
    }

    /// Starts a cluster that follows this one, and waits until no commit is acknowledged that it does not have.
    #[must_use]
    pub fn start_standby(&self) -> Self {
        let standby = Self::kept(&[&self.folder]);
        for statement in [
            "ALTER SYSTEM SET synchronous_standby_names = '*'",
            "SELECT pg_reload_conf()",
            "DO $$ BEGIN FOR i IN 1..300 LOOP \
             IF EXISTS (SELECT 1 FROM pg_stat_replication WHERE sync_state = 'sync') THEN RETURN; END IF; \
             PERFORM pg_sleep(0.1); PERFORM pg_stat_clear_snapshot(); END LOOP; \
             RAISE EXCEPTION 'no standby follows'; END $$",
        ] {
            self.sql(statement);
        }
        standby
    }

    fn kept(arguments: &[&Path]) -> Self {
        let programs = programs();
        let mut keeper = as_user(Path::new("sh"))
            .args(["-c", KEEPER, "keeper"])
            .arg(&programs)
            .args(arguments)
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
        self.sql(&format!("CREATE DATABASE {name}"));
        name
    }

    fn sql(&self, statement: &str) {
        let url = self.url("postgres");
        self.run(
            "psql",
            &[
                "-X",
                "-q",
                "-v",
                "ON_ERROR_STOP=1",
                "-d",
                &url,
                "-c",
                statement,
            ],
        );
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
        self.control(&["-m", "immediate", "restart"]);
    }

    /// Ends every process of the cluster at once, for good.
    pub fn crash(&self) {
        self.control(&["-m", "immediate", "stop"]);
    }

    /// Makes a standby lead, and waits until it does.
    pub fn promote(&self) {
        self.control(&["promote"]);
    }

    fn control(&self, arguments: &[&str]) {
        let status = as_user(&self.programs.join("pg_ctl"))
            .arg("-D")
            .arg(self.folder.join("data"))
            .args(["-w", "-l"])
            .arg(self.folder.join("log"))
            .args(arguments)
            .current_dir("/tmp")
            .stdin(Stdio::null())
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .status()
            .expect("pg_ctl runs");
        assert!(status.success(), "pg_ctl {arguments:?}");
    }

    /// All that the cluster has logged.
    pub fn log(&self) -> String {
        std::fs::read_to_string(self.folder.join("log")).expect("the log")
    }

    /// The URL of one of its databases.
    pub fn url(&self, database: &str) -> String {
        socket_url(database, &self.folder)
    }
}

/// A program as PostgreSQL's user, where this is root.
fn as_user(program: &Path) -> Command {
    if rustix::process::geteuid().is_root() {
        let mut command = Command::new("runuser");
        command.args(["-u", USER, "--"]).arg(program);
        command
    } else {
        Command::new(program)
    }
}

fn socket_url(database: &str, folder: &Path) -> String {
    format!(
        "postgres://postgres@localhost/{database}?host={}",
        folder.display()
    )
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
