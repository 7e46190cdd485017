//! A server in this process with a database, a clock that tests set, and clients.

use std::sync::{Arc, Mutex};
use std::time::Duration;

use chrono::{DateTime, Utc};
use forenoon_proto::v1::branch_service_client::BranchServiceClient;
use forenoon_server::config::Limits;
use forenoon_server::edge::State;
use forenoon_server::serve::{Entrance, ServeError, serve};
use forenoon_server::work::bench::BenchRules;
use forenoon_server::work::day::WatchLimits;
use forenoon_server::work::plan::Searches;
use forenoon_store::entity::{audit_entry, branch, command_answer, outbox_event};
use forenoon_store::sea_orm::{
    ConnectionTrait, DatabaseTransaction, EntityTrait, PaginatorTrait, QueryOrder,
};
use forenoon_store::{Database, DatabaseOptions, StoreError, Write};
use prost_types::Timestamp;
use tempfile::TempDir;
use tokio::net::TcpListener;
use tokio::task::JoinHandle;
use tokio_util::sync::CancellationToken;
use tonic::transport::Channel;
use tonic::{Code, Status};
use tonic_types::StatusExt;

use crate::cluster::Cluster;

/// A running server.
pub(crate) struct House {
    pub(crate) database: Database,
    pub(crate) address: String,
    pub(crate) going_down: CancellationToken,
    pub(crate) served: JoinHandle<Result<(), ServeError>>,
    channel: Channel,
    url: String,
    now: Arc<Mutex<DateTime<Utc>>>,
    _cluster: Option<Cluster>,
    _folder: TempDir,
}

/// Runs a check against a server on SQLite and one on PostgreSQL.
pub(crate) async fn on_both<F: AsyncFn(&House)>(check: F) {
    check(&House::on_sqlite().await).await;
    let cluster = Cluster::start().expect("PostgreSQL is installed");
    let url = cluster.url();
    check(
        &House::open(
            url,
            Some(cluster),
            Limits::default(),
            WatchLimits::default(),
        )
        .await,
    )
    .await;
}

impl House {
    pub(crate) async fn on_sqlite() -> Self {
        Self::with_limits(Limits::default()).await
    }

    pub(crate) async fn with_limits(limits: Limits) -> Self {
        Self::open(String::new(), None, limits, WatchLimits::default()).await
    }

    /// A server on a PostgreSQL cluster.
    pub(crate) async fn on(cluster: Cluster) -> Self {
        let url = cluster.url();
        Self::open(
            url,
            Some(cluster),
            Limits::default(),
            WatchLimits::default(),
        )
        .await
    }

    /// Takes a guard of the database down, behind the server's back.
    pub(crate) async fn drop_trigger(&self, guard: &'static str, table: &str) {
        let on = if self.url.starts_with("sqlite") {
            String::new()
        } else {
            format!(" ON {table}")
        };
        self.database
            .write("", &Execute(format!("DROP TRIGGER {guard}{on}")))
            .await
            .expect("the trigger is dropped");
    }

    /// A server on SQLite with rules of its own for the bench.
    pub(crate) async fn with_rules(rules: BenchRules) -> Self {
        Self::ruled(
            String::new(),
            None,
            Limits::default(),
            WatchLimits::default(),
            rules,
        )
        .await
    }

    /// A server with its own bounds for those who watch.
    pub(crate) async fn with_watching(watching: WatchLimits) -> Self {
        Self::open(String::new(), None, Limits::default(), watching).await
    }

    /// Another server on the same database.
    pub(crate) async fn beside(&self) -> Self {
        Self::open(
            self.url.clone(),
            None,
            Limits::default(),
            WatchLimits::default(),
        )
        .await
    }

    async fn open(
        url: String,
        cluster: Option<Cluster>,
        limits: Limits,
        watching: WatchLimits,
    ) -> Self {
        // What the server logs of a fault stands beside the test that met it. A second house keeps the first one's log.
        let _ = tracing_subscriber::fmt()
            .with_max_level(tracing::Level::ERROR)
            .with_test_writer()
            .try_init();
        Self::ruled(url, cluster, limits, watching, BenchRules::default()).await
    }

