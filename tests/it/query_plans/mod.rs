//! No statement of the server reads a table from end to end, on either database.
//!
//! A day's work runs on a PostgreSQL that tells how it goes about every statement (its module `auto_explain`), those of
//! guards and foreign keys among them, and that avoids sequential scans wherever an index would do: one that is left has
//! no index. The server's own statements are then put to SQLite's EXPLAIN QUERY PLAN.

mod calls;

use std::collections::BTreeSet;

use forenoon_tests::actors::Api;
use forenoon_tests::cluster::Cluster;
use forenoon_tests::database::Database;
use forenoon_tests::server::Server;
use serde_json::Value;

use calls::work_a_day;

/// Tables that are read whole: a handful of rows that are all wanted.
const READ_WHOLE: [&str; 2] = ["branch", "seaql_migrations"];

#[tokio::test]
async fn every_statement_of_a_day_finds_its_rows_by_an_index() {
    let cluster = Cluster::start();
    let database = Database::postgres_of(&cluster);
    // The schema is made before, by statements that move whole tables.
    drop(Server::start(&database).await);
    for setting in [
        "session_preload_libraries = 'auto_explain'",
        "auto_explain.log_min_duration = 0",
        "auto_explain.log_nested_statements = on",
        "auto_explain.log_format = 'json'",
        "enable_seqscan = off",
    ] {
        database
            .execute(&format!(
                "DO $$ BEGIN EXECUTE format('ALTER DATABASE %I SET ', current_database()) || $set${setting}$set$; END $$"
            ))
            .await;
    }
    let server = Server::start(&database).await;
    work_a_day(&Api::of(&server)).await;
    drop(server);

    let plans = told(&cluster.log());
    assert!(plans.len() > 100, "{} statements were told", plans.len());
    let mut scans = BTreeSet::new();
    for (statement, plan) in &plans {
        scanned(plan, &mut |table| {
            if !READ_WHOLE.contains(&table) {
                scans.insert(format!("{table}: {statement}"));
            }
        });
    }
    assert!(scans.is_empty(), "read from end to end: {scans:#?}");

    let sqlite = Database::sqlite();
    drop(Server::start(&sqlite).await);
    let own: BTreeSet<&String> = plans
        .iter()
        .map(|(statement, _)| statement)
        .filter(|statement| ours(statement))
        .collect();
    let mut explained = 0;
    let mut scans = BTreeSet::new();
    for statement in own {
        let Some(steps) = sqlite.steps(statement).await else {
            continue;
        };
        explained += 1;
        for step in steps {
            let scan = step
                .strip_prefix("SCAN ")
                .and_then(|rest| rest.split(' ').next());
            // Rows that the statement brings along are no table.
            let brought = step.contains("VALUES CLAUSE") || step.contains("CONSTANT ROW");
            if let Some(table) = scan
                && !brought
                && !READ_WHOLE.contains(&table)
            {
                scans.insert(format!("{step}: {statement}"));
            }
        }
    }
    assert!(scans.is_empty(), "read from end to end: {scans:#?}");
    assert!(explained > 40, "{explained} statements were explained");
}

/// The server's own statements, which sea-query writes with quoted names; not those of PostgreSQL for its keys.
fn ours(statement: &str) -> bool {
    ["SELECT \"", "INSERT INTO \"", "UPDATE \"", "DELETE FROM \""]
        .iter()
        .any(|start| statement.starts_with(start))
}

/// Each statement of the log with its plan.
fn told(log: &str) -> Vec<(String, Value)> {
    let mut found = Vec::new();
    let mut lines = log.lines().peekable();
    while let Some(line) = lines.next() {
        if !line.ends_with(" plan:") {
            continue;
        }
        let mut text = String::new();
        while let Some(line) = lines.next_if(|line| line.starts_with('\t')) {
            text.push_str(line);
            text.push('\n');
        }
        let plan: Value = serde_json::from_str(&text).expect("a plan as JSON");
        let statement = plan["Query Text"].as_str().unwrap_or_default().to_owned();
        found.push((statement, plan));
    }
    found
}

/// The tables that a plan reads from end to end.
fn scanned(plan: &Value, tell: &mut impl FnMut(&str)) {
    match plan {
        Value::Object(fields) => {
            if fields.get("Node Type").and_then(Value::as_str) == Some("Seq Scan") {
                tell(fields["Relation Name"].as_str().unwrap_or_default());
            }
            for field in fields.values() {
                scanned(field, tell);
            }
        }
        Value::Array(items) => items.iter().for_each(|item| scanned(item, tell)),
        _ => {}
    }
}

#[test]
fn a_scan_deep_in_a_plan_is_seen() {
    let log = "2035-04-17 LOG:  duration: 0.1 ms  plan:\n\t{\n\t  \"Query Text\": \"SELECT 1\",\n\t  \
               \"Plan\": {\"Node Type\": \"Limit\", \"Plans\": [{\"Node Type\": \"Seq Scan\", \
               \"Relation Name\": \"job\"}]}\n\t}\n2035-04-17 LOG:  done\n";
    let plans = told(log);
    assert_eq!(plans.len(), 1);
    let mut tables = Vec::new();
    scanned(&plans[0].1, &mut |table| tables.push(table.to_owned()));
    assert_eq!(
        (plans[0].0.as_str(), tables.as_slice()),
        ("SELECT 1", ["job".to_owned()].as_slice())
    );
}
