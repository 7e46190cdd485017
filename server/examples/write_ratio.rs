//! What a command costs beside the same statements in a bare database transaction.
//!
//! `cargo run --release -p forenoon-server --example write_ratio`; with the URL of an empty PostgreSQL database as
//! argument it measures there instead of on an SQLite file. Both write the same rows, by turns: the change of a record,
//! the branch's next number, an audit entry, an event and the answer kept for a retry. The bare transaction has a connection
//! of its own, begins, and commits, with nothing of the server between it and the library.

#![expect(
    clippy::expect_used,
    clippy::print_stdout,
    reason = "a measurement stops with what went wrong, and prints what it found"
)]

use std::time::{Duration, Instant};

use chrono::{DateTime, Utc};
use forenoon_server::work::branch::{get, name};
use forenoon_server::work::{
    Accepted, Call, Clock, Command, Error, Kinds, Retry, SystemClock, put, run_command,
};
use forenoon_store::entity::branch;
use forenoon_store::sea_orm::sqlx::sqlite::{SqliteJournalMode, SqliteSynchronous};
use forenoon_store::sea_orm::{
    ActiveModelTrait, ConnectOptions, ConnectionTrait, DatabaseBackend, DatabaseConnection,
    DatabaseTransaction, DbErr, IntoActiveModel, IsolationLevel, SqliteTransactionMode, Statement,
    TransactionOptions, TransactionTrait, Value,
};
use forenoon_store::value::{PriceRule, TravelRule, UnitSystem};
use forenoon_store::{Database, DatabaseOptions, StoreError, Write};
use serde_json::json;
use tempfile::TempDir;
use uuid::Uuid;

const BRANCH: &str = "north";
const METHOD: &str = "forenoon.v1.Measured/Rename";
const ROUNDS: usize = 3_000;
const WARM_UP: usize = 100;

#[tokio::main]
async fn main() {
    let folder = TempDir::new().expect("a folder");
    let url = std::env::args()
        .nth(1)
        .unwrap_or_else(|| format!("sqlite://{}", folder.path().join("a.db").display()));
    let bare = bare_connection(&url).await;
    let options = DatabaseOptions {
        url,
        connections_max: 4,
        wait_max: Duration::from_secs(10),
    };
    let database = Database::open(&options).await.expect("the database opens");
    database.write(BRANCH, &Begin).await.expect("a branch");

    let (mut commands, mut bares) = (Vec::new(), Vec::new());
    for round in 0..ROUNDS + WARM_UP {
        let began = Instant::now();
        command(&database, round).await;
        let by_command = began.elapsed();
        let began = Instant::now();
        write_bare(&bare, round).await.expect("written");
        let by_itself = began.elapsed();
        if round >= WARM_UP {
            commands.push(by_command);
            bares.push(by_itself);
        }
    }
    let (command, bare) = (median(&mut commands), median(&mut bares));
    println!(
        "command: median {:.3} ms; bare transaction: median {:.3} ms; ratio {:.2}, of {ROUNDS} each",
        millis(command),
        millis(bare),
        command.as_secs_f64() / bare.as_secs_f64()
    );
}

fn median(times: &mut [Duration]) -> Duration {
    times.sort_unstable();
    times.get(times.len() / 2).copied().expect("some")
}

fn millis(time: Duration) -> f64 {
    time.as_secs_f64() * 1_000.0
}

async fn command(database: &Database, round: usize) {
    let call = Call {
        actor: "measured".to_owned(),
        branch: BRANCH.to_owned(),
        method: METHOD,
        retry: Some(Retry {
            request_id: Uuid::new_v4(),
            fingerprint: vec![7; 32],
        }),
    };
    let rename = Rename(format!("North yard {round}"));
    let encode = |row: &branch::Model| row.display_name.clone().into_bytes();
    run_command(database, &SystemClock, &call, &rename, &encode)
        .await
        .expect("renamed");
}

/// The command: a record is read, changed and told.
struct Rename(String);

impl Command for Rename {
    type Answer = branch::Model;

    async fn run(
        &self,
        transaction: &DatabaseTransaction,
        now: DateTime<Utc>,
    ) -> Result<Accepted<branch::Model>, Error> {
        const KINDS: Kinds = Kinds {
            created: "branch.created",
            changed: "branch.changed",
            deleted: "branch.deleted",
        };
        let before = get(transaction, BRANCH).await?;
        let after = branch::Model {
            display_name: self.0.clone(),
            ..before.clone()
        };
        let put = put::<branch::Entity>(transaction, Some(before), after, now).await?;
        let changes = put.change(name(BRANCH), KINDS)?.into_iter().collect();
        Ok(Accepted {
            answer: put.into_row(),
            changes,
        })
    }
}

/// A connection that writes as durably as the server's.
async fn bare_connection(url: &str) -> DatabaseConnection {
    let mut options = ConnectOptions::new(url);
    options
        .max_connections(1)
        .test_before_acquire(false)
        .sqlx_logging(false)
        .map_sqlx_sqlite_opts(|sqlite| {
            sqlite
                .create_if_missing(true)
                .journal_mode(SqliteJournalMode::Wal)
                .synchronous(SqliteSynchronous::Full)
        });
    forenoon_store::sea_orm::Database::connect(options)
        .await
        .expect("a connection")
}

