//! Goal: the program starts, tells clearly why it cannot, stops in order, and loses nothing when
//! killed. Method: the real binary with a real SQLite file.

use std::net::TcpListener;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Output, Stdio};
use std::time::{Duration, Instant};

use forenoon_proto::google::r#type::LatLng;
use forenoon_proto::v1;
use forenoon_proto::v1::branch_service_client::BranchServiceClient;
use forenoon_store::sea_orm::{self, ConnectionTrait};
use tempfile::TempDir;
use tonic::transport::Channel;

/// The longest a start or a stop may take here, on a machine that is busy with other tests.
const PATIENCE: Duration = Duration::from_secs(20);

fn program() -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_forenoon-server"));
    for (variable, _) in std::env::vars_os() {
        if variable.to_string_lossy().starts_with("FORENOON_") {
            command.env_remove(variable);
        }
    }
    command
        .stdin(Stdio::null())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped());
    command
}

fn ended(mut command: Command) -> (Option<i32>, String) {
    let Output { status, stderr, .. } = command.output().expect("it runs");
    (status.code(), String::from_utf8_lossy(&stderr).into_owned())
}

struct Running {
    child: Child,
    port_file: PathBuf,
}

impl Running {
    fn start(folder: &Path) -> Self {
        let port_file = folder.join("port");
        let _ = std::fs::remove_file(&port_file);
        let child = program()
            .env("FORENOON_LISTEN", "127.0.0.1:0")
            .args(["--database", &url(folder)])
            .arg("--port-file")
            .arg(&port_file)
            .stderr(Stdio::null())
            .spawn()
            .expect("it runs");
        Self { child, port_file }
    }

    async fn client(&self) -> BranchServiceClient<Channel> {
        let begin = Instant::now();
        let port = loop {
            if let Ok(port) = std::fs::read_to_string(&self.port_file) {
                break port;
            }
            assert!(begin.elapsed() < PATIENCE, "it does not listen");
            tokio::time::sleep(Duration::from_millis(10)).await;
        };
        BranchServiceClient::connect(format!("http://127.0.0.1:{}", port.trim()))
            .await
            .expect("a connection")
    }

    fn signal(&self, name: &str) {
        let status = Command::new("kill")
            .args(["-s", name, &self.child.id().to_string()])
            .status()
            .expect("kill runs");
        assert!(status.success());
    }

    async fn ended(mut self) -> Option<i32> {
        let begin = Instant::now();
        loop {
            if let Some(status) = self.child.try_wait().expect("waited") {
                return status.code();
            }
            assert!(begin.elapsed() < PATIENCE, "it does not end");
            // Not blocking: the client has to answer the server's goodbye.
            tokio::time::sleep(Duration::from_millis(10)).await;
        }
    }
}

