//! The command that moves old days out: what it needs to be told, and that it leaves a young branch as it is.

use forenoon_tests::actors::{Api, Dispatcher};
use forenoon_tests::contents::Contents;
use forenoon_tests::database::Database;
use forenoon_tests::on_both;
use forenoon_tests::server::{Ended, Server, command, run_to_end};
use forenoon_tests::small_branch::{BRANCH, BRANCH_ID, branch, day, records};

on_both!(a_young_branch_is_left_as_it_is);

fn archive(database: &Database, arguments: &[&str]) -> Ended {
    let mut server = command(database);
    server.arg("archive").arg(database.folder()).args(arguments);
    run_to_end(server)
}

async fn a_young_branch_is_left_as_it_is(database: Database) {
    let server = Server::start(&database).await;
    let api = Api::of(&server);
    api.create_branch(BRANCH_ID, branch()).await;
    api.import(BRANCH, records()).await;
    Dispatcher::new(&api, BRANCH).plan(day(), 1, 100).await;
    let before = Contents::of(&api, BRANCH).await;
    for (arguments, code, words) in [
        (&[][..], 3, "days_kept"),
        (&["--days-kept", "400"], 3, "days_kept"),
        (
            &["--days-kept", "401"],
            0,
            "larkmoor: nothing is old enough",
        ),
        (
            &["--days-kept", "401", "--branch", "south"],
            11,
            "branches/south",
        ),
    ] {
        let ended = archive(&database, arguments);
        assert_eq!(ended.status.code(), Some(code), "{}", ended.messages);
        let told = format!("{}{}", ended.output, ended.messages);
        assert!(told.contains(words), "{told}");
    }
    assert_eq!(Contents::of(&api, BRANCH).await, before);
    let files = std::fs::read_dir(database.folder()).expect("the folder");
    let months = files.filter(|file| {
        let name = file.as_ref().expect("an entry").file_name();
        name.to_string_lossy().ends_with(".jsonl")
    });
    assert_eq!(months.count(), 0);
}
