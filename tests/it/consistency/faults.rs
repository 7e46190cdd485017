//! Servers and a database that are ended, frozen and cut off at moments that a seed chose.

use std::sync::Arc;
use std::time::Duration;

use forenoon_tests::actors::Api;
use forenoon_tests::cluster::Cluster;
use forenoon_tests::database::Database;
use forenoon_tests::server::Server;
use rand::rngs::StdRng;
use rand::{RngExt, SeedableRng};

use super::client::Servers;

/// Faults of one round.
const FAULTS: u32 = 2;

/// A database with its servers.
pub(crate) struct House {
    pub(crate) database: Database,
    pub(crate) servers: Arc<Servers>,
    running: Vec<Option<Server>>,
    cluster: Option<Arc<Cluster>>,
}

impl House {
    pub(crate) fn new(database: Database, cluster: Option<Cluster>, servers: usize) -> Self {
        Self {
            database,
            servers: Arc::default(),
            running: (0..servers).map(|_| None).collect(),
            cluster: cluster.map(Arc::new),
        }
    }

    /// Starts the servers that do not run.
    pub(crate) async fn start_missing(&mut self) {
        for (place, server) in self.running.iter_mut().enumerate() {
            if server.is_none() {
                let started = Server::start(&self.database).await;
                self.servers.put(place, Api::of(&started));
                *server = Some(started);
            }
        }
    }

    /// Disturbs those who work.
    pub(crate) async fn disturb(&mut self, seed: u64) {
        let mut chance = StdRng::seed_from_u64(seed);
        for _ in 0..FAULTS {
            tokio::time::sleep(Duration::from_millis(chance.random_range(20..250))).await;
            let place = chance.random_range(0..self.running.len());
            match (&self.cluster, chance.random_range(0..4)) {
                (Some(cluster), 0) => {
                    println!("the cluster crashes");
                    let cluster = Arc::clone(cluster);
                    tokio::task::spawn_blocking(move || cluster.crash_and_restart())
                        .await
                        .expect("it starts again");
                }
                (Some(_), 1) => {
                    println!("all connections are cut");
                    self.database
                        .execute(
                            "SELECT pg_terminate_backend(pid) FROM pg_stat_activity \
                             WHERE pid <> pg_backend_pid() AND datname = current_database()",
                        )
                        .await;
                }
                (_, 2) => {
                    println!("server {place} freezes");
                    if let Some(server) = &self.running[place] {
                        server.freeze();
                        let pause = Duration::from_millis(chance.random_range(50..400));
                        tokio::time::sleep(pause).await;
                        server.thaw();
                    }
                }
                _ => {
                    println!("server {place} is killed");
                    if let Some(server) = self.running[place].take() {
                        server.kill();
                    }
                    self.start_missing().await;
                }
            }
        }
    }
}
