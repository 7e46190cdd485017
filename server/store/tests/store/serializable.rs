//! Goal: PostgreSQL's guards hold however two write at the same time. Method: two connections past the store, at the
//! isolation a connection has by itself, each with a write that the other's stands in the way of.

use forenoon_store::sea_orm::{
    self, ActiveModelBehavior, ActiveModelTrait, ConnectionTrait, DatabaseConnection,
    DatabaseTransaction, DbErr, EntityTrait, IntoActiveModel, IsolationLevel, Set,
    TransactionTrait,
};
use forenoon_store::value::Severity;
use forenoon_store::{GuardRule, StoreError};

use crate::bench::{Bench, branch_row, load_row, plan_row, spell_row, tag_row, unit_row};

const PUBLISH: &str = "UPDATE plan SET state = 'published', publish_time = create_time";

/// A connection that the store knows nothing of.
async fn past_the_store(bench: &Bench) -> DatabaseConnection {
    sea_orm::Database::connect(&bench.options.url)
        .await
        .expect("a connection")
}

async fn insert<A>(connection: &impl ConnectionTrait, row: A) -> Result<(), DbErr>
where
    A: ActiveModelTrait + ActiveModelBehavior + Send,
    <A::Entity as EntityTrait>::Model: IntoActiveModel<A>,
{
    A::Entity::insert(row)
        .exec_without_returning(connection)
        .await?;
    Ok(())
}

async fn run(connection: &impl ConnectionTrait, sql: &str) -> Result<(), DbErr> {
    connection.execute_unprepared(sql).await.map(|_| ())
}

/// Has both write before either commits, and answers with what came of each.
async fn at_once(
    bench: &Bench,
    isolation: Option<IsolationLevel>,
    one: impl AsyncFnOnce(&DatabaseTransaction) -> Result<(), DbErr>,
    other: impl AsyncFnOnce(&DatabaseTransaction) -> Result<(), DbErr>,
) -> [Result<(), StoreError>; 2] {
    let connections = [past_the_store(bench).await, past_the_store(bench).await];
    let begin = async |connection: &DatabaseConnection| {
        let begun = connection.begin_with_config(isolation, None).await;
        begun.expect("a transaction")
    };
    let [first, second] = [begin(&connections[0]).await, begin(&connections[1]).await];
    let written = [one(&first).await, other(&second).await];
    let mut ends = Vec::new();
    for (written, transaction) in written.into_iter().zip([first, second]) {
        let end = match written {
            Ok(()) => transaction.commit().await,
            Err(error) => Err(error),
        };
        ends.push(end.map_err(StoreError::from));
    }
    <[_; 2]>::try_from(ends).expect("two")
}

#[track_caller]
fn not_both(ends: &[Result<(), StoreError>; 2]) {
    assert!(
        ends.iter().any(Result::is_err),
        "both were let through: {ends:?}"
    );
    for end in ends {
        let is_refusal = matches!(end, Ok(()) | Err(StoreError::Guard(_)));
        assert!(is_refusal, "{ends:?}");
    }
}

#[track_caller]
fn not_serializable(written: Result<(), DbErr>) {
    let refused = written.map_err(StoreError::from);
    assert!(
        matches!(refused, Err(StoreError::Guard(GuardRule::NotSerializable))),
        "{refused:?}"
    );
}

#[tokio::test]
async fn no_plan_is_published_beside_the_tag_of_its_unit() {
    let bench = Bench::postgres().await;
    bench.furnish().await;
    let draft = bench.draft(1).await;
    let aboard = load_row(&draft, "one", "mower");
    bench.put(aboard).await.expect("fit so far");
    let tag = tag_row(1, "mower", Severity::Unsafe, 30).into_active_model();
    let publish = async |transaction: &DatabaseTransaction| run(transaction, PUBLISH).await;
    let ends = at_once(&bench, None, publish, async |transaction| {
        insert(transaction, tag).await
    })
    .await;
    not_both(&ends);
}

#[tokio::test]
async fn no_unit_is_loaded_beside_its_tag() {
    let bench = Bench::postgres().await;
    bench.furnish().await;
    let draft = bench.draft(1).await;
    let aboard = load_row(&draft, "one", "mower");
    let tag = tag_row(1, "mower", Severity::Unsafe, 30).into_active_model();
    let load = async |transaction: &DatabaseTransaction| insert(transaction, aboard).await;
    let ends = at_once(&bench, None, load, async |transaction| {
        insert(transaction, tag).await
    })
    .await;
    not_both(&ends);
}

