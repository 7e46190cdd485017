//! Where the programs under test are.
//!
//! They belong to other packages, so Cargo gives these tests no path to them. `tests/run` builds the whole
//! workspace once and says where by `FORENOON_BIN_DIR`. Run by hand, the first test of a process has Cargo
//! bring them up to date, so that nobody tests yesterday's server.

use std::env;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::OnceLock;

/// Names the folder that holds programs which are up to date.
const FOLDER_VARIABLE: &str = "FORENOON_BIN_DIR";

/// The server.
pub fn server() -> PathBuf {
    program("forenoon-server")
}

/// The dispatcher's command.
pub fn client() -> PathBuf {
    program("forenoon")
}

fn program(name: &str) -> PathBuf {
    let path = folder().join(name);
    assert!(
        path.is_file(),
        "{} is not there: run tests/run, or cargo build --workspace",
        path.display()
    );
    path
}

fn folder() -> &'static Path {
    static FOLDER: OnceLock<PathBuf> = OnceLock::new();
    FOLDER.get_or_init(|| env::var_os(FOLDER_VARIABLE).map_or_else(build, PathBuf::from))
}

/// Builds the programs and answers with their folder: the one above this test's own.
fn build() -> PathBuf {
    let this = env::current_exe().expect("a test knows its own path");
    let folder = this
        .ancestors()
        .nth(2)
        .expect("a test lies in target/PROFILE/deps");
    let mut cargo = Command::new(env!("CARGO"));
    cargo
        .args(["build", "--locked", "--quiet", "--bins"])
        .args(["--package", "forenoon-server", "--package", "forenoon-cli"])
        .current_dir(env!("CARGO_MANIFEST_DIR"));
    if folder.ends_with("release") {
        cargo.arg("--release");
    }
    let status = cargo.status().expect("cargo runs");
    assert!(status.success(), "the programs do not build");
    folder.to_owned()
}
