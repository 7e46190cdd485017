//! Goal: a database that cannot be used is refused with the reason, and one that can is brought up
//! to date whole. Method: real files and clusters, spoilt on purpose.

use std::time::Duration;

use forenoon_migrations::{Migrator, MigratorTrait};
use forenoon_store::entity::{plan, plan_load_out, tag_out, visit};
use forenoon_store::sea_orm::ActiveValue::NotSet;
use forenoon_store::sea_orm::{
    self, ConnectionTrait, DatabaseConnection, EntityTrait, IntoActiveModel, QueryOrder,
    TransactionTrait,
};
use forenoon_store::value::{PlanState, Severity};
use forenoon_store::{Database, DatabaseOptions, GuardRule, OpenError, StoreError};
use tempfile::TempDir;

use crate::bench::{Bench, document, on_both, spell_row, stop_with, tag_row, visit_row};

/// What a server holds while it changes the schema, so that others which start at once wait for it.
const MIGRATION_LOCK: i64 = 0x666f_7265_6e6f_6f6e;

fn sqlite_at(path: &std::path::Path) -> DatabaseOptions {
    DatabaseOptions {
        url: format!("sqlite://{}", path.display()),
        connections_max: 2,
        wait_max: Duration::from_secs(2),
    }
}

/// A second connection that may write, past the store.
async fn past_the_store(bench: &Bench) -> DatabaseConnection {
    sea_orm::Database::connect(&bench.options.url)
        .await
        .expect("a connection")
}

/// Guards how SQLite is compiled (`.cargo/config.toml`): without it every second statement is prepared anew each time.
#[tokio::test]
async fn sqlite_keeps_what_it_has_prepared() {
    let bench = Bench::sqlite().await;
    let options = sea_orm::Statement::from_string(
        sea_orm::DatabaseBackend::Sqlite,
        "SELECT compile_options AS one FROM pragma_compile_options",
    );
    let rows = bench.database.read().query_all_raw(options).await;
    let options: Vec<String> = rows
        .expect("its options")
        .iter()
        .map(|row| row.try_get("", "one").expect("words"))
        .collect();
    assert!(
        options.iter().any(|one| one == "ENABLE_QPSG"),
        "{options:?}"
    );
    let shared = |one: &String| one == "ENABLE_MEMORY_MANAGEMENT";
    assert!(!options.iter().any(shared), "{options:?}");
}

#[tokio::test]
async fn opening_again_changes_nothing() {
    on_both(async |bench| {
        bench.furnish().await;
        let again = Database::open(&bench.options).await.expect("opens again");
        assert!(again.ping().await.is_ok());
    })
    .await;
}

#[tokio::test]
async fn every_step_down_is_possible_and_up_again() {
    on_both(async |bench| {
        let connection = past_the_store(bench).await;
        Migrator::down(&connection, None).await.expect("down");
        Migrator::up(&connection, None).await.expect("up");
        bench.furnish().await;
    })
    .await;
}

/// A server of the version before looks for the units of stops in rows of their own, which this version no longer writes:
/// the step down makes them, and its guard finds a unit tagged later.
#[tokio::test]
async fn the_step_down_gives_stops_the_rows_of_their_units() {
    on_both(async |bench| {
        bench.furnish().await;
        let draft = bench.draft(1).await;
        bench
            .put(stop_with(&draft, "mower", 0, 60))
            .await
            .expect("fit so far");
        let publish = "UPDATE plan SET state = 'published', publish_time = create_time";
        bench.execute(publish).await.expect("published");

        let connection = past_the_store(bench).await;
        Migrator::down(&connection, Some(steps_since("m20261128_000001_job_day")))
            .await
            .expect("down");
        // Tags and visits had no such columns then.
        let tag = tag_out::ActiveModel {
            severity_time: NotSet,
            forbidden_earlier: NotSet,
            ..tag_row(1, "mower", Severity::Unsafe, 10).into_active_model()
        };
        bench.put(tag).await.expect("tagged");
        let visit = visit::ActiveModel {
            ended_by_plan_id: NotSet,
            ..visit_row(&draft, 11)
        };
        let begun = bench.put(visit).await;
        assert!(
            matches!(begun, Err(StoreError::Guard(GuardRule::UnitTaggedOut))),
            "{begun:?}"
        );
    })
    .await;
}

/// A server of the version before knows no documents: the step down throws such drafts away, and leaves those in rows.
#[tokio::test]
async fn the_step_down_throws_drafts_away_that_are_documents() {
    on_both(async |bench| {
        bench.furnish().await;
        bench.draft(1).await;
        let draft = bench.bare_draft(2).await;
        bench
            .put(document(&draft, vec![], vec![]))
            .await
            .expect("a document");
        let connection = past_the_store(bench).await;
        let steps = steps_since("m20261129_000002_index_with_plan");
        Migrator::down(&connection, Some(steps))
            .await
            .expect("down");
        let plans = plan::Entity::find()
            .order_by_asc(plan::Column::DayRevision)
            .all(&connection)
            .await
            .expect("plans");
        let states: Vec<PlanState> = plans.iter().map(|plan| plan.state).collect();
        assert_eq!(states, [PlanState::Draft, PlanState::Discarded]);
    })
    .await;
}

