//! A database in which each play has a branch of its own, and what is stored of one.

use std::collections::BTreeMap;
use std::panic::AssertUnwindSafe;
use std::path::Path;
use std::time::Duration;

use forenoon_server::work::plan::{LeaseLimits, Leases};
use forenoon_store::entity::{
    audit_entry, branch, command_answer, crew, outbox_event, plan, tag_out, unit, worker,
};
use forenoon_store::sea_orm::{
    ColumnTrait, ConnectionTrait, DatabaseBackend, DatabaseTransaction, EntityTrait,
    PaginatorTrait, QueryFilter, QueryOrder, Statement,
};
use forenoon_store::{Database, DatabaseOptions, StoreError, Write, insert_all};
use futures::FutureExt;
use tempfile::TempDir;
use uuid::Uuid;

use super::model::{Model, Tag};
use super::play::{Line, Play};
use crate::mowing_yard;

pub(super) const CREW: &str = "ash";
const TRUCK: &str = "truck-ash";
pub(super) const MECHANIC: &str = "moss";

pub(super) struct Stage {
    pub(super) database: Database,
    pub(super) leases: Leases,
    yard: Yard,
    _folder: TempDir,
}

impl Stage {
    pub(super) async fn open() -> Self {
        // In memory where there is such a place: thousands of commits need not reach a disk.
        let memory = Path::new("/dev/shm");
        let folder = TempDir::new_in(memory)
            .or_else(|_| TempDir::new())
            .expect("a folder");
        let database = Database::open(&DatabaseOptions {
            url: format!("sqlite://{}", folder.path().join("a.db").display()),
            connections_max: 2,
            wait_max: Duration::from_secs(30),
        })
        .await
        .expect("the database opens");
        mowing_yard::furnish(&database, &[]).await;
        Self {
            leases: Leases::new(database.clone(), LeaseLimits::default()),
            yard: Yard::read(&database).await,
            database,
            _folder: folder,
        }
    }

    /// Plays one play from its start, and looks at what it left. Whatever fails in it, its seed is told.
    #[expect(clippy::panic, reason = "to fail with the seed")]
    pub(super) async fn play(&self, seed: u64) -> Vec<Line> {
        let playing = async {
            let branch = format!("play-{seed}");
            let yard = self.yard.of(&branch);
            let written = self.database.write(&branch, &yard).await;
            written.expect("the yard is written");
            Play::new(self, branch, seed).run().await
        };
        let Ok(lines) = AssertUnwindSafe(playing).catch_unwind().await else {
            panic!(
                "a play failed; FORENOON_SIMULATION_SEED={seed} FORENOON_SIMULATION_RUNS=1 plays it alone"
            );
        };
        lines
    }

    /// What is stored of a branch, and of one request to it.
    pub(super) async fn snapshot(&self, branch: &str, request_id: Uuid) -> Snapshot {
        let read = self.database.read();
        let values = [branch.into(), request_id.into()];
        let statement = Statement::from_sql_and_values(DatabaseBackend::Sqlite, SNAPSHOT, values);
        let row = read.query_one_raw(statement).await.expect("a snapshot");
        let row = row.expect("one row");
        let number = |column: &str| row.try_get::<i64>("", column).expect("a number");
        Snapshot {
            state: row.try_get("", "state").expect("words"),
            last_number: number("last_number"),
            audit: number("audit"),
            events: number("events"),
            answers: number("answers"),
        }
    }

    /// Everything stored of a branch is as the model has it, and told once.
    pub(super) async fn agrees(&self, branch: &str, model: &Model) {
        let read = self.database.read();
        let tags = tag_out::Entity::find()
            .filter(tag_out::Column::BranchId.eq(branch))
            .all(read)
            .await
            .expect("tags");
        let tags: BTreeMap<_, _> = tags
            .into_iter()
            .map(|tag| {
                let (unit, state, revision) = (tag.unit_id, tag.state, tag.revision);
                let stored = Tag {
                    unit,
                    state,
                    revision,
                };
                (tag.id, stored)
            })
            .collect();
        assert_eq!(tags, model.tags);

        let plans = plan::Entity::find()
            .filter(plan::Column::BranchId.eq(branch))
            .all(read)
            .await
            .expect("plans");
        let plans: BTreeMap<_, _> = plans
            .into_iter()
            .map(|plan| (plan.id, (plan.state, plan.revision)))
            .collect();
        let expected: BTreeMap<_, _> = model
            .plans
            .iter()
            .map(|(id, plan)| (id.clone(), (plan.state, plan.revision)))
            .collect();
        assert_eq!(plans, expected);

        let audit = audit_entry::Entity::find()
            .filter(audit_entry::Column::BranchId.eq(branch))
            .order_by_asc(audit_entry::Column::Seq)
            .all(read)
            .await
            .expect("audit");
        let mut told = BTreeMap::new();
        for entry in &audit {
            let request = entry.request_id.expect("each command has an id");
            *told.entry(request).or_insert(0) += 1;
        }
        assert_eq!(told, model.accepted);
        let numbers: Vec<i64> = audit.iter().map(|entry| entry.seq).collect();
        let all: u64 = model.accepted.values().sum();
        assert_eq!(numbers, (1..=all.cast_signed()).collect::<Vec<_>>());
        let events = outbox_event::Entity::find()
            .filter(outbox_event::Column::BranchId.eq(branch))
            .order_by_asc(outbox_event::Column::Seq)
            .all(read)
            .await
            .expect("events");
        let events: Vec<i64> = events.iter().map(|event| event.seq).collect();
        assert_eq!(events, numbers);
        let answers = command_answer::Entity::find()
            .filter(command_answer::Column::RequestId.is_in(model.accepted.keys().copied()))
            .count(read)
            .await;
        assert_eq!(answers.expect("answers"), model.accepted.len() as u64);
    }
}

