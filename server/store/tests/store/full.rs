//! Goal: where no room is left for the database, what is refused is refused as that and leaves nothing, and once there is room
//! again the same open database goes on. Method: each write sets SQLite's own bound on its pages, and several write until it is
//! met.

use std::collections::BTreeSet;
use std::sync::Arc;

use forenoon_store::entity::{audit_entry, command_answer, outbox_event, site};
use forenoon_store::record::{append, keep_answer, take_numbers};
use forenoon_store::sea_orm::{
    ConnectionTrait, DatabaseBackend, DatabaseConnection, DatabaseTransaction, EntityTrait,
    IntoActiveModel, Statement,
};
use forenoon_store::{Database, StoreError, Write};
use serde_json::json;
use uuid::Uuid;

use crate::bench::{Bench, at, site_row};

const WRITERS: u128 = 4;
/// Refusals after which a writer waits for room.
const REFUSALS: usize = 5;
/// More writes than there is room for.
const WRITES_MAX: u128 = 400;

/// A site with all that a command writes beside it: audit entry, event and kept answer.
#[derive(Clone, Copy)]
struct Told {
    request_id: Uuid,
    /// As large as the database may get. A connection that met the bound may be another by the next write.
    pages_max: i64,
}

impl Told {
    fn site(&self) -> String {
        format!("site-{}", self.request_id)
    }
}

impl Write for Told {
    type Output = ();
    type Error = StoreError;

    async fn run(&self, transaction: &DatabaseTransaction) -> Result<(), StoreError> {
        let bound = format!("PRAGMA max_page_count = {}", self.pages_max);
        transaction.execute_unprepared(&bound).await?;
        let row = site::Model {
            id: self.site(),
            // Of some pages, so that room may end anywhere in the transaction.
            access_note: "x".repeat(9_000),
            ..site_row()
        };
        let body = json!({ "access_note": row.access_note });
        site::Entity::insert(row.into_active_model())
            .exec_without_returning(transaction)
            .await?;
        let seq = take_numbers(transaction, "north", 1).await?;
        let entry = audit_entry::Model {
            branch_id: "north".into(),
            seq,
            at: at(0),
            actor: "writer".into(),
            method: "forenoon.v1.SiteService/CreateSite".into(),
            request_id: Some(self.request_id),
            subject: self.site(),
            kind: "site.created".into(),
            before: None,
            after: Some(body.clone()),
        };
        let event = outbox_event::Model {
            branch_id: "north".into(),
            seq,
            kind: "site.created".into(),
            subject: self.site(),
            body,
            at: at(0),
        };
        append(transaction, &[entry], &[event]).await?;
        let answer = command_answer::Model {
            request_id: self.request_id,
            branch_id: "north".into(),
            method: "forenoon.v1.SiteService/CreateSite".into(),
            fingerprint: vec![1],
            answer: vec![b'x'; 3_000],
            at: at(0),
        };
        keep_answer(transaction, answer).await
    }
}

async fn number(read: &DatabaseConnection, sql: &str) -> i64 {
    let statement = Statement::from_string(DatabaseBackend::Sqlite, sql);
    let row = read.query_one_raw(statement).await.expect("read");
    let row = row.expect("a row");
    row.try_get_by_index(0).expect("a number")
}

/// Exactly these writes are there, each whole.
async fn whole(database: &Database, written: &[Told]) {
    let read = database.read();
    let sites = site::Entity::find().all(read).await.expect("sites");
    let mut ids: BTreeSet<String> = sites.into_iter().map(|site| site.id).collect();
    ids.remove("lawn");
    let expected = written.iter().map(Told::site);
    assert_eq!(ids, expected.collect());
    let count = i64::try_from(written.len()).expect("few");
    for counted in [
        "SELECT count(*) FROM audit_entry",
        "SELECT count(*) FROM outbox_event",
        "SELECT count(*) FROM command_answer",
        "SELECT coalesce(max(last_seq), 0) FROM branch_sequence",
        "SELECT coalesce(max(seq), 0) FROM audit_entry",
    ] {
        assert_eq!(number(read, counted).await, count, "{counted}");
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_full_database_refuses_whole_writes_and_goes_on_with_room() {
    let bench = Bench::sqlite().await;
    bench.furnish().await;
    let database = &bench.database;
    let pages_max = number(database.read(), "PRAGMA page_count").await + 150;

    let database = Arc::new(database.clone());
    let mut writers = Vec::new();
    for writer in 0..WRITERS {
        let database = Arc::clone(&database);
        writers.push(tokio::spawn(async move {
            let (mut written, mut refused) = (Vec::new(), Vec::new());
            for count in 0..WRITES_MAX {
                let told = Told {
                    request_id: Uuid::from_u128(writer * WRITES_MAX + count),
                    pages_max,
                };
                match database.write("north", &told).await {
                    Ok(()) => written.push(told),
                    Err(StoreError::Full { .. }) => refused.push(told),
                    Err(error) => panic!("not for want of room: {error:?}"),
                }
                if refused.len() == REFUSALS {
                    break;
                }
            }
            (written, refused)
        }));
    }
    let (mut written, mut refused) = (Vec::new(), Vec::new());
    for writer in writers {
        let (some_written, some_refused) = writer.await.expect("the writer ends");
        assert_eq!(some_refused.len(), REFUSALS, "the bound was met");
        written.extend(some_written);
        refused.extend(some_refused);
    }
    assert!(written.len() > 5, "{} written", written.len());
    whole(&database, &written).await;

    for told in refused {
        let roomy = Told {
            pages_max: 1_000_000,
            ..told
        };
        let again = database.write("north", &roomy).await;
        again.expect("written now");
        written.push(told);
    }
    whole(&database, &written).await;

    // So it is for whoever opens the file next.
    let second = Database::open(&bench.options).await.expect("opens");
    whole(&second, &written).await;
    let faults = number(
        second.read(),
        "SELECT count(*) FROM pragma_integrity_check WHERE integrity_check <> 'ok'",
    )
    .await;
    assert_eq!(faults, 0);
}
