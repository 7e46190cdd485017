//! Goal: writes at the same time lose nothing, and numbers are given once each without a gap.
//! Method: many tasks on two handles, as two servers would be; then the rows are counted.

use std::collections::BTreeSet;

use forenoon_store::entity::branch;
use forenoon_store::record::take_numbers;
use forenoon_store::sea_orm::{
    ActiveModelTrait, DatabaseTransaction, DbErr, EntityTrait, IntoActiveModel, Set,
};
use forenoon_store::{Database, DatabaseOptions, StoreError, Write};

use crate::bench::{Bench, branch_row, on_both};

/// Reads the revision and writes it back increased, as an update does; takes a number beside it.
struct Increase;

impl Write for Increase {
    type Output = i64;
    type Error = StoreError;

    async fn run(&self, transaction: &DatabaseTransaction) -> Result<i64, StoreError> {
        let row = branch::Entity::find_by_id("north")
            .one(transaction)
            .await?
            .ok_or(StoreError::Other(DbErr::RecordNotUpdated))?;
        let next = row.revision + 1;
        let mut row = row.into_active_model();
        row.revision = Set(next);
        row.update(transaction).await?;
        take_numbers(transaction, "north", 1).await
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn writes_at_the_same_time_lose_nothing() {
    const TASKS: usize = 4;
    const WRITES: usize = 10;
    on_both(async |bench: &Bench| {
        bench
            .put(branch_row().into_active_model())
            .await
            .expect("branch");
        let second = Database::open(&bench.options)
            .await
            .expect("a second server");
        let mut tasks = Vec::new();
        for index in 0..TASKS {
            let database = if index % 2 == 0 {
                bench.database.clone()
            } else {
                second.clone()
            };
            tasks.push(tokio::spawn(async move {
                let mut numbers = Vec::new();
                for _ in 0..WRITES {
                    // A caller may have to try again; what must not happen is a lost write.
                    loop {
                        match database.write("north", &Increase).await {
                            Ok(number) => break numbers.push(number),
                            Err(StoreError::Contention { .. }) => {}
                            Err(error) => panic!("{error}"),
                        }
                    }
                }
                numbers
            }));
        }
        let mut numbers = BTreeSet::new();
        for task in tasks {
            for number in task.await.expect("the task ends") {
                assert!(numbers.insert(number), "number {number} was given twice");
            }
        }
        let written = i64::try_from(TASKS * WRITES).expect("small");
        assert_eq!(numbers, (1..=written).collect());
        let row = branch::Entity::find_by_id("north")
            .one(bench.database.read())
            .await
            .expect("read")
            .expect("the branch");
        assert_eq!(row.revision, 1 + written);
    })
    .await;
}

#[tokio::test]
async fn the_read_side_of_sqlite_refuses_to_write() {
    let bench = Bench::sqlite().await;
    let error = branch_row()
        .into_active_model()
        .insert(bench.database.read())
        .await
        .expect_err("read only");
    assert!(
        matches!(StoreError::from(error), StoreError::NotWritable { .. }),
        "a write must go through Database::write"
    );
}

/// Guards what a crash leaves to be read again: once the log is emptied, the file alone has what was written.
#[tokio::test]
async fn an_emptied_log_leaves_all_in_the_file() {
    let bench = Bench::sqlite().await;
    let mut copies = 0;
    let mut branches_in_file = async || {
        let file = bench.options.url.strip_prefix("sqlite://").expect("a path");
        // Each under a name of its own: a copy that was read may still be closing.
        copies += 1;
        let copy = format!("{file}.{copies}");
        std::fs::copy(file, &copy).expect("copied");
        let options = DatabaseOptions {
            url: format!("sqlite://{copy}"),
            ..bench.options.clone()
        };
        let copy = Database::open(&options).await.expect("it opens");
        let branches = branch::Entity::find().all(copy.read()).await;
        branches.expect("read").len()
    };
    let row = branch_row().into_active_model();
    bench.put(row).await.expect("branch");
    assert_eq!(branches_in_file().await, 0, "the log has it");
    bench.database.empty_log().await.expect("emptied");
    assert_eq!(branches_in_file().await, 1);
}
