//! Goal: a branch's rows come into an empty database as they went out of another, those of an earlier schema too. Method:
//! rows are read from one database, some are made as an earlier schema had them, and they are brought into another.

use std::collections::{BTreeMap, BTreeSet};

use forenoon_migrations::{Migrator, MigratorTrait};
use forenoon_store::entity::{branch_sequence, plan, plan_crew_day, plan_load_out, unit};
use forenoon_store::rows::{FillError, Filler, TABLES, rows};
use forenoon_store::sea_orm::{
    self, ConnectionTrait, DatabaseConnection, DatabaseTransaction, DbBackend, DbErr, EntityTrait,
    IntoActiveModel, QueryOrder, Statement,
};
use forenoon_store::value::{PlanState, Severity};
use forenoon_store::{StoreError, UniqueRule, Write};
use futures::StreamExt;
use serde_json::{Value, json};
use tempfile::TempDir;

use crate::bench::{Bench, branch_row, on_both, spell_row, tag_row, visit_row};

/// The last migration before there were exports.
const BEFORE_EXPORTS: &str = "m20261125_000014_site_case";

/// A table, and a row of it.
type Row = (&'static str, Value);

async fn all_rows(bench: &Bench) -> Vec<Row> {
    let read = bench.database.begin_read().await.expect("a transaction");
    let mut all = Vec::new();
    for table in TABLES {
        let mut some = rows(&read, table, "north", None).await.expect("rows");
        while let Some(row) = some.next().await {
            all.push((*table, row.expect("a row")));
        }
    }
    all
}

struct Fill<'a>(&'a [Row]);

impl Write for Fill<'_> {
    type Output = ();
    type Error = StoreError;

    async fn run(&self, transaction: &DatabaseTransaction) -> Result<(), StoreError> {
        let known = |error: FillError| match error {
            FillError::Store(error) => error,
            FillError::Unique { rule, .. } => StoreError::Unique(rule),
            fault => StoreError::Other(DbErr::Custom(fault.to_string())),
        };
        let mut filler = Filler::default();
        for (table, row) in self.0 {
            let row = row.clone();
            filler.add(transaction, table, row).await.map_err(known)?;
        }
        filler.finish(transaction).await.map_err(known)
    }
}

async fn fill(bench: &Bench, rows: &[Row]) -> Result<(), StoreError> {
    bench.database.write("north", &Fill(rows)).await
}

/// Guards a day of which an older draft was published after a newer one.
#[tokio::test]
async fn plans_published_in_another_order_than_made_come_back() {
    on_both(async |bench| {
        bench.furnish().await;
        for revision in 1..=4 {
            bench.draft(revision).await;
        }
        for sql in [
            "UPDATE plan SET state = 'discarded' WHERE day_revision = 3",
            "UPDATE plan SET state = 'published', publish_time = create_time WHERE day_revision = 2",
            "UPDATE plan SET state = 'replaced' WHERE day_revision = 2",
            "UPDATE plan SET state = 'published', publish_time = create_time WHERE day_revision = 1",
        ] {
            bench.execute(sql).await.expect("changed");
        }
        let before = all_rows(bench).await;
        let other = Bench::sqlite().await;
        fill(&other, &before).await.expect("brought in");
        assert_eq!(all_rows(&other).await, before);
        let plans = plan::Entity::find()
            .order_by_asc(plan::Column::DayRevision)
            .all(other.database.read())
            .await
            .expect("plans");
        let states: Vec<PlanState> = plans.iter().map(|plan| plan.state).collect();
        let [published, replaced] = [PlanState::Published, PlanState::Replaced];
        let [discarded, draft] = [PlanState::Discarded, PlanState::Draft];
        assert_eq!(states, [published, replaced, discarded, draft]);
    })
    .await;
}

/// Two published plans for a day are none that a server wrote: they are refused, and nothing is left of them.
#[tokio::test]
async fn two_published_plans_for_a_day_are_refused() {
    let bench = Bench::sqlite().await;
    bench.furnish().await;
    bench.draft(1).await;
    bench.draft(2).await;
    let mut rows = all_rows(&bench).await;
    for (table, row) in &mut rows {
        if *table == "plan" {
            row["state"] = json!("published");
            row["publish_time"] = row["create_time"].clone();
        }
    }
    let other = Bench::sqlite().await;
    let refused = fill(&other, &rows).await;
    assert!(
        matches!(refused, Err(StoreError::Unique(UniqueRule::PublishedPlan))),
        "{refused:?}"
    );
    assert_eq!(all_rows(&other).await, []);
}

/// Brings rows in and tells the branch's last number before the end and after it; none where there is none yet.
struct FillAndLook<'a>(&'a [Row]);

impl Write for FillAndLook<'_> {
    type Output = [Option<i64>; 2];
    type Error = StoreError;

    async fn run(&self, transaction: &DatabaseTransaction) -> Result<Self::Output, StoreError> {
        let last = async || {
            let row = branch_sequence::Entity::find_by_id("north")
                .one(transaction)
                .await;
            row.expect("read").map(|row| row.last_seq)
        };
        let mut filler = Filler::default();
        for (table, row) in self.0 {
            let added = filler.add(transaction, table, row.clone()).await;
            added.expect("a row");
        }
        let before = last().await;
        filler.finish(transaction).await.expect("the end");
        Ok([before, last().await])
    }
}

