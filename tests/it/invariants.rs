//! The checks of what every command leaves see what is broken, so that the fault tests that end with them can fail.

use forenoon_tests::actors::Api;
use forenoon_tests::database::Database;
use forenoon_tests::invariants::{broken, commands_are_whole};
use forenoon_tests::on_both;
use forenoon_tests::server::Server;
use forenoon_tests::small_branch::{BRANCH, BRANCH_ID, branch, records};

on_both!(half_a_command_is_seen);

async fn half_a_command_is_seen(database: Database) {
    assert_breaks(&database, None, &["a branch has numbers"]).await;
    let server = Server::start(&database).await;
    let api = Api::of(&server);
    api.create_branch(BRANCH_ID, branch()).await;
    api.import(BRANCH, records()).await;
    commands_are_whole(&database, "before anything is broken").await;
    server.kill();

    let (audit, event) = (
        "audit numbers run from 1 to the branch's last",
        "event numbers run from 1 to the branch's last",
    );
    let has_event = "each audit entry has its event";
    let has_answer = "each audit entry with a request has its answer";
    let twice = "no command changed one thing twice";
    // Each is seen by its rule, and goes on from what the last one left.
    for (damage, rules) in [
        (
            "UPDATE audit_entry SET request_id = (SELECT request_id FROM audit_entry WHERE seq = 3), \
             subject = (SELECT subject FROM audit_entry WHERE seq = 3) WHERE seq = 4",
            &[has_event, twice][..],
        ),
        (
            "DELETE FROM command_answer WHERE method LIKE '%/ImportRecords'",
            &[has_event, has_answer, twice],
        ),
        (
            "DELETE FROM outbox_event WHERE seq > 2",
            &[event, has_event, has_answer, twice],
        ),
        (
            "DELETE FROM audit_entry WHERE seq > 2",
            &[audit, event, has_answer],
        ),
        ("UPDATE branch_sequence SET last_seq = 2", &[has_answer]),
        (
            "UPDATE outbox_event SET seq = 3 WHERE seq = 2",
            &[event, has_event, has_answer],
        ),
        (
            "UPDATE audit_entry SET seq = 3 WHERE seq = 2",
            &[audit, event, has_answer],
        ),
        (
            "DELETE FROM branch_sequence",
            &[
                "a branch has numbers",
                "each audit entry is of a branch with numbers",
                has_answer,
            ],
        ),
    ] {
        assert_breaks(&database, Some(damage), rules).await;
    }
}

/// Does the damage, where there is any, and compares what is seen.
async fn assert_breaks(database: &Database, damage: Option<&str>, rules: &[&str]) {
    match damage {
        Some(damage) => database.execute(damage).await,
        None => drop(Server::start(database).await),
    }
    assert_eq!(broken(database).await, rules, "{damage:?}");
}