/// A server of the version before knows one crew for a unit and day: the step down leaves the first, of published plans too,
/// and the guards of the table stand as before.
#[tokio::test]
async fn the_step_down_leaves_a_unit_with_the_first_of_its_crews() {
    on_both(async |bench| {
        bench.furnish().await;
        let draft = bench.draft(1).await;
        for (crew, spell, times) in [("one", 0, [None, Some(60)]), ("two", 1, [Some(60), None])] {
            let row = spell_row(&draft, crew, spell, times);
            bench.put(row).await.expect("a spell");
        }
        let publish = "UPDATE plan SET state = 'published', publish_time = create_time";
        bench.execute(publish).await.expect("published");
        let connection = past_the_store(bench).await;
        let steps = Some(steps_since("m20261129_000004_later_yard_calls"));
        Migrator::down(&connection, steps).await.expect("down");
        let taken_out = bench.execute("DELETE FROM plan_load_out").await;
        assert!(
            matches!(taken_out, Err(StoreError::Guard(GuardRule::PlanFixed))),
            "{taken_out:?}"
        );
        Migrator::up(&connection, None).await.expect("up");
        let rows = plan_load_out::Entity::find().all(&connection).await;
        let rows = rows.expect("load-outs");
        let [row] = <[_; 1]>::try_from(rows).expect("one row");
        assert_eq!((row.crew_id.as_str(), row.spell), ("one", 0));
        assert_eq!((row.from_time, row.until_time), (None, None));
    })
    .await;
}

/// How many migrations came after the one.
fn steps_since(last: &str) -> u32 {
    let later = Migrator::migrations()
        .iter()
        .rev()
        .take_while(|one| one.name() != last)
        .count();
    u32::try_from(later).expect("few")
}

/// A later version's migration that only adds is worked with; one that excludes this version is refused, and so is a
/// schema that lacks something of this version.
#[tokio::test]
async fn a_schema_of_a_later_version_is_refused_where_it_says_so() {
    const LATER: &str = "m20990101_000001_later";
    on_both(async |bench| {
        let past = past_the_store(bench).await;
        let run = async |sql: &str| past.execute_unprepared(sql).await.expect("executed");
        run(&format!(
            "INSERT INTO seaql_migrations (version, applied_at) VALUES ('{LATER}', 0)"
        ))
        .await;
        let open = Database::open(&bench.options).await.expect("only added");
        assert!(open.still_fits().await.expect("looked"));

        run(&format!(
            "UPDATE schema_compatibility SET known_since = '{LATER}'"
        ))
        .await;
        let error = Database::open(&bench.options).await.expect_err("newer");
        assert!(
            matches!(&error, OpenError::SchemaNewer { unknown, required }
                if *unknown == [LATER] && required.as_deref() == Some(LATER)),
            "{error}"
        );
        assert!(!open.still_fits().await.expect("looked"));

        run("UPDATE schema_compatibility SET known_since = 'm20261125_000041_compatibility'").await;
        run("DELETE FROM seaql_migrations WHERE version = 'm20261125_000040_keeping'").await;
        let error = Database::open(&bench.options).await.expect_err("missing");
        assert!(matches!(error, OpenError::SchemaNewer { .. }), "{error}");
    })
    .await;
}

#[tokio::test]
async fn a_folder_in_place_of_the_file_is_not_writable() {
    let folder = TempDir::new().expect("a folder");
    let error = Database::open(&sqlite_at(folder.path()))
        .await
        .expect_err("a folder");
    assert!(matches!(error, OpenError::NotWritable { .. }), "{error}");
}

#[tokio::test]
async fn a_file_below_a_file_is_not_writable() {
    let folder = TempDir::new().expect("a folder");
    let file = folder.path().join("file");
    std::fs::write(&file, "x").expect("write");
    let error = Database::open(&sqlite_at(&file.join("a.db")))
        .await
        .expect_err("a file");
    assert!(matches!(error, OpenError::NotWritable { .. }), "{error}");
}

#[tokio::test]
async fn another_kind_of_file_is_not_a_database() {
    let folder = TempDir::new().expect("a folder");
    let file = folder.path().join("notes.txt");
    std::fs::write(&file, "notes ".repeat(1_000)).expect("write");
    let error = Database::open(&sqlite_at(&file)).await.expect_err("text");
    assert!(matches!(error, OpenError::NotADatabase { .. }), "{error}");
}

