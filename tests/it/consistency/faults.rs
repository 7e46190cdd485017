//! Servers and a database that are ended, frozen and cut off at moments that a seed chose.

use std::collections::BTreeMap;
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
    /// How often each kind of fault was played.
    pub(crate) played: BTreeMap<Fault, u32>,
    running: Vec<Option<Server>>,
    cluster: Option<Arc<Cluster>>,
}

/// A kind of fault.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Fault {
    /// A server ends at once, as by kill -9.
    Kill,
    /// Every process of the database cluster ends at once.
    Crash,
    /// A server stands still for a while.
    Freeze,
    /// All connections to the database are cut.
    Cut,
}

impl House {
    pub(crate) fn new(database: Database, cluster: Option<Cluster>, servers: usize) -> Self {
        Self {
            database,
            servers: Arc::default(),
            played: BTreeMap::new(),
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

    /// Disturbs those who work. The round's first fault goes by turns, so that rounds in a row have every kind of fault that
    /// this house knows; the others are chance. Both are the same for the same seed.
    pub(crate) async fn disturb(&mut self, seed: u64) {
        let mut chance = StdRng::seed_from_u64(seed);
        let kinds = self.kinds();
        let turn = usize::try_from(seed % kinds.len() as u64).expect("small");
        for count in 0..FAULTS {
            tokio::time::sleep(Duration::from_millis(chance.random_range(20..250))).await;
            let by_chance = chance.random_range(0..kinds.len());
            let fault = kinds[if count == 0 { turn } else { by_chance }];
            let place = chance.random_range(0..self.running.len());
            match fault {
                Fault::Crash => self.crash().await,
                Fault::Cut => self.cut().await,
                Fault::Freeze => {
                    let pause = Duration::from_millis(chance.random_range(50..400));
                    self.freeze(place, pause).await;
                }
                Fault::Kill => self.kill(place).await,
            }
            *self.played.entry(fault).or_default() += 1;
        }
    }

    /// The kinds of fault that there can be here.
    pub(crate) fn kinds(&self) -> &'static [Fault] {
        match self.cluster {
            Some(_) => &[Fault::Kill, Fault::Crash, Fault::Freeze, Fault::Cut],
            None => &[Fault::Kill, Fault::Freeze],
        }
    }

    async fn crash(&self) {
        println!("the cluster crashes");
        let cluster = Arc::clone(self.cluster.as_ref().expect("a cluster of its own"));
        tokio::task::spawn_blocking(move || cluster.crash_and_restart())
            .await
            .expect("it starts again");
    }

    async fn cut(&self) {
        println!("all connections are cut");
        self.database
            .execute(
                "SELECT pg_terminate_backend(pid) FROM pg_stat_activity \
                 WHERE pid <> pg_backend_pid() AND datname = current_database()",
            )
            .await;
    }

    async fn freeze(&self, place: usize, pause: Duration) {
        println!("server {place} freezes");
        let server = self.running[place].as_ref().expect("it runs");
        server.freeze();
        tokio::time::sleep(pause).await;
        server.thaw();
    }

    async fn kill(&mut self, place: usize) {
        println!("server {place} is killed");
        self.running[place].take().expect("it runs").kill();
        self.start_missing().await;
    }
}