    async fn ruled(
        mut url: String,
        cluster: Option<Cluster>,
        limits: Limits,
        watching: WatchLimits,
        bench: BenchRules,
    ) -> Self {
        let folder = TempDir::new().expect("a folder");
        if url.is_empty() {
            url = format!("sqlite://{}", folder.path().join("a.db").display());
        }
        let database = Database::open(&DatabaseOptions {
            url: url.clone(),
            connections_max: 4,
            wait_max: Duration::from_secs(10),
        })
        .await
        .expect("the database opens");
        let listener = TcpListener::bind("127.0.0.1:0").await.expect("a port");
        let address = listener.local_addr().expect("an address").to_string();
        let going_down = CancellationToken::new();
        let now = Arc::new(Mutex::new(
            "2027-04-20T11:45:00Z".parse().expect("an instant"),
        ));
        let clock = Arc::clone(&now);
        let state = State::new(
            database.clone(),
            Arc::new(move || *clock.lock().expect("the clock")),
            Searches::new(limits.search),
            bench,
            watching,
            going_down.clone(),
        );
        let served = tokio::spawn(serve(state, limits, Entrance::default(), listener));
        let channel = Channel::from_shared(format!("http://{address}"))
            .expect("an address")
            .connect()
            .await
            .expect("a connection");
        Self {
            database,
            address,
            going_down,
            served,
            channel,
            url,
            now,
            _cluster: cluster,
            _folder: folder,
        }
    }

    pub(crate) fn branches(&self) -> BranchServiceClient<Channel> {
        BranchServiceClient::new(self.channel.clone())
    }

    pub(crate) fn channel(&self) -> Channel {
        self.channel.clone()
    }

    /// Sets the server's clock.
    pub(crate) fn set_clock(&self, now: &str) {
        *self.now.lock().expect("the clock") = now.parse().expect("an instant");
    }

    /// Sets it to so many seconds after an instant that was told, and answers with what it shows then.
    pub(crate) fn set_clock_after(&self, told: Timestamp, seconds: i64) -> DateTime<Utc> {
        let at = DateTime::from_timestamp(told.seconds + seconds, 0).expect("an instant");
        *self.now.lock().expect("the clock") = at;
        at
    }

    /// Counts of branches, kept answers, audit entries and events: what a refused call must leave.
    pub(crate) async fn counts(&self) -> [u64; 4] {
        let read = self.database.read();
        [
            branch::Entity::find().count(read).await.expect("count"),
            command_answer::Entity::find()
                .count(read)
                .await
                .expect("count"),
            audit_entry::Entity::find()
                .count(read)
                .await
                .expect("count"),
            outbox_event::Entity::find()
                .count(read)
                .await
                .expect("count"),
        ]
    }

    pub(crate) async fn audit(&self) -> Vec<audit_entry::Model> {
        audit_entry::Entity::find()
            .order_by_asc(audit_entry::Column::BranchId)
            .order_by_asc(audit_entry::Column::Seq)
            .all(self.database.read())
            .await
            .expect("read")
    }

    pub(crate) async fn events(&self) -> Vec<outbox_event::Model> {
        outbox_event::Entity::find()
            .order_by_asc(outbox_event::Column::BranchId)
            .order_by_asc(outbox_event::Column::Seq)
            .all(self.database.read())
            .await
            .expect("read")
    }
}

/// The code and the reason of a refusal, as programs read them.
pub(crate) fn reason(status: &Status) -> (Code, String) {
    let info = status.get_details_error_info().expect("an ErrorInfo");
    assert_eq!(info.domain, "forenoon");
    (status.code(), info.reason)
}

/// The fields at fault with their reasons, sorted.
pub(crate) fn faults(status: &Status) -> Vec<(String, String)> {
    assert_eq!(status.code(), Code::InvalidArgument, "{status:?}");
    let mut faults: Vec<_> = status
        .get_details_bad_request()
        .expect("a BadRequest")
        .field_violations
        .into_iter()
        .map(|violation| {
            assert!(!violation.description.is_empty());
            (violation.field, violation.reason)
        })
        .collect();
    faults.sort();
    faults
}

/// Runs one statement as it is.
struct Execute(String);

impl Write for Execute {
    type Output = ();
    type Error = StoreError;

    async fn run(&self, transaction: &DatabaseTransaction) -> Result<(), StoreError> {
        transaction.execute_unprepared(&self.0).await?;
        Ok(())
    }
}