/// At no isolation. Serializable transactions meet as contention, whereupon the store tries again.
#[tokio::test]
async fn no_unit_comes_to_two_crews_that_load_it_at_the_same_time() {
    let bench = Bench::postgres().await;
    bench.furnish().await;
    let draft = bench.draft(1).await;
    let all_day = |crew, spell| spell_row(&draft, crew, spell, [None, None]);
    let race = async |isolation| {
        let [one, two] = [all_day("one", 0), all_day("two", 1)];
        let first = async |transaction: &DatabaseTransaction| insert(transaction, one).await;
        let second = async |transaction: &DatabaseTransaction| insert(transaction, two).await;
        at_once(&bench, isolation, first, second).await
    };
    not_both(&race(None).await);
    not_both(&race(Some(IsolationLevel::RepeatableRead)).await);
    let ends = race(Some(IsolationLevel::Serializable)).await;
    assert!(
        matches!(ends, [Ok(()), Err(StoreError::Contention { .. })]),
        "{ends:?}"
    );
}

/// Guards every table that a guard stands before, and each way to write to it.
#[tokio::test]
async fn only_serializable_writes_reach_what_guards_look_at() {
    let bench = Bench::postgres().await;
    bench.furnish().await;
    let draft = bench.draft(1).await;
    let aboard = load_row(&draft, "one", "mower");
    bench.put(aboard).await.expect("aboard");
    let tag = tag_row(1, "blower", Severity::Reduced, 0);
    bench.put(tag.into_active_model()).await.expect("tagged");
    let connection = past_the_store(&bench).await;
    for sql in [
        PUBLISH,
        "DELETE FROM plan",
        "DELETE FROM plan_crew_day",
        "DELETE FROM plan_load_out",
        "UPDATE tag_out SET severity = 'unsafe'",
    ] {
        not_serializable(run(&connection, sql).await);
    }
    let tables = sea_orm::Statement::from_string(
        sea_orm::DbBackend::Postgres,
        "SELECT CAST(event_object_table AS text) FROM information_schema.triggers \
         WHERE trigger_name NOT LIKE '%serializable_guard' AND event_object_table NOT IN \
         (SELECT event_object_table FROM information_schema.triggers \
         WHERE trigger_name LIKE '%serializable_guard' GROUP BY event_object_table HAVING count(*) = 3)",
    );
    let open = connection.query_all_raw(tables).await.expect("the tables");
    assert!(open.is_empty(), "{open:?}");
    // What no guard looks at is written as before.
    let other = "UPDATE site SET address = 'behind the mill'";
    run(&connection, other).await.expect("written");
}

/// Guards the import of a whole branch, which takes minutes and is not serializable: until it ends nobody sees the branch.
#[tokio::test]
async fn who_makes_a_branch_fills_it_at_any_isolation() {
    let bench = Bench::postgres().await;
    bench.furnish().await;
    let connection = past_the_store(&bench).await;
    let south = "south".to_owned();
    let mut branch = branch_row();
    branch.id.clone_from(&south);
    let plan = |revision| {
        let mut plan = plan_row(revision);
        plan.branch_id.clone_from(&south);
        plan.into_active_model()
    };
    let mut unit = unit_row("mower", "1").into_active_model();
    unit.branch_id = Set(south.clone());
    let transaction = connection
        .begin_with_config(Some(IsolationLevel::RepeatableRead), None)
        .await
        .expect("a transaction");
    // Below a savepoint a row is not the transaction's own by its `xmin`.
    let below = transaction.begin().await.expect("a savepoint");
    let branch = branch.into_active_model();
    insert(&below, branch).await.expect("a branch");
    insert(&below, unit).await.expect("its unit");
    insert(&below, plan(1)).await.expect("its plan");
    below.commit().await.expect("kept");
    insert(&transaction, plan(2)).await.expect("another");
    // Of a branch that others see, not even one that it touches.
    let touch = "UPDATE branch SET revision = revision + 1 WHERE id = 'north'";
    run(&transaction, touch).await.expect("touched");
    let aside = transaction.begin().await.expect("a savepoint");
    let of_north = plan_row(1).into_active_model();
    not_serializable(insert(&aside, of_north).await);
    aside.rollback().await.expect("undone");
    let moved = transaction.begin().await.expect("a savepoint");
    let away = "UPDATE plan SET branch_id = 'north' WHERE branch_id = 'south'";
    not_serializable(run(&moved, away).await);
    moved.rollback().await.expect("undone");
    transaction.commit().await.expect("written");
    // Now it is there for others.
    not_serializable(insert(&connection, plan(3)).await);
}
