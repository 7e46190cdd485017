//! Goal: writes at the same time lose nothing, and numbers are given once each without a gap.
//! Method: many tasks on two handles, as two servers would be; then the rows are counted.

use std::collections::BTreeSet;
use std::sync::Mutex;
use std::sync::atomic::{AtomicBool, AtomicU32, Ordering};
use std::time::Duration;

use forenoon_store::entity::branch;
use forenoon_store::record::take_numbers;
use forenoon_store::sea_orm::{
    ActiveModelTrait, ConnectionTrait, DatabaseBackend, DatabaseTransaction, DbErr, EntityTrait,
    IntoActiveModel, Set, Statement,
};
use forenoon_store::{Database, DatabaseOptions, StoreError, Write};
use tokio::sync::Notify;

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

/// The same, taking its time.
struct IncreaseSlowly;

impl Write for IncreaseSlowly {
    type Output = i64;
    type Error = StoreError;

    async fn run(&self, transaction: &DatabaseTransaction) -> Result<i64, StoreError> {
        // The view of the database begins here.
        branch::Entity::find().all(transaction).await?;
        tokio::time::sleep(Duration::from_millis(100)).await;
        Increase.run(transaction).await
    }
}

/// Guards a plan's turn: one server writes short writes without pause, and long ones of another come through all the same.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_long_write_gets_its_turn_among_short_ones() {
    let bench = Bench::postgres().await;
    let row = branch_row().into_active_model();
    bench.put(row).await.expect("branch");
    let second = Database::open(&bench.options).await.expect("a server");
    let busy = AtomicBool::new(true);
    let short = async {
        let mut written = 0;
        while busy.load(Ordering::Relaxed) {
            match bench.database.write("north", &Increase).await {
                Ok(_) => written += 1,
                Err(StoreError::Contention { .. }) => {}
                Err(error) => panic!("{error}"),
            }
        }
        written
    };
    let long = async {
        let mut written = Vec::new();
        for _ in 0..3 {
            written.push(second.write("north", &IncreaseSlowly).await.is_ok());
        }
        busy.store(false, Ordering::Relaxed);
        written
    };
    let (short, long) = tokio::join!(short, long);
    assert_eq!(long, [true; 3]);
    assert!(short > 6, "{short} short writes are no load");
}

/// Writes, and then stands still in its transaction.
struct StandStill;

impl Write for StandStill {
    type Output = i64;
    type Error = StoreError;

    async fn run(&self, transaction: &DatabaseTransaction) -> Result<i64, StoreError> {
        let number = Increase.run(transaction).await?;
        tokio::time::sleep(Duration::from_secs(5)).await;
        Ok(number)
    }
}

/// Guards the others against a server that is frozen or cut off: the database ends its transaction, and nothing of it is left.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_server_that_stands_still_holds_nobody_up() {
    const SETTING: &str = "idle_in_transaction_session_timeout";
    let bench = Bench::postgres().await;
    let row = branch_row().into_active_model();
    bench.put(row).await.expect("branch");
    let shown = Statement::from_string(DatabaseBackend::Postgres, format!("SHOW {SETTING}"));
    let shown = bench.database.read().query_one_raw(shown).await;
    let shown = shown.expect("read").expect("a row");
    assert_eq!(shown.try_get::<String>("", SETTING).expect("words"), "1min");

    let options = DatabaseOptions {
        url: format!("{}&options=-c%20{SETTING}%3D300ms", bench.options.url),
        ..bench.options.clone()
    };
    let still = Database::open(&options).await.expect("a server");
    let standing = tokio::spawn(async move { still.write("north", &StandStill).await });
    let took = async {
        // Not before the other has begun.
        tokio::time::sleep(Duration::from_millis(100)).await;
        bench.database.write("north", &Increase).await
    };
    assert_eq!(took.await.expect("written"), 1);
    let ended = standing.await.expect("no panic");
    assert!(
        matches!(ended, Err(StoreError::Unavailable { .. })),
        "{ended:?}"
    );
}

/// Writes until it is told to end.
struct UntilTold<'a>(&'a Notify);

impl Write for UntilTold<'_> {
    type Output = i64;
    type Error = StoreError;

    async fn run(&self, transaction: &DatabaseTransaction) -> Result<i64, StoreError> {
        let number = take_numbers(transaction, "north", 1).await?;
        self.0.notified().await;
        Ok(number)
    }
}

/// Guards other branches against one that is brought in whole: nobody stands behind its write for longer than a moment.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_write_that_lasts_keeps_no_other_branch_from_writing() {
    /// So many that some share a lock with the first, one in 64 on average.
    const OTHERS: usize = 400;
    let bench = Bench::postgres().await;
    bench
        .put(branch_row().into_active_model())
        .await
        .expect("branch");
    for index in 0..OTHERS {
        let mut row = branch_row();
        row.id = format!("other-{index}");
        bench.put(row.into_active_model()).await.expect("branch");
    }
    let end = Notify::new();
    let until_told = UntilTold(&end);
    let long = bench.database.write("north", &until_told);
    let others = async {
        for index in 0..OTHERS {
            let branch = format!("other-{index}");
            let written = bench.database.write(&branch, &TakeOne(&branch)).await;
            assert_eq!(written.expect("written"), 1);
        }
        end.notify_one();
    };
    let (long, ()) = tokio::join!(long, others);
    assert_eq!(long.expect("written"), 1);
}

