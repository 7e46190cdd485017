//! A morning at the dispatcher's desk, with the real command and the real server: plan, publish, sheets, a machine
//! fails, the re-plan, the bench. And what the command says where something is wrong.

use std::fs;

use forenoon_tests::actors::Api;
use forenoon_tests::cli::{Run, forenoon};
use forenoon_tests::contents::Contents;
use forenoon_tests::database::Database;
use forenoon_tests::on_both;
use forenoon_tests::server::Server;
use forenoon_tests::small_branch::{BRANCH, BRANCH_ID, branch, records};

on_both!(
    a_morning_is_planned_published_and_goes_on_after_a_tag_out,
    a_faulty_row_keeps_the_whole_import_out,
);

const DAY: &str = "2035-04-17";

/// The command at one server. Its calls block, so they run beside the test's own thread.
struct Desk {
    url: String,
}

impl Desk {
    async fn says(&self, words: &[&str]) -> Run {
        let mut arguments = vec!["--server".to_owned(), self.url.clone()];
        arguments.extend(words.iter().map(|&word| word.to_owned()));
        tokio::task::spawn_blocking(move || forenoon(arguments))
            .await
            .expect("the command ends")
    }

    /// The output of a command that must go well.
    async fn does(&self, words: &[&str]) -> String {
        let output = self.says(words).await.output_of_success();
        assert!(
            !output.contains('\u{1b}'),
            "colours off a terminal: {output}"
        );
        output
    }
}

async fn served(database: &Database) -> (Server, Api, Desk) {
    let server = Server::start(database).await;
    let api = Api::of(&server);
    api.create_branch(BRANCH_ID, branch()).await;
    let desk = Desk { url: server.url() };
    (server, api, desk)
}

#[track_caller]
fn holds(output: &str, words: &[&str]) {
    for word in words {
        assert!(output.contains(word), "{word:?} is not in:\n{output}");
    }
}

async fn a_morning_is_planned_published_and_goes_on_after_a_tag_out(database: Database) {
    let (_server, api, desk) = served(&database).await;
    api.import(BRANCH, records()).await;
    desk.does(&["ping"]).await;

    let planned = desk
        .does(&["plan", DAY, "--seed", "7", "--iterations", "2000"])
        .await;
    holds(&planned, &["Job court-sod"]);
    desk.does(&["publish", "2035-04-17-1"]).await;
    holds(&desk.does(&["day", DAY]).await, &["Ash", "Birch"]);

    // What a crew must know is on its sheet.
    let sheets = desk.does(&["sheets", DAY]).await;
    holds(
        &sheets,
        &[
            "Standing pipe in the tall growth",
            "LG-blade-a",
            "heap behind the shed",
            "county notice",
            "Customer at the corner",
            "Worker ada",
        ],
    );

    // The one mower for the alley and the bank fails.
    let tagged = desk
        .does(&[
            "tag-out",
            "walk-21",
            "--symptom",
            "vibration",
            "--by",
            "ada",
        ])
        .await;
    holds(&tagged, &["t-1"]);
    let ways = desk
        .does(&[
            "replan",
            DAY,
            "--cause",
            "the small mower shakes",
            "--iterations",
            "2000",
        ])
        .await;
    holds(&ways, &["2035-04-17-2"]);
    // Which way is for the dispatcher to say.
    let any = desk.says(&["publish", "--day", DAY]).await;
    assert_eq!(any.code, Some(4), "{any:?}");
    desk.does(&["accept", "2035-04-17-2"]).await;
    let after = desk.does(&["sheets", DAY]).await;
    assert!(
        !after.contains("LG-walk-21"),
        "a tagged unit on a sheet:\n{after}"
    );

    // An old draft can't be published over it, and the tag can't be lifted without the bench.
    let stale = desk.says(&["publish", "2035-04-17-1"]).await;
    assert_eq!(stale.code, Some(5), "{stale:?}");
    let early = desk.says(&["release", "t-1", "--by", "gus"]).await;
    assert_eq!(early.code, Some(5), "{early:?}");
    holds(&desk.does(&["bench"]).await, &["t-1", "walk-21"]);
    desk.does(&["diagnose", "t-1", "--by", "gus", "blade out of balance"])
        .await;
    desk.does(&["repair", "t-1", "--by", "gus", "blade replaced"])
        .await;
    desk.does(&["inspect", "t-1", "--by", "gus", "runs true", "--passed"])
        .await;
    desk.does(&["release", "t-1", "--by", "gus"]).await;

    let json = desk.does(&["--output", "json", "plans"]).await;
    serde_json::from_str::<serde_json::Value>(&json).expect("JSON");
}

async fn a_faulty_row_keeps_the_whole_import_out(database: Database) {
    let (_server, api, desk) = served(&database).await;
    let before = Contents::of(&api, BRANCH).await;
    let folder = database.folder().join("data");
    fs::create_dir(&folder).expect("a folder");
    let units = folder.join("units.csv");
    let rows = "unit_id,display_name,serial_number,kind,capabilities,coupling\n\
                rake-7,Rake seven,LG-7,hand-tool,rake,\n\
                head-7,Head seven,LG-8,powerhead,,\n";
    fs::write(&units, rows).expect("a file");
    let path = folder.to_str().expect("a path in UTF-8");

    // The powerhead on line 3 has no coupling.
    let refused = desk.says(&["import", path]).await;
    assert_eq!(refused.code, Some(3), "{refused:?}");
    let told = format!("{}{}", refused.output, refused.messages);
    holds(&told, &["units.csv", "3", "coupling"]);
    assert_eq!(Contents::of(&api, BRANCH).await, before);

    // Mended, it is taken.
    fs::write(&units, rows.replace("powerhead,,", "powerhead,,square-26")).expect("a file");
    desk.does(&["import", path]).await;
    assert_eq!(Contents::of(&api, BRANCH).await.units.len(), 2);
}

#[tokio::test]
async fn what_is_wrong_has_an_exit_code() {
    let database = Database::sqlite();
    let (_server, _api, desk) = served(&database).await;
    for (words, code) in [
        (&["plan", "someday"][..], 2),
        (&["fly"], 2),
        (&["unit", "show", "walk-99"], 4),
        (&["publish", "2035-04-17-9"], 4),
    ] {
        let run = desk.says(words).await;
        assert_eq!(run.code, Some(code), "{words:?}: {run:?}");
        assert!(!run.messages.is_empty(), "{words:?} says nothing");
    }
    let nobody = Desk {
        // Port 1 is for no server of ours.
        url: "http://127.0.0.1:1".to_owned(),
    };
    assert_eq!(nobody.says(&["ping"]).await.code, Some(6));
}
