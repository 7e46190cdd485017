//! Which tables travel with a branch, and how rows are found in them.

use forenoon_store::rows::TABLES;
use forenoon_store::sea_orm::{ConnectionTrait, DbBackend, Statement};

use crate::bench::{Bench, on_both};

/// Keys are of one database, so that what travels lets nobody in. A lease is of its servers, and of a moment. What
/// `plan_stop_unit` has of earlier versions stands in the stops.
const LEFT_BEHIND: [&str; 3] = ["access_key", "solve_lease", "plan_stop_unit"];

/// A table added later is added to what travels, or named above with the reason.
#[tokio::test]
async fn every_table_with_a_branch_travels() {
    on_both(async |bench: &Bench| {
        let read = bench.database.read();
        let query = match read.get_database_backend() {
            DbBackend::Sqlite => {
                "SELECT m.name FROM sqlite_master m WHERE m.type = 'table' AND EXISTS \
                 (SELECT 1 FROM pragma_table_info(m.name) c WHERE c.name = 'branch_id')"
            }
            _ => {
                "SELECT CAST(table_name AS text) AS name FROM information_schema.columns \
                 WHERE table_schema = 'public' AND column_name = 'branch_id'"
            }
        };
        let rows = read
            .query_all_raw(Statement::from_string(read.get_database_backend(), query))
            .await
            .expect("the catalogue");
        let mut owned: Vec<String> = rows
            .iter()
            .map(|row| row.try_get_by_index(0).expect("a name"))
            .collect();
        owned.sort();
        let mut told: Vec<String> = TABLES
            .iter()
            .copied()
            .filter(|table| *table != "branch")
            .chain(LEFT_BEHIND)
            .map(str::to_owned)
            .collect();
        told.sort();
        assert_eq!(owned, told);
    })
    .await;
}

/// Guards the deletion of photographs: a foreign key looks for what a photograph is of by the photograph, for each that goes.
#[tokio::test]
async fn what_a_photograph_is_of_is_found_by_the_photograph() {
    let bench = Bench::sqlite().await;
    let query = "EXPLAIN QUERY PLAN SELECT create_time FROM photo_subject WHERE branch_id = 'north' AND sha256 = 'a'";
    let steps = bench
        .database
        .read()
        .query_all_raw(Statement::from_string(DbBackend::Sqlite, query))
        .await
        .expect("a plan");
    let steps: Vec<String> = steps
        .iter()
        .map(|step| step.try_get("", "detail").expect("words"))
        .collect();
    assert!(
        steps[0].ends_with("(branch_id=? AND sha256=?)"),
        "{steps:?}"
    );
}