/// Takes a number of a branch.
struct TakeOne<'a>(&'a str);

impl Write for TakeOne<'_> {
    type Output = i64;
    type Error = StoreError;

    async fn run(&self, transaction: &DatabaseTransaction) -> Result<i64, StoreError> {
        take_numbers(transaction, self.0, 1).await
    }
}

/// Has the number of a branch that it brings in, and does not end before it is told.
struct BringIn<'a> {
    has_number: &'a Notify,
    end: &'a Notify,
}

impl Write for BringIn<'_> {
    type Output = i64;
    type Error = StoreError;

    fn is_without_rivals(&self) -> bool {
        true
    }

    async fn run(&self, transaction: &DatabaseTransaction) -> Result<i64, StoreError> {
        let number = take_numbers(transaction, "north", 1).await?;
        self.has_number.notify_one();
        self.end.notified().await;
        Ok(number)
    }
}

/// Loses so many turns that it wants the numbers for itself, and is lucky then.
struct LosesTurns(AtomicU32);

impl Write for LosesTurns {
    type Output = i64;
    type Error = StoreError;

    async fn run(&self, transaction: &DatabaseTransaction) -> Result<i64, StoreError> {
        if self.0.fetch_add(1, Ordering::Relaxed) < 6 {
            let detail = "lost its turn".to_owned();
            return Err(StoreError::Contention { detail });
        }
        take_numbers(transaction, "west", 1).await
    }
}

/// Waits until somebody stands before the numbers to be alone with them.
async fn somebody_wants_to_be_alone(database: &Database) {
    loop {
        let waiting = Statement::from_string(
            DatabaseBackend::Postgres,
            "SELECT 1 FROM pg_locks WHERE relation = 'branch_sequence'::regclass \
             AND mode = 'ShareRowExclusiveLock' AND NOT granted",
        );
        let found = database.read().query_one_raw(waiting).await;
        if found.expect("the locks").is_some() {
            return;
        }
        tokio::time::sleep(Duration::from_millis(5)).await;
    }
}

/// Guards all branches against one whose write has its number and does not end, and another's that wants to be alone with
/// the numbers meanwhile: nobody stands behind the two of them until the first ends.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn who_waits_to_be_alone_lets_others_by() {
    /// Far more than it takes; without an end it would be met.
    const LONGEST: Duration = Duration::from_mins(1);
    let bench = Bench::postgres().await;
    let (has_number, end) = (Notify::new(), Notify::new());
    let bring_in = BringIn {
        has_number: &has_number,
        end: &end,
    };
    let loses_turns = LosesTurns(AtomicU32::new(0));
    let first = bench.database.write("north", &bring_in);
    let second = async {
        has_number.notified().await;
        bench.database.write("west", &loses_turns).await
    };
    let others = async {
        somebody_wants_to_be_alone(&bench.database).await;
        let written = bench.database.write("south", &TakeOne("south")).await;
        end.notify_one();
        written
    };
    let all = tokio::time::timeout(LONGEST, async { tokio::join!(first, second, others) });
    let (first, second, others) = all.await.expect("nobody waits for ever");
    assert_eq!(others.expect("written while the first stands"), 1);
    assert_eq!(first.expect("written"), 1);
    assert_eq!(second.expect("written once it could be alone"), 1);
}

/// Tells how long a statement may wait for a lock, once it has lost its turns.
struct WaitsForLocks(AtomicU32);

impl Write for WaitsForLocks {
    type Output = String;
    type Error = StoreError;

    async fn run(&self, transaction: &DatabaseTransaction) -> Result<String, StoreError> {
        if self.0.fetch_add(1, Ordering::Relaxed) < 6 {
            let detail = "lost its turn".to_owned();
            return Err(StoreError::Contention { detail });
        }
        let shown = Statement::from_string(DatabaseBackend::Postgres, "SHOW lock_timeout");
        let row = transaction.query_one_raw(shown).await?.expect("a row");
        Ok(row.try_get_by_index(0)?)
    }
}

/// What is bounded is the wait to be alone, and nothing that the work waits for itself: that stays as the address has it.
#[tokio::test]
async fn only_the_wait_to_be_alone_is_short() {
    let bench = Bench::postgres().await;
    let options = DatabaseOptions {
        url: format!("{}&options=-c%20lock_timeout%3D7min", bench.options.url),
        ..bench.options.clone()
    };
    let patient = Database::open(&options).await.expect("a server");
    for (database, shown) in [(&bench.database, "0"), (&patient, "7min")] {
        let waits = WaitsForLocks(AtomicU32::new(0));
        let told = database.write("north", &waits).await;
        assert_eq!(told.expect("told"), shown);
    }
}

