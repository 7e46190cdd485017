//! A throwaway PostgreSQL cluster, reached over a socket in its own folder.

use std::path::Path;
use std::process::{Command, Stdio};

use tempfile::TempDir;

/// A cluster that is stopped and removed when dropped.
pub(crate) struct Cluster {
    folder: TempDir,
}

impl Cluster {
    /// Starts one; `None` where PostgreSQL is not installed.
    pub(crate) fn start() -> Option<Self> {
        let folder = tempfile::Builder::new()
            .prefix("fnpg")
            .tempdir_in("/tmp")
            .expect("a folder for the cluster");
        let cluster = Self { folder };
        if as_root() {
            let status = Command::new("chown")
                .arg("postgres")
                .arg(cluster.path())
                .status()
                .ok()?;
            assert!(status.success(), "chown to postgres");
        }
        let data = cluster.path().join("data");
        let mut initdb = tool("initdb")?;
        initdb
            .args(["-A", "trust", "-U", "postgres", "-N", "--no-instructions"])
            .args(["-E", "UTF8", "--locale=C", "-D"])
            .arg(&data);
        run(initdb);
        let mut start = tool("pg_ctl")?;
        let settings = format!(
            "-c listen_addresses='' -c unix_socket_directories={} -c fsync=off \
             -c synchronous_commit=off -c shared_buffers=16MB",
            cluster.path().display()
        );
        start
            .args(["start", "-w", "-D"])
            .arg(&data)
            .arg("-l")
            .arg(cluster.path().join("log"))
            .args(["-o", &settings]);
        run(start);
        Some(cluster)
    }

    /// Where it is.
    pub(crate) fn url(&self) -> String {
        format!(
            "postgres://postgres@localhost/postgres?host={}",
            self.path().display()
        )
    }

    fn path(&self) -> &Path {
        self.folder.path()
    }
}

impl Drop for Cluster {
    fn drop(&mut self) {
        if let Some(mut stop) = tool("pg_ctl") {
            stop.args(["stop", "-m", "immediate", "-D"])
                .arg(self.path().join("data"));
            run(stop);
        }
    }
}

fn run(mut command: Command) {
    let status = command
        .current_dir("/tmp")
        .stdin(Stdio::null())
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .status()
        .expect("a PostgreSQL tool runs");
    assert!(status.success(), "{command:?} failed");
}

/// A tool of PostgreSQL, from the folder the test runner found, the path or the newest Debian folder,
/// run as a user it accepts.
fn tool(name: &str) -> Option<Command> {
    let mut places: Vec<_> = std::fs::read_dir("/usr/lib/postgresql")
        .into_iter()
        .flatten()
        .flatten()
        .map(|entry| entry.path().join("bin").join(name))
        .collect();
    places.sort();
    places
        .extend(std::env::split_paths(&std::env::var_os("PATH")?).map(|folder| folder.join(name)));
    places.extend(
        std::env::var_os("FORENOON_POSTGRES_BIN").map(|folder| Path::new(&folder).join(name)),
    );
    let path = places.into_iter().rev().find(|path| path.is_file())?;
    if as_root() {
        let mut command = Command::new("runuser");
        command.args(["-u", "postgres", "--"]).arg(path);
        return Some(command);
    }
    Some(Command::new(path))
}

fn as_root() -> bool {
    std::fs::metadata("/proc/self").is_ok_and(|metadata| {
        use std::os::unix::fs::MetadataExt;
        metadata.uid() == 0
    })
}
