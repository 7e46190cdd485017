//! A fresh database for one test, of either kind.

use std::path::{Path, PathBuf};

use sea_orm::{
    ConnectionTrait, DatabaseConnection, DatabaseTransaction, JsonValue, QueryResult,
    SqliteTransactionMode, Statement, TransactionOptions, TransactionTrait,
};
use tempfile::TempDir;

use crate::cluster::{Cluster, Front};
use crate::server::Server;

/// A fresh database. An SQLite file goes with it; a PostgreSQL one goes with its cluster.
#[derive(Debug)]
pub struct Database {
    url: String,
    folder: TempDir,
}

impl Database {
    /// An SQLite file that is not there yet.
    pub fn sqlite() -> Self {
        let folder = TempDir::with_prefix("forenoon-").expect("a temporary folder");
        let url = sqlite_url(&folder.path().join("branch.db"));
        Self { url, folder }
    }

    /// The same in a folder of its own, at which something can be mounted.
    pub fn sqlite_in(name: &str) -> Self {
        let folder = TempDir::with_prefix("forenoon-").expect("a temporary folder");
        let own = folder.path().join(name);
        std::fs::create_dir(&own).expect("a folder");
        let url = sqlite_url(&own.join("branch.db"));
        Self { url, folder }
    }

    /// A copy of the SQLite file, with its log, as a server has it that sees folders which others don't: what would be
    /// there if it died now.
    #[must_use]
    pub fn copied_from(&self, server: &Server) -> Self {
        let file = server.path(&self.file().expect("a file"));
        let copy = Self::sqlite();
        server.freeze();
        for end in ["", "-wal"] {
            let name = format!("{}{end}", file.display());
            let to = copy.folder().join(format!("branch.db{end}"));
            std::fs::copy(name, to).expect("copied");
        }
        server.thaw();
        copy
    }

    /// An empty database of the process's PostgreSQL cluster.
    pub fn postgres() -> Self {
        Self::postgres_of(Cluster::shared())
    }

    /// An empty database of a cluster.
    pub fn postgres_of(cluster: &Cluster) -> Self {
        let name = cluster.create_database();
        Self {
            url: cluster.url(&name),
            folder: TempDir::with_prefix("forenoon-").expect("a temporary folder"),
        }
    }

    /// An empty database of the cluster that leads, by way of its front.
    pub fn postgres_behind(front: &Front, cluster: &Cluster) -> Self {
        let name = cluster.create_database();
        Self {
            url: front.url(&name),
            folder: TempDir::with_prefix("forenoon-").expect("a temporary folder"),
        }
    }

    /// As the server's configuration takes it.
    pub fn url(&self) -> &str {
        &self.url
    }

    /// A folder that lives as long, for logs and files of the server.
    pub fn folder(&self) -> &Path {
        self.folder.path()
    }

    /// The SQLite file; none for PostgreSQL.
    pub fn file(&self) -> Option<PathBuf> {
        self.url.strip_prefix("sqlite://").map(PathBuf::from)
    }

    /// Runs a statement behind the server's back.
    pub async fn execute(&self, statement: &str) {
        let connection = self.connect().await;
        connection
            .execute_unprepared(statement)
            .await
            .expect("the statement runs");
        connection.close().await.expect("the connection closes");
    }

    /// Makes an SQLite file that is not there yet, by a statement.
    pub async fn create(&self, statement: &str) {
        let file = self.file().expect("a file");
        std::fs::File::create_new(&file).expect("a new file");
        self.execute(statement).await;
    }

    /// How SQLite goes about a statement, a line for each step; none where it cannot read the statement.
    pub async fn steps(&self, statement: &str) -> Option<Vec<String>> {
        let connection = self.connect().await;
        let explain = format!("EXPLAIN QUERY PLAN {statement}");
        let statement = Statement::from_string(connection.get_database_backend(), explain);
        let rows = connection.query_all_raw(statement).await.ok();
        connection.close().await.expect("the connection closes");
        let detail = |row: &QueryResult| row.try_get("", "detail").expect("a step");
        rows.map(|rows| rows.iter().map(detail).collect())
    }

    /// How PostgreSQL goes about a statement whatever its values are; none where it cannot tell their types.
    pub async fn plan(&self, statement: &str) -> Option<JsonValue> {
        let connection = self.connect().await;
        // One connection for all, which has what was prepared.
        let held = connection.begin().await.expect("a transaction");
        let values = (1..=1_000)
            .take_while(|number| statement.contains(&format!("${number}")))
            .map(|_| "NULL")
            .collect::<Vec<_>>()
            .join(", ");
        let values = if values.is_empty() {
            values
        } else {
            format!("({values})")
        };
        let prepare =
            format!("SET LOCAL plan_cache_mode = force_generic_plan; PREPARE one AS {statement}");
        let prepared = held.execute_unprepared(&prepare).await;
        let plan = if prepared.is_ok() {
            let explain = format!("EXPLAIN (FORMAT JSON) EXECUTE one{values}");
            let statement = Statement::from_string(held.get_database_backend(), explain);
            let row = held.query_one_raw(statement).await.expect("explained");
            let plan = row.expect("a plan").try_get_by_index(0);
            Some(plan.expect("a plan as JSON"))
        } else {
            None
        };
        held.rollback().await.expect("nothing is kept");
        connection.close().await.expect("the connection closes");
        plan
    }

    /// Locks an SQLite file against all other writers, as a tool that is at work on it would.
    pub async fn lock(&self) -> Lock {
        let connection = self.connect().await;
        let options = TransactionOptions {
            sqlite_transaction_mode: Some(SqliteTransactionMode::Immediate),
            ..TransactionOptions::default()
        };
        let held = connection.begin_with_options(options).await;
        Lock(held.expect("the lock"))
    }

    /// The one whole number that a query answers with.
    pub async fn number(&self, query: &str) -> i64 {
        let connection = self.connect().await;
        let statement = Statement::from_string(connection.get_database_backend(), query);
        let row = connection
            .query_one_raw(statement)
            .await
            .expect("the query runs")
            .expect("a row");
        connection.close().await.expect("the connection closes");
        row.try_get_by_index(0).expect("a whole number")
    }

    /// The texts that a query answers with.
    pub async fn texts(&self, query: &str) -> Vec<String> {
        let connection = self.connect().await;
        let statement = Statement::from_string(connection.get_database_backend(), query);
        let rows = connection
            .query_all_raw(statement)
            .await
            .expect("the query runs");
        connection.close().await.expect("the connection closes");
        rows.iter()
            .map(|row| row.try_get_by_index(0).expect("a text"))
            .collect()
    }

    async fn connect(&self) -> DatabaseConnection {
        sea_orm::Database::connect(&self.url)
            .await
            .expect("the database answers")
    }
}

/// A lock on an SQLite file.
#[derive(Debug)]
pub struct Lock(DatabaseTransaction);

impl Lock {
    /// Lets the file go, unchanged.
    pub async fn release(self) {
        self.0.rollback().await.expect("the lock goes");
    }
}

/// The URL of an SQLite file.
pub fn sqlite_url(file: &Path) -> String {
    format!("sqlite://{}", file.display())
}

/// Runs each named async function, which takes a [`Database`], on both kinds of database.
#[macro_export]
macro_rules! on_both {
    ($($name:ident),+ $(,)?) => {
        mod sqlite {
            $(
                #[tokio::test]
                async fn $name() {
                    super::$name($crate::database::Database::sqlite()).await;
                }
            )+
        }
        mod postgres {
            $(
                #[tokio::test]
                async fn $name() {
                    super::$name($crate::database::Database::postgres()).await;
                }
            )+
        }
    };
}