impl Drop for Running {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

fn url(folder: &Path) -> String {
    format!("sqlite://{}", folder.join("forenoon.db").display())
}

fn create(id: &str) -> v1::CreateBranchRequest {
    v1::CreateBranchRequest {
        branch_id: id.into(),
        branch: Some(v1::Branch {
            display_name: id.into(),
            time_zone: "America/Chicago".into(),
            currency_code: "USD".into(),
            yard: Some(LatLng {
                latitude: 41.5,
                longitude: -93.6,
            }),
            ..v1::Branch::default()
        }),
        request_id: String::new(),
    }
}

#[tokio::test]
async fn it_keeps_what_it_acknowledged_when_stopped_and_when_killed() {
    let folder = TempDir::new().expect("a folder");
    for (signal, id, code) in [
        ("TERM", "alpha", Some(0)),
        ("INT", "bravo", Some(0)),
        ("KILL", "charlie", None),
    ] {
        let running = Running::start(folder.path());
        running
            .client()
            .await
            .create_branch(create(id))
            .await
            .expect("acknowledged");
        running.signal(signal);
        assert_eq!(running.ended().await, code, "{signal}");
    }
    let running = Running::start(folder.path());
    let list = running
        .client()
        .await
        .list_branches(v1::ListBranchesRequest::default())
        .await
        .expect("listed")
        .into_inner();
    let names: Vec<_> = list
        .branches
        .into_iter()
        .map(|branch| branch.name)
        .collect();
    assert_eq!(
        names,
        ["branches/alpha", "branches/bravo", "branches/charlie"]
    );
}

#[test]
fn a_port_that_is_taken_is_told_and_the_database_left_alone() {
    let taken = TcpListener::bind("127.0.0.1:0").expect("a port");
    let address = taken.local_addr().expect("an address").to_string();
    let folder = TempDir::new().expect("a folder");
    let mut command = program();
    command.args(["--listen", &address, "--database", &url(folder.path())]);
    let (code, words) = ended(command);
    assert_eq!(code, Some(4), "{words}");
    assert!(
        words.contains(&address) && words.contains("--listen"),
        "{words}"
    );
    assert_eq!(std::fs::read_dir(folder.path()).expect("read").count(), 0);
}

#[test]
fn a_database_that_cannot_be_written_is_told() {
    let folder = TempDir::new().expect("a folder");
    std::fs::create_dir(folder.path().join("forenoon.db")).expect("a folder in its place");
    let mut command = program();
    command.args(["--listen", "127.0.0.1:0", "--database", &url(folder.path())]);
    let (code, words) = ended(command);
    assert_eq!(code, Some(5), "{words}");
    assert!(words.contains("forenoon.db"), "{words}");
}

#[tokio::test]
async fn a_database_of_a_later_version_is_told() {
    let folder = TempDir::new().expect("a folder");
    let running = Running::start(folder.path());
    running.client().await;
    running.signal("TERM");
    assert_eq!(running.ended().await, Some(0));
    sea_orm::Database::connect(url(folder.path()))
        .await
        .expect("a connection")
        .execute_unprepared(
            "INSERT INTO seaql_migrations (version, applied_at) VALUES ('m20990101_000001_later', 0); \
             UPDATE schema_compatibility SET known_since = 'm20990101_000001_later'",
        )
        .await
        .expect("insert");
    let mut command = program();
    command.args(["--listen", "127.0.0.1:0", "--database", &url(folder.path())]);
    let (code, words) = ended(command);
    assert_eq!(code, Some(6), "{words}");
    assert!(words.contains("m20990101_000001_later"), "{words}");
}

#[test]
fn wrong_settings_and_wrong_files_are_told() {
    let folder = TempDir::new().expect("a folder");
    let text = folder.path().join("forenoon.db");
    std::fs::write(&text, "no database ".repeat(500)).expect("write");
    let settings = folder.path().join("server.toml");
    std::fs::write(&settings, "listn = \"127.0.0.1:0\"").expect("write");
    let settings = settings.display().to_string();
    let database = url(folder.path());
    let absent = "postgres://postgres@localhost/postgres?host=/nonexistent";
    for (flags, code, words) in [
        (["--config", &settings], 3, "listn"),
        (
            ["--config", "/nonexistent/server.toml"],
            3,
            "/nonexistent/server.toml",
        ),
        (["--database", "forenoon.db"], 3, "sqlite://"),
        (["--log", "info,=,"], 3, "log"),
        (["--database", &database], 8, "forenoon.db"),
        (["--database", absent], 7, "reached"),
        (["--listen", "here"], 2, "--listen"),
    ] {
        let mut command = program();
        if flags[0] != "--listen" {
            command.args(["--listen", "127.0.0.1:0"]);
        }
        command
            .args(["--database-wait-seconds-max", "1"])
            .args(flags);
        let (ended_with, told) = ended(command);
        assert_eq!(ended_with, Some(code), "{flags:?}: {told}");
        assert!(told.contains(words), "{flags:?}: {told}");
    }
}

#[test]
fn it_tells_its_version() {
    let mut command = program();
    command.arg("--version");
    let output = command.output().expect("it runs");
    let told = String::from_utf8_lossy(&output.stdout).into_owned();
    assert_eq!(
        told.trim(),
        format!("forenoon-server {}", env!("CARGO_PKG_VERSION"))
    );
}
