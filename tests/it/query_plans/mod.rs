//! No statement of the server reads a table from end to end, nor all that a branch has of it where it asks for some, on either
//! database.
//!
//! A day's work runs on a PostgreSQL that tells how it goes about every statement (its module `auto_explain`), those of
//! guards and foreign keys among them, and that avoids sequential scans wherever an index would do: one that is left has
//! no index. The server's own statements are then put to SQLite's EXPLAIN QUERY PLAN, and to PostgreSQL's EXPLAIN once it
//! believes the tables to be long: in short ones one index is as good as another.

mod calls;
mod postgres;
mod sqlite;

use std::collections::BTreeSet;

use forenoon_tests::actors::Api;
use forenoon_tests::cluster::Cluster;
use forenoon_tests::database::Database;
use forenoon_tests::server::Server;

use calls::work_a_day;
use postgres::told;

/// Tables that are read whole: a handful of rows that are all wanted.
const READ_WHOLE: [&str; 3] = ["branch", "schema_compatibility", "seaql_migrations"];

/// Indexes of which a branch has few rows, whatever it had over the years: of what is open.
const OF_FEW_ROWS: [&str; 2] = ["tag_out_open_key", "tag_out_open_number_idx"];

/// Tables of which all rows of a branch may be gone through, and words of the statements that may.
const GONE_THROUGH: [(&str, &str); 2] = [
    // Of the units that a yard ever had the most are in use.
    ("unit", "\"retired\" = $2 ORDER BY"),
    // What units ran, by all visits since hours were last summed up, and by all there are before they are for the first time.
    ("visit", "\"finish_time\" IS NOT NULL ORDER BY"),
];

/// Has PostgreSQL believe that tables are long; those without a row it takes for longer by itself.
const LONG_TABLES: &str = "UPDATE pg_class SET relpages = 1, reltuples = 1000000 \
     WHERE relnamespace = 'public'::regnamespace AND relkind IN ('r', 'i') AND pg_relation_size(oid) > 0";

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
    // Nobody else tells the planner how long tables are.
    database.execute("ALTER SYSTEM SET autovacuum = off").await;
    database.execute("SELECT pg_reload_conf()").await;
    let server = Server::start(&database).await;
    work_a_day(&Api::of(&server)).await;
    drop(server);

    let plans = told(&cluster.log());
    assert!(plans.len() > 100, "{} statements were told", plans.len());
    let mut scans = BTreeSet::new();
    for (statement, plan) in &plans {
        postgres::scanned(plan, &mut |table| {
            if !READ_WHOLE.contains(&table) {
                scans.insert(format!("{table}: {statement}"));
            }
        });
    }
    assert!(scans.is_empty(), "read from end to end: {scans:#?}");

    let own: BTreeSet<&str> = plans
        .iter()
        .map(|(statement, _)| statement.as_str())
        .filter(|statement| ours(statement))
        .collect();
    let mut found = Found::default();
    database.execute(LONG_TABLES).await;
    for statement in &own {
        let Some(plan) = database.plan(statement).await else {
            continue;
        };
        found.explained += 1;
        postgres::gone_through(&plan, &mut |table, index| {
            found.gone_through(table, index, statement);
        });
    }
    found.judge();

    let sqlite = Database::sqlite();
    drop(Server::start(&sqlite).await);
    let mut found = Found::default();
    for statement in own {
        let Some(steps) = sqlite.steps(statement).await else {
            continue;
        };
        found.explained += 1;
        for step in &steps {
            if let Some(table) = sqlite::scanned(step)
                && !READ_WHOLE.contains(&table)
            {
                found.broad.insert(format!("{step}: {statement}"));
            }
            if let Some((table, index)) = sqlite::gone_through(step, statement) {
                found.gone_through(table, index, statement);
            }
        }
    }
    found.judge();
}

/// What was found on one database.
#[derive(Default)]
struct Found {
    explained: usize,
    broad: BTreeSet<String>,
}

impl Found {
    fn gone_through(&mut self, table: &str, index: &str, statement: &str) {
        let may_be = GONE_THROUGH
            .iter()
            .any(|(named, words)| *named == table && statement.contains(words));
        if !may_be && !OF_FEW_ROWS.contains(&index) {
            self.broad
                .insert(format!("{table} by {index}: {statement}"));
        }
    }

    #[track_caller]
    fn judge(&self) {
        assert!(self.broad.is_empty(), "gone through: {:#?}", self.broad);
        assert!(
            self.explained > 40,
            "{} statements were explained",
            self.explained
        );
    }
}

/// The server's own statements, which sea-query writes with quoted names; not those of PostgreSQL for its keys.
fn ours(statement: &str) -> bool {
    ["SELECT \"", "INSERT INTO \"", "UPDATE \"", "DELETE FROM \""]
        .iter()
        .any(|start| statement.starts_with(start))
}
