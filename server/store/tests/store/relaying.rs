//! Goal: what another server wrote is told to who waits here, although no message came.
//! Method: a second handle that relays nothing writes, as a server does that dies between its commit and its message.

use std::time::Duration;

use forenoon_store::record::take_numbers;
use forenoon_store::sea_orm::{DatabaseTransaction, IntoActiveModel};
use forenoon_store::{Database, Notice, StoreError, Write};
use tokio::time::timeout;

use crate::bench::{Bench, branch_row};

/// Beyond the time between two looks.
const SOON: Duration = Duration::from_secs(5);

struct Number;

impl Write for Number {
    type Output = i64;
    type Error = StoreError;

    async fn run(&self, transaction: &DatabaseTransaction) -> Result<i64, StoreError> {
        take_numbers(transaction, "north", 1).await
    }
}

/// Whether a word came before it was quiet for longer than the time between two looks.
async fn hears(waiting: &mut Notice) -> bool {
    let mut heard = false;
    while timeout(SOON, waiting.told()).await.is_ok() {
        heard = true;
    }
    heard
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn what_no_message_told_of_is_found_by_looking() {
    // An SQLite file belongs to one server.
    let bench = Bench::postgres().await;
    bench
        .put(branch_row().into_active_model())
        .await
        .expect("branch");
    let silent = Database::open(&bench.options)
        .await
        .expect("a second server");
    let here = bench.database.clone();
    let relaying = tokio::spawn(async move { here.relay().await });
    let notices = bench.database.notices();
    let mut waiting = notices.of("north");
    while !notices.relayed() {
        tokio::time::sleep(Duration::from_millis(10)).await;
    }
    // That it listens, and the number that the branch has now; then nothing, as nothing is new.
    assert!(hears(&mut waiting).await);
    silent.write("north", &Number).await.expect("a number");
    assert!(hears(&mut waiting).await, "found by looking");
    relaying.abort();
}