/// Of a branch `?1` all that the commands change, and of a request `?2` its kept answer.
const SNAPSHOT: &str = "SELECT \
    (SELECT group_concat(words, ' ') FROM (\
        SELECT id || ' ' || state || ' ' || revision AS words FROM tag_out WHERE branch_id = ?1 \
        UNION ALL SELECT id || ' ' || state || ' ' || revision FROM plan WHERE branch_id = ?1 \
        UNION ALL SELECT id || ' ' || vehicle_id FROM crew WHERE branch_id = ?1 \
        UNION ALL SELECT count(*) || ' documents' FROM plan_draft WHERE branch_id = ?1 \
        UNION ALL SELECT count(*) || ' crew days' FROM plan_crew_day WHERE branch_id = ?1 \
        UNION ALL SELECT count(*) || ' load-outs' FROM plan_load_out WHERE branch_id = ?1\
    )) AS state, \
    coalesce((SELECT last_seq FROM branch_sequence WHERE branch_id = ?1), 0) AS last_number, \
    (SELECT count(*) FROM audit_entry WHERE branch_id = ?1) AS audit, \
    (SELECT count(*) FROM outbox_event WHERE branch_id = ?1) AS events, \
    (SELECT count(*) FROM command_answer WHERE request_id = ?2) AS answers";

/// What is stored of a branch at some time, and of one request to it.
#[derive(Debug, PartialEq, Eq)]
pub(super) struct Snapshot {
    state: String,
    last_number: i64,
    audit: i64,
    events: i64,
    answers: i64,
}

impl Snapshot {
    /// From this to `after` one command was done whole: its state, and all that tells of it.
    pub(super) fn grew_whole(&self, after: &Self) {
        assert_ne!(self.state, after.state);
        let told = after.last_number - self.last_number;
        assert!(told > 0, "{after:?}");
        assert_eq!(after.audit, self.audit + told);
        assert_eq!(after.events, self.events + told);
        assert_eq!((self.answers, after.answers), (0, 1));
    }
}

/// What each play begins with: a crew with its truck, mowers, and a mechanic.
#[derive(Clone)]
struct Yard {
    branches: Vec<branch::Model>,
    units: Vec<unit::Model>,
    crews: Vec<crew::Model>,
    workers: Vec<worker::Model>,
}

impl Yard {
    async fn read(database: &Database) -> Self {
        let read = database.read();
        let mut units = unit::Entity::find().all(read).await.expect("units");
        units.retain(|unit| unit.id == TRUCK || mowing_yard::MOWERS.contains(&unit.id.as_str()));
        let mut crews = crew::Entity::find().all(read).await.expect("crews");
        crews.retain(|crew| crew.id == CREW);
        let mut workers = worker::Entity::find().all(read).await.expect("workers");
        workers.retain(|worker| worker.id == MECHANIC);
        Self {
            branches: branch::Entity::find().all(read).await.expect("a branch"),
            units,
            crews,
            workers,
        }
    }

    /// The same for another branch.
    fn of(&self, branch: &str) -> Self {
        let mut yard = self.clone();
        for row in &mut yard.branches {
            branch.clone_into(&mut row.id);
        }
        for row in &mut yard.units {
            branch.clone_into(&mut row.branch_id);
        }
        for row in &mut yard.crews {
            branch.clone_into(&mut row.branch_id);
        }
        for row in &mut yard.workers {
            branch.clone_into(&mut row.branch_id);
        }
        yard
    }
}

impl Write for Yard {
    type Output = ();
    type Error = StoreError;

    async fn run(&self, transaction: &DatabaseTransaction) -> Result<(), StoreError> {
        insert_all(transaction, &self.branches).await?;
        insert_all(transaction, &self.units).await?;
        insert_all(transaction, &self.crews).await?;
        insert_all(transaction, &self.workers).await?;
        Ok(())
    }
}