/// Guards the writes of other branches: who has written a number stands in the way of those that want to be alone with
/// them, so that a branch that is brought in writes its own last, after whatever comes behind it in the file.
#[tokio::test]
async fn the_last_number_is_brought_in_at_the_end() {
    on_both(async |bench| {
        let event = json!({
            "branch_id": "north", "seq": 41, "subject": "branches/north", "kind": "branch.updated",
            "body": {}, "at": "2027-04-20T11:45:00Z",
        });
        let rows = [
            ("branch", serde_json::to_value(branch_row()).expect("JSON")),
            (
                "branch_sequence",
                json!({ "branch_id": "north", "last_seq": 41 }),
            ),
            ("outbox_event", event),
        ];
        let written = bench.database.write("north", &FillAndLook(&rows)).await;
        assert_eq!(written.expect("brought in"), [None, Some(41)]);
    })
    .await;
}

/// A branch has one row of its own and one last number: a second is told where it stands, not as one taken by others.
#[tokio::test]
async fn a_second_row_where_there_is_one_is_refused() {
    struct Second(Row);

    impl Write for Second {
        type Output = bool;
        type Error = StoreError;

        async fn run(&self, transaction: &DatabaseTransaction) -> Result<bool, StoreError> {
            let (table, row) = &self.0;
            let mut filler = Filler::default();
            let first = filler.add(transaction, table, row.clone()).await;
            first.expect("the first");
            let second = filler.add(transaction, table, row.clone()).await;
            Ok(matches!(second, Err(FillError::Second(told)) if told == *table))
        }
    }

    let bench = Bench::sqlite().await;
    for row in [
        ("branch", serde_json::to_value(branch_row()).expect("JSON")),
        (
            "branch_sequence",
            json!({ "branch_id": "north", "last_seq": 41 }),
        ),
    ] {
        let refused = bench.database.write("north", &Second(row)).await;
        assert!(refused.expect("tried"));
    }
}

/// The columns of each table, on a schema that ends with a migration.
async fn columns(connection: &DatabaseConnection) -> BTreeMap<&'static str, BTreeSet<String>> {
    let mut all = BTreeMap::new();
    for table in TABLES {
        let query = Statement::from_sql_and_values(
            DbBackend::Sqlite,
            "SELECT name FROM pragma_table_info(?)",
            [(*table).into()],
        );
        let found = connection.query_all_raw(query).await.expect("columns");
        let names = found
            .iter()
            .map(|row| row.try_get_by_index(0).expect("a name"));
        all.insert(*table, names.collect());
    }
    all
}

/// Columns that came after the first exports, by table. Tables that came later have none.
async fn later_columns() -> BTreeMap<&'static str, BTreeSet<String>> {
    let folder = TempDir::new().expect("a folder");
    let url = format!("sqlite://{}?mode=rwc", folder.path().join("a.db").display());
    let connection = sea_orm::Database::connect(url).await.expect("a database");
    let first = Migrator::migrations()
        .iter()
        .position(|one| one.name() == BEFORE_EXPORTS)
        .expect("a migration");
    let steps = u32::try_from(first + 1).expect("few");
    Migrator::up(&connection, Some(steps)).await.expect("up");
    let early = columns(&connection).await;
    Migrator::up(&connection, None).await.expect("up");
    let mut later = columns(&connection).await;
    for (table, names) in &mut later {
        let early = &early[table];
        names.retain(|name| !early.is_empty() && !early.contains(name));
    }
    later.retain(|_, names| !names.is_empty());
    later
}

/// Guards archived months and exports against the next migration: whatever column a table has got since, a row without it
/// is brought in with what the schema takes for such rows. Whoever adds a column to a table that this test has no row of
/// adds the row.
#[tokio::test]
async fn rows_of_an_earlier_schema_are_brought_in() {
    let later = later_columns().await;
    assert!(later["unit"].contains("noise_dba"), "{later:?}");
    on_both(async |bench| {
        bench.furnish().await;
        let draft = bench.draft(1).await;
        bench
            .put(spell_row(&draft, "one", 0, [None, None]))
            .await
            .expect("aboard");
        bench.put(visit_row(&draft, 11)).await.expect("begun");
        let tag = tag_row(1, "blower", Severity::Unsafe, 1);
        bench.put(tag.into_active_model()).await.expect("tagged");
        let whole = all_rows(bench).await;
        let mut early = whole.clone();
        let mut met = BTreeSet::new();
        for (table, row) in &mut early {
            let Some(names) = later.get(table) else {
                continue;
            };
            met.insert(*table);
            let row = row.as_object_mut().expect("a row");
            row.retain(|name, _| !names.contains(name));
        }
        let wanted: BTreeSet<&str> = later.keys().copied().collect();
        assert_eq!(met, wanted, "no row of a table with later columns");
        // What stops work with stood in rows of their own once.
        let unit_of_stop = json!({
            "branch_id": "north", "plan_id": draft, "job_id": "mow", "unit_id": "mower",
        });
        let after = early
            .iter()
            .rposition(|(table, _)| *table == "plan_load_out");
        early.insert(after.expect("aboard") + 1, ("plan_stop_unit", unit_of_stop));

        let other = Bench::sqlite().await;
        fill(&other, &early).await.expect("brought in");
        let read = other.database.read();
        let mower = unit::Entity::find_by_id(("north".to_owned(), "mower".to_owned()))
            .one(read)
            .await
            .expect("read")
            .expect("the mower");
        assert!(mower.noise_dba.abs() < 1e-9);
        let aboard = plan_load_out::Entity::find().all(read).await.expect("read");
        assert_eq!((aboard[0].spell, aboard[0].from_time), (0, None));
        let days = plan_crew_day::Entity::find().all(read).await.expect("read");
        assert!(days.iter().all(|day| day.breaks.is_none()));
        let count = whole.len();
        assert_eq!(all_rows(&other).await.len(), count);
    })
    .await;
}
