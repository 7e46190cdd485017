//! A fresh database for one test, of either kind.

use std::path::{Path, PathBuf};

use sea_orm::{ConnectionTrait, DatabaseConnection};
use tempfile::TempDir;

use crate::cluster::Cluster;

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

    /// An empty database of the process's PostgreSQL cluster.
    pub fn postgres() -> Self {
        let cluster = Cluster::shared();
        let name = cluster.create_database();
        Self {
            url: cluster.url(&name),
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

    async fn connect(&self) -> DatabaseConnection {
        sea_orm::Database::connect(&self.url)
            .await
            .expect("the database answers")
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