/// The same statements in a transaction as isolated.
#[expect(
    clippy::too_many_lines,
    reason = "statements written out one after the other"
)]
async fn write_bare(connection: &DatabaseConnection, round: usize) -> Result<(), DbErr> {
    let backend = connection.get_database_backend();
    let serializable = backend == DatabaseBackend::Postgres;
    let options = TransactionOptions {
        isolation_level: serializable.then_some(IsolationLevel::Serializable),
        sqlite_transaction_mode: Some(SqliteTransactionMode::Immediate),
        ..TransactionOptions::default()
    };
    let transaction = connection.begin_with_options(options).await?;
    let statement =
        |sql: &str, values: Vec<Value>| Statement::from_sql_and_values(backend, sql, values);
    let now = SystemClock.now();
    let request_id = Uuid::new_v4();
    transaction
        .query_one_raw(statement(
            "SELECT request_id, branch_id, method, fingerprint, answer, at FROM command_answer \
             WHERE request_id = $1",
            vec![request_id.into()],
        ))
        .await?;
    let row = transaction
        .query_one_raw(statement(
            "SELECT id, display_name, time_zone, currency_code, unit_system, yard_latitude, yard_longitude, \
             travel, price, revision, create_time, update_time FROM branch WHERE id = $1",
            vec![BRANCH.into()],
        ))
        .await?
        .ok_or_else(|| DbErr::RecordNotFound(BRANCH.to_owned()))?;
    let revision: i64 = row.try_get("", "revision")?;
    transaction
        .execute_raw(statement(
            "UPDATE branch SET display_name = $1, revision = $2, update_time = $3 WHERE id = $4",
            vec![
                format!("North yard {round}").into(),
                (revision + 1).into(),
                now.into(),
                BRANCH.into(),
            ],
        ))
        .await?;
    let row = transaction
        .query_one_raw(statement(
            "INSERT INTO branch_sequence (branch_id, last_seq) VALUES ($1, 1) ON CONFLICT (branch_id) \
             DO UPDATE SET last_seq = branch_sequence.last_seq + 1 RETURNING last_seq",
            vec![BRANCH.into()],
        ))
        .await?
        .ok_or(DbErr::RecordNotInserted)?;
    let number: i64 = row.try_get("", "last_seq")?;
    // As large as what the command tells.
    let body = json!({
        "id": BRANCH, "display_name": "North yard", "time_zone": "America/Chicago", "currency_code": "USD",
        "unit_system": "us_customary", "yard_latitude": 41.5, "yard_longitude": -93.6,
        "travel": {"road_factor": 1.3, "kilometres_per_hour": 40.0, "seconds_per_stop": 120},
        "price": {}, "revision": revision, "create_time": now, "update_time": now,
    });
    transaction
        .execute_raw(statement(
            "INSERT INTO audit_entry (branch_id, seq, at, actor, method, request_id, subject, kind, before, \
             after) VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10)",
            vec![
                BRANCH.into(),
                number.into(),
                now.into(),
                "measured".into(),
                METHOD.into(),
                request_id.into(),
                name(BRANCH).into(),
                "branch.changed".into(),
                body.clone().into(),
                body.clone().into(),
            ],
        ))
        .await?;
    transaction
        .execute_raw(statement(
            "INSERT INTO outbox_event (branch_id, seq, kind, subject, body, at) VALUES ($1, $2, $3, $4, $5, $6)",
            vec![
                BRANCH.into(),
                number.into(),
                "branch.changed".into(),
                name(BRANCH).into(),
                body.into(),
                now.into(),
            ],
        ))
        .await?;
    transaction
        .execute_raw(statement(
            "INSERT INTO command_answer (request_id, branch_id, method, fingerprint, answer, at) \
             VALUES ($1, $2, $3, $4, $5, $6)",
            vec![
                request_id.into(),
                BRANCH.into(),
                METHOD.into(),
                vec![7_u8; 32].into(),
                b"North yard".to_vec().into(),
                now.into(),
            ],
        ))
        .await?;
    transaction.commit().await
}

/// Puts the branch in.
struct Begin;

impl Write for Begin {
    type Output = ();
    type Error = StoreError;

    async fn run(&self, transaction: &DatabaseTransaction) -> Result<(), StoreError> {
        let now = SystemClock.now();
        branch::Model {
            id: BRANCH.to_owned(),
            display_name: "North yard".to_owned(),
            time_zone: "America/Chicago".to_owned(),
            currency_code: "USD".to_owned(),
            unit_system: UnitSystem::UsCustomary,
            yard_latitude: 41.5,
            yard_longitude: -93.6,
            travel: TravelRule {
                road_factor: 1.3,
                kilometres_per_hour: 40.0,
                seconds_per_stop: 120,
            },
            exposure: forenoon_store::value::ExposureRule::default(),
            price: PriceRule::default(),
            revision: 1,
            create_time: now,
            update_time: now,
        }
        .into_active_model()
        .insert(transaction)
        .await?;
        Ok(())
    }
}
