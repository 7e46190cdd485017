//! A whole branch goes out of one server and into another, whatever databases they are on, and comes out the same.

use std::fs;
use std::path::{Path, PathBuf};

use forenoon_proto::v1::{GetPlanRequest, Symptom};
use forenoon_tests::actors::{Api, CrewLead, Dispatcher, Mechanic};
use forenoon_tests::cli::{Run, forenoon};
use forenoon_tests::contents::Contents;
use forenoon_tests::database::Database;
use forenoon_tests::on_both;
use forenoon_tests::server::Server;
use forenoon_tests::small_branch::{
    ASH, BRANCH, BRANCH_ID, MECHANIC, branch, day, records, unit_name, unsafe_tag,
};
use serde_json::Value;

on_both!(a_branch_comes_back_the_same_on_either_database);

/// Every kind of row: plans in all states, a tag that came after the plan that has its unit, one released.
async fn lived_in(api: &Api) {
    api.create_branch(BRANCH_ID, branch()).await;
    api.import(BRANCH, records()).await;
    let dispatcher = Dispatcher::new(api, BRANCH);
    let first = dispatcher.plan(day(), 1, 200).await;
    dispatcher.publish(&first).await;
    let second = dispatcher.plan(day(), 2, 200).await;
    let second = dispatcher.publish(&second).await;
    dispatcher.plan(day(), 3, 200).await;
    let lead = CrewLead::new(api, BRANCH, ASH);
    let aboard = second
        .crew_days
        .iter()
        .flat_map(|crew| &crew.load_out)
        .next()
        .expect("a unit aboard")
        .clone();
    let spare = unit_name("truck-3");
    for unit in [&spare, &aboard] {
        let tagged = lead.tag_out(unsafe_tag(unit, Symptom::Leak)).await;
        if *unit == spare {
            let tag = tagged.tag_out.expect("a tag");
            Mechanic::new(api, MECHANIC).bring_back(&tag).await;
        }
    }
}

fn export(server: &Server, to: &Path) -> Run {
    let to = to.to_str().expect("a path in UTF-8");
    forenoon(["--server", &server.url(), "branch", "export", BRANCH_ID, to])
}

fn import(server: &Server, from: &Path) -> Run {
    let from = from.to_str().expect("a path in UTF-8");
    forenoon(["--server", &server.url(), "branch", "import", from])
}

fn lines(file: &PathBuf) -> Vec<Value> {
    let text = fs::read_to_string(file).expect("the export");
    text.lines()
        .map(|line| serde_json::from_str(line).expect("a JSON line"))
        .collect()
}

/// All but what the import itself leaves: its audit entry, event, kept answer and number, and the last line.
fn without_import(lines: &[Value]) -> Vec<Value> {
    lines
        .iter()
        .filter(|line| {
            let row = &line["row"];
            row["kind"] != "branch.imported"
                && row["method"] != "forenoon.v1.TransferService/ImportBranch"
                && line["table"] != "branch_sequence"
                && line.get("end").is_none()
        })
        .cloned()
        .collect()
}

async fn a_branch_comes_back_the_same_on_either_database(database: Database) {
    let server = Server::start(&database).await;
    let api = Api::of(&server);
    lived_in(&api).await;
    let file = database.folder().join("north.jsonl");
    export(&server, &file).output_of_success();
    let before = lines(&file);
    let contents = Contents::of(&api, BRANCH).await;
    for table in [
        "plan_draft",
        "plan_stop",
        "tag_out",
        "audit_entry",
        "command_answer",
    ] {
        assert!(before.iter().any(|line| line["table"] == table), "{table}");
    }

    for other in [Database::sqlite(), Database::postgres()] {
        let target = Server::start(&other).await;
        import(&target, &file).output_of_success();
        let there = Api::of(&target);
        assert_eq!(Contents::of(&there, BRANCH).await, contents);
        for plan in &contents.plans {
            assert_eq!(
                whole(&there, &plan.name).await,
                whole(&api, &plan.name).await
            );
        }
        let again = other.folder().join("again.jsonl");
        export(&target, &again).output_of_success();
        assert_eq!(without_import(&lines(&again)), without_import(&before));

        // It is not brought in twice, and the branch lives on.
        let refused = import(&target, &file);
        assert_eq!(refused.code, Some(5), "{}", refused.messages);
        Dispatcher::new(&there, BRANCH).plan(day(), 9, 50).await;
    }
}

async fn whole(api: &Api, name: &str) -> forenoon_proto::v1::Plan {
    let name = name.to_owned();
    let answer = api.plans().get_plan(GetPlanRequest { name }).await;
    answer.expect("the plan").into_inner().plan.expect("a plan")
}

#[tokio::test]
async fn a_cut_export_is_refused_and_leaves_nothing() {
    let database = Database::sqlite();
    let server = Server::start(&database).await;
    let api = Api::of(&server);
    lived_in(&api).await;
    let file = database.folder().join("north.jsonl");
    export(&server, &file).output_of_success();
    let text = fs::read_to_string(&file).expect("the export");
    let cut = database.folder().join("cut.jsonl");
    fs::write(&cut, &text[..text.len() - 200]).expect("a cut export");
    let target = Database::sqlite();
    let other = Server::start(&target).await;
    let refused = import(&other, &cut);
    assert_eq!(refused.code, Some(3), "{}", refused.messages);
    assert!(refused.messages.contains("cut off"), "{}", refused.messages);
    assert_eq!(target.number("SELECT count(*) FROM audit_entry").await, 0);
    assert_eq!(target.number("SELECT count(*) FROM branch").await, 0);
    // A branch that is not there, and a file that is.
    let gone = export(&other, &target.folder().join("gone.jsonl"));
    assert_eq!(gone.code, Some(4), "{}", gone.messages);
    let taken = export(&server, &file);
    assert_ne!(taken.code, Some(0));
    assert_eq!(fs::read_to_string(&file).expect("the export"), text);
}