/// Guards whoever has a connection next: what is dropped halfway, wherever that is, leaves no transaction open.
#[tokio::test]
async fn a_write_or_read_that_is_dropped_leaves_its_connection_clean() {
    const POLLS_MAX: usize = 60;
    const DROPPED: usize = 20;
    /// On a busy machine work is done after fewer polls, and less of it is dropped in each round.
    const ROUNDS_MAX: usize = 20;
    on_both(async |bench: &Bench| {
        let row = branch_row().into_active_model();
        bench.put(row).await.expect("branch");
        let options = DatabaseOptions {
            connections_max: 1,
            ..bench.options.clone()
        };
        let database = Database::open(&options).await.expect("a server");
        let mut dropped = 0;
        for polls in (0..POLLS_MAX).cycle().take(POLLS_MAX * ROUNDS_MAX) {
            if polls == 0 && dropped > DROPPED {
                break;
            }
            for reads in [false, true] {
                let broken_off = if reads {
                    breaks_off(database.begin_read(), polls).await
                } else {
                    breaks_off(database.write("north", &Increase), polls).await
                };
                dropped += usize::from(broken_off);
                // In a transaction left open this would be its first query, and make it too late for another's isolation.
                let read = branch::Entity::find().all(database.read()).await;
                read.expect("read");
                let written = database.write("north", &Increase).await;
                written.expect("the connection is as good as new");
            }
        }
        assert!(dropped > DROPPED, "{dropped} were dropped halfway");
    })
    .await;
}

/// Drops work that is not done after so many polls. Returns whether it was dropped.
async fn breaks_off<T>(work: impl Future<Output = T>, polls: usize) -> bool {
    let mut work = std::pin::pin!(work);
    for _ in 0..polls {
        if futures::poll!(&mut work).is_ready() {
            return false;
        }
        tokio::task::yield_now().await;
    }
    true
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

/// Loses its turn some times, and notes at each whether it keeps others out and how it is kept apart from them.
struct Unlucky {
    is_without_rivals: bool,
    turns: Mutex<Vec<(bool, String)>>,
}

impl Write for Unlucky {
    type Output = ();
    type Error = StoreError;

    fn is_without_rivals(&self) -> bool {
        self.is_without_rivals
    }

    async fn run(&self, transaction: &DatabaseTransaction) -> Result<(), StoreError> {
        let how = Statement::from_string(
            DatabaseBackend::Postgres,
            "SELECT EXISTS (SELECT 1 FROM pg_locks WHERE relation = 'branch_sequence'::regclass \
             AND mode = 'ShareRowExclusiveLock' AND pid = pg_backend_pid()), \
             current_setting('transaction_isolation')",
        );
        let row = transaction.query_one_raw(how).await?.expect("a row");
        let turn = (row.try_get_by_index(0)?, row.try_get_by_index(1)?);
        let mut turns = self.turns.lock().expect("the list");
        turns.push(turn);
        if turns.len() < 9 {
            let detail = "lost its turn".to_owned();
            return Err(StoreError::Contention { detail });
        }
        Ok(())
    }
}

/// Guards the writes of all branches against one that takes minutes and that nobody gets in the way of, and that one
/// against being undone for theirs.
#[tokio::test]
async fn what_has_no_rivals_never_keeps_others_out() {
    let bench = Bench::postgres().await;
    for (is_without_rivals, isolation) in [(false, "serializable"), (true, "repeatable read")] {
        let unlucky = Unlucky {
            is_without_rivals,
            turns: Mutex::default(),
        };
        let written = bench.database.write("north", &unlucky).await;
        written.expect("written in the end");
        let turns = unlucky.turns.into_inner().expect("the list");
        assert_eq!(turns.len(), 9);
        assert!(turns.iter().all(|(_, one)| one == isolation), "{turns:?}");
        let kept_others_out = turns.iter().any(|(alone, _)| *alone);
        assert_eq!(kept_others_out, !is_without_rivals, "{turns:?}");
    }
}

/// Guards the disk: what a long read made the log grow to is given back once it is over.
#[tokio::test]
async fn the_log_gives_room_back_after_a_long_read() {
    const BYTES_KEPT: u64 = 64 << 20;
    let bench = Bench::sqlite().await;
    bench
        .put(branch_row().into_active_model())
        .await
        .expect("branch");
    let path = bench.options.url.trim_start_matches("sqlite://");
    let log = || {
        let file = std::fs::metadata(format!("{path}-wal"));
        file.expect("the log").len()
    };
    let reading = bench.database.begin_read().await.expect("a transaction");
    branch::Entity::find().all(&reading).await.expect("read");
    for _ in 0..9 {
        // Another text each time: what is as it was is not written again.
        let write = "UPDATE branch SET display_name = printf('%.*c', 8388608, \
                     CASE WHEN display_name LIKE 'x%' THEN 'y' ELSE 'x' END)";
        bench.execute(write).await.expect("written");
    }
    assert!(log() > BYTES_KEPT, "{}", log());
    reading.commit().await.expect("over");
    bench.database.empty_log().await.expect("emptied");
    let write = "UPDATE branch SET display_name = 'North yard'";
    bench.execute(write).await.expect("written");
    assert!(log() <= BYTES_KEPT, "{}", log());
}
