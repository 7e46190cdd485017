//! The example settings in deploy are ones that the server takes, and name every setting.

use std::path::Path;

use forenoon_tests::database::Database;
use forenoon_tests::server::{Server, bare_command, run_to_end};

const SETTINGS: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/../deploy/server.toml");

/// Settings that belong to one run and not into a file that stays.
const OF_ONE_RUN: &[&str] = &["config", "port-file", "help", "version"];

#[tokio::test]
async fn the_server_starts_with_the_example_settings() {
    let database = Database::sqlite();
    // The example's own address and path are for a machine of its own.
    Server::start_with(&database, ["--config", SETTINGS, "--listen", "127.0.0.1:0"]).await;
}

#[test]
fn the_example_names_every_setting() {
    let mut help = bare_command();
    help.arg("--help");
    let help = run_to_end(help);
    assert!(help.status.success(), "{}", help.messages);
    let example = std::fs::read_to_string(Path::new(SETTINGS)).expect("the example");
    let flags: Vec<&str> = help
        .output
        .lines()
        .filter_map(|line| {
            line.trim_start()
                .strip_prefix("--")
                .or(line.trim_start().strip_prefix("-h, --"))
        })
        .filter_map(|rest| rest.split([' ', '=', ',']).next())
        .filter(|flag| !OF_ONE_RUN.contains(flag))
        .collect();
    assert!(
        flags.len() > 5,
        "no settings found in the help: {}",
        help.output
    );
    for flag in flags {
        let setting = format!("{} =", flag.replace('-', "_"));
        assert!(
            example
                .lines()
                .any(|line| line.trim_start_matches("# ").starts_with(&setting)),
            "{setting} is not in deploy/server.toml"
        );
    }
}