#[tokio::test]
async fn a_server_that_is_not_there_is_unreachable() {
    let error = Database::open(&DatabaseOptions {
        url: "postgres://postgres@localhost/postgres?host=/nonexistent".into(),
        connections_max: 1,
        wait_max: Duration::from_secs(1),
    })
    .await
    .expect_err("nobody there");
    assert!(matches!(error, OpenError::Unreachable { .. }), "{error}");
}

/// The cluster's address with settings for each connection.
fn with_settings(bench: &Bench, settings: &str) -> DatabaseOptions {
    DatabaseOptions {
        url: format!("{}&options={settings}", bench.options.url),
        ..bench.options.clone()
    }
}

/// Guards a start beside a database that has just gone over to a standby: that is no damaged database.
#[tokio::test]
async fn a_database_that_takes_no_writes_is_told_as_such() {
    let bench = Bench::postgres().await;
    let read_only = with_settings(&bench, "-c%20default_transaction_read_only%3Don");
    let error = Database::open(&read_only).await.expect_err("read-only");
    assert!(matches!(error, OpenError::TakesNoWrites { .. }), "{error}");
}

/// Guards a start during which the database goes away.
#[tokio::test]
async fn a_database_that_goes_away_meanwhile_is_unreachable() {
    let bench = Bench::postgres().await;
    let other = past_the_store(&bench).await;
    let holder = other.begin().await.expect("a transaction");
    let lock = format!("SELECT pg_advisory_xact_lock({MIGRATION_LOCK})");
    holder.execute_unprepared(&lock).await.expect("locked");
    let options = bench.options.clone();
    let opening = tokio::spawn(async move { Database::open(&options).await });
    let end = "SELECT pg_terminate_backend(pid) FROM pg_locks WHERE locktype = 'advisory' AND NOT granted";
    let end = || sea_orm::Statement::from_string(sea_orm::DbBackend::Postgres, end);
    while holder.query_all_raw(end()).await.expect("ended").is_empty() {
        tokio::time::sleep(Duration::from_millis(20)).await;
    }
    let error = opening.await.expect("it ends").expect_err("cut off");
    assert!(matches!(error, OpenError::Unreachable { .. }), "{error}");
}

#[tokio::test]
async fn a_file_that_another_writes_to_is_unreachable_for_now() {
    let bench = Bench::sqlite().await;
    let other = past_the_store(&bench).await;
    let holder = other.begin().await.expect("a transaction");
    holder
        .execute_unprepared("UPDATE schema_compatibility SET known_since = known_since")
        .await
        .expect("a write");
    let mut options = bench.options.clone();
    options.wait_max = Duration::from_millis(200);
    let error = Database::open(&options).await.expect_err("busy");
    assert!(matches!(error, OpenError::Unreachable { .. }), "{error}");
    holder.rollback().await.expect("rolled back");
    assert!(Database::open(&options).await.is_ok());
}

/// Guards the servers that serve while another brings a later schema: a backup that reads holds up the schema, and not them.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_migration_that_waits_for_a_backup_stops_nobody_else() {
    const READ: &str = "SELECT count(*) FROM plan_crew_day";
    let bench = Bench::postgres().await;
    let backup = past_the_store(&bench).await;
    let steps = Some(steps_since("m20261130_000001_access_key"));
    Migrator::down(&backup, steps).await.expect("down");
    let reading = backup.begin().await.expect("a transaction");
    reading.execute_unprepared(READ).await.expect("read");
    let options = bench.options.clone();
    let opening = tokio::spawn(async move { Database::open(&options).await });
    // Reads go on all the while, each within the moment that the migration waits for its locks.
    for _ in 0..15 {
        let read = bench.database.read().execute_unprepared(READ);
        let read = tokio::time::timeout(Duration::from_secs(3), read).await;
        read.expect("in time").expect("read");
        tokio::time::sleep(Duration::from_millis(100)).await;
    }
    assert!(!opening.is_finished(), "there was nothing to wait for");
    reading.rollback().await.expect("rolled back");
    let open = opening.await.expect("it ends").expect("opened");
    assert!(open.still_fits().await.expect("looked"));
}

/// What is long is stored the quicker way where the server was built with it.
#[tokio::test]
async fn connections_compress_quickly() {
    let bench = Bench::postgres().await;
    let show = |sql: &str| sea_orm::Statement::from_string(sea_orm::DbBackend::Postgres, sql);
    let read = bench.database.read();
    let can = "SELECT 1 FROM pg_settings WHERE name = 'default_toast_compression' AND 'lz4' = ANY (enumvals)";
    let can = read
        .query_one_raw(show(can))
        .await
        .expect("asked")
        .is_some();
    let set = "SELECT coalesce(current_setting('default_toast_compression', true), '')";
    let set = read.query_one_raw(show(set)).await.expect("asked");
    let set: String = set.expect("a row").try_get_by_index(0).expect("a word");
    assert_eq!(set == "lz4", can, "{set}");
}
