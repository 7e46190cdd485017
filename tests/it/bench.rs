//! The bench and a broken day from the command line: each a short command.

use std::fs;

use forenoon_tests::actors::Api;
use forenoon_tests::cli::forenoon;
use forenoon_tests::database::Database;
use forenoon_tests::on_both;
use forenoon_tests::server::Server;
use forenoon_tests::small_branch::{BRANCH, BRANCH_ID, branch, records};

on_both!(the_bench_and_a_broken_day_from_the_command_line);

const DAY: &str = "2035-04-17";

async fn does(url: &str, words: &[&str]) -> String {
    let mut arguments = vec!["--server".to_owned(), url.to_owned()];
    arguments.extend(words.iter().map(|&word| word.to_owned()));
    tokio::task::spawn_blocking(move || forenoon(arguments))
        .await
        .expect("the command ends")
        .output_of_success()
}

#[track_caller]
fn holds(output: &str, words: &[&str]) {
    for word in words {
        assert!(output.contains(word), "{word:?} is not in:\n{output}");
    }
}

async fn the_bench_and_a_broken_day_from_the_command_line(database: Database) {
    let server = Server::start(&database).await;
    let url = server.url();
    let api = Api::of(&server);
    api.create_branch(BRANCH_ID, branch()).await;
    api.import(BRANCH, records()).await;
    does(&url, &["plan", DAY, "--seed", "7", "--iterations", "2000"]).await;
    does(&url, &["publish", "2035-04-17-1"]).await;

    // Limited, and not out: it says for what.
    let limited = does(
        &url,
        &[
            "tag-out",
            "walk-30",
            "-s",
            "power-loss",
            "--forbid",
            "second-pass",
            "--by",
            "ada",
        ],
    )
    .await;
    holds(&limited, &["t-1", "not to be used to", "print-tag t-1"]);
    let tagged = does(
        &url,
        &["tag-out", "walk-21", "-s", "vibration", "--by", "ada"],
    )
    .await;
    holds(&tagged, &["t-2", "replan --day 2035-04-17"]);

    let file = database.folder().join("tag.svg");
    let path = file.to_str().expect("a path in UTF-8");
    does(&url, &["print-tag", "t-2", "--to", path]).await;
    let svg = fs::read_to_string(&file).expect("the drawing");
    holds(&svg, &["<svg", ">t-2<", "DO NOT OPERATE", "LG-walk-21"]);

    // The alley and the bank can be done with it alone: it comes before the limited one.
    let queue = does(&url, &["--output", "plain", "bench"]).await;
    let first = queue.lines().next().expect("a line");
    holds(first, &["t-2", "walk-21"]);

    // Proposals side by side, with what else happened.
    let ways = does(
        &url,
        &[
            "replan",
            DAY,
            "--absent-worker",
            "dev",
            "--no-mowing-until",
            "09:00",
            "--iterations",
            "500",
        ],
    )
    .await;
    holds(
        &ways,
        &[
            "dev is not there, no mowing until 09:00",
            "what",
            "running cost",
            "promises kept",
            "forenoon accept",
        ],
    );

    for words in [
        &["diagnose", "t-2", "--by", "gus", "blade bent"][..],
        &["repair", "t-2", "--by", "gus", "new blade"],
        &["inspect", "t-2", "--by", "gus", "runs true", "--passed"],
        &["release", "t-2", "--by", "gus"],
    ] {
        does(&url, words).await;
    }
    let again = does(&url, &["reopen", "t-2", "--by", "ben", "shakes again"]).await;
    holds(&again, &["t-3", "again after", "t-2"]);
    does(
        &url,
        &["serviced", "walk-21", "--by", "gus", "oil and blades"],
    )
    .await;
    let history = does(&url, &["history", "walk-21"]).await;
    holds(
        &history,
        &[
            "t-2",
            "t-3",
            "again after t-2",
            "oil and blades",
            "failures",
        ],
    );
}
