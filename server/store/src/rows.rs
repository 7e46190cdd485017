//! All rows of a branch, out of one database and into another, table by table.
//!
//! Rows are JSON as their entities write them, the same on both databases.

use std::collections::BTreeSet;

use futures::stream::{BoxStream, StreamExt};
use sea_orm::{
    ActiveModelTrait, ColumnTrait, Condition, DatabaseTransaction, EntityTrait, IntoActiveModel,
    Iterable, PrimaryKeyToColumn, QueryFilter, QueryOrder,
};
use serde::Serialize;
use serde::de::DeserializeOwned;
use serde_json::Value;

use crate::entity::{
    audit_entry, branch, branch_sequence, command_answer, crew, crew_load, hours_settled, job,
    outbox_event, photo, photo_part, photo_subject, plan, plan_crew_day, plan_draft, plan_load_out,
    plan_stop, plan_unplanned, site, site_case, tag_out, unit, unit_hours, unit_service, visit,
    worker,
};
use crate::error::{StoreError, UniqueRule};
use crate::value::PlanState;

/// Rows of one statement: the databases bound their variables, and no table has 60 columns.
const ROWS_PER_STATEMENT_MAX: usize = 500;
/// Characters of text from which on rows are brought in: a part of a photograph has more than a million, and waits in memory
/// until then.
const TEXT_PER_STATEMENT_FROM: usize = 8 << 20;

/// Tables of earlier schemas, whose rows say what others say too: these are passed over.
const GONE_TABLES: [&str; 1] = ["plan_stop_unit"];

/// Tables that have one row for each branch.
pub const ONE_FOR_EACH_BRANCH: [&str; 2] = ["branch", "branch_sequence"];

/// Why rows cannot be brought in.
#[derive(Debug, thiserror::Error)]
pub enum FillError {
    /// No table of that name, or one that comes before those filled already.
    #[error("{0:?} is no table that may come here")]
    Table(String),
    /// A row that is none of its table.
    #[error("row of {table}: {cause}")]
    Row {
        /// The table.
        table: &'static str,
        /// What is wrong.
        cause: serde_json::Error,
    },
    /// A second row of a table that has one for each branch.
    #[error("a second row of {0}, which has one for each branch")]
    Second(&'static str),
    /// A row that breaks a unique rule, with one before it or with one that is in the database.
    #[error("row of {table}: unique rule {rule:?} broken")]
    Unique {
        /// The table.
        table: &'static str,
        /// The rule.
        rule: UniqueRule,
    },
    /// The database.
    #[error(transparent)]
    Store(#[from] StoreError),
}

impl FillError {
    /// What the database said to rows of a table.
    fn of(table: &'static str, error: sea_orm::DbErr) -> Self {
        match StoreError::from(error) {
            StoreError::Unique(rule) => Self::Unique { table, rule },
            error => Self::Store(error),
        }
    }
}

macro_rules! tables {
    ($($module:ident of $branch:ident by $($order:ident)*;)+) => {
        /// The tables that hold rows of branches, in the order in which they can be filled.
        pub const TABLES: &[&str] = &[$(stringify!($module)),+];

        /// A table's rows of a branch as JSON, in a lasting order; those of a condition only, where one is given.
        ///
        /// # Errors
        /// Those of the database.
        pub async fn rows<'a>(
            transaction: &'a DatabaseTransaction,
            table: &str,
            branch: &str,
            only: Option<Condition>,
        ) -> Result<BoxStream<'a, Result<Value, StoreError>>, StoreError> {
            match table {
                $(stringify!($module) => {
                    let order = [$($module::Column::$order),*];
                    let which = Condition::all().add($module::Column::$branch.eq(branch)).add_option(only);
                    rows_of::<$module::Entity>(transaction, which, &order).await
                })+
                _ => Ok(futures::stream::empty().boxed()),
            }
        }

        /// Deletes a table's rows of a branch that meet a condition, and answers with their number.
        ///
        /// # Errors
        /// Those of the database.
        pub async fn remove(
            transaction: &DatabaseTransaction,
            table: &str,
            branch: &str,
            only: Condition,
        ) -> Result<u64, StoreError> {
            match table {
                $(stringify!($module) => {
                    let deleted = $module::Entity::delete_many()
                        .filter(Condition::all().add($module::Column::$branch.eq(branch)).add(only))
                        .exec(transaction)
                        .await?;
                    Ok(deleted.rows_affected)
                })+
                _ => Ok(0),
            }
        }

        async fn insert(
            transaction: &DatabaseTransaction,
            table: &str,
            rows: Vec<Value>,
        ) -> Result<(), FillError> {
            match table {
                $(stringify!($module) => {
                    insert_into::<$module::Entity>(transaction, stringify!($module), rows).await
                })+
                _ => Err(FillError::Table(table.to_owned())),
            }
        }
    };
}

// Where no order is given it is that of the key.
tables! {
    branch of Id by;
    unit of BranchId by;
    hours_settled of BranchId by;
    unit_hours of BranchId by;
    crew of BranchId by;
    worker of BranchId by;
    site of BranchId by;
    job of BranchId by;
    plan of BranchId by Day DayRevision;
    plan_draft of BranchId by;
    plan_crew_day of BranchId by;
    plan_load_out of BranchId by;
    plan_stop of BranchId by;
    plan_unplanned of BranchId by;
    visit of BranchId by;
    crew_load of BranchId by;
    tag_out of BranchId by Number;
    unit_service of BranchId by;
    site_case of BranchId by Number;
    photo of BranchId by;
    photo_part of BranchId by;
    photo_subject of BranchId by;
    branch_sequence of BranchId by;
    audit_entry of BranchId by;
    outbox_event of BranchId by;
    command_answer of BranchId by;
}

async fn rows_of<'a, E>(
    transaction: &'a DatabaseTransaction,
    which: Condition,
    order: &[E::Column],
) -> Result<BoxStream<'a, Result<Value, StoreError>>, StoreError>
where
    E: EntityTrait,
    E::Model: Serialize + Send + 'a,
{
    let mut query = E::find().filter(which);
    for column in order {
        query = query.order_by_asc(*column);
    }
    for key in E::PrimaryKey::iter() {
        query = query.order_by_asc(key.into_column());
    }
    let rows = query.stream(transaction).await?;
    Ok(rows
        .map(|row| {
            serde_json::to_value(row?)
                .map_err(|error| StoreError::Other(sea_orm::DbErr::Json(error.to_string())))
        })
        .boxed())
}

async fn insert_into<E>(
    transaction: &DatabaseTransaction,
    table: &'static str,
    rows: Vec<Value>,
) -> Result<(), FillError>
where
    E: EntityTrait,
    E::Model: DeserializeOwned + IntoActiveModel<E::ActiveModel>,
    E::ActiveModel: Send,
{
    let mut models = Vec::with_capacity(rows.len());
    for row in rows {
        models.push(model::<E::Model>(table, row)?.into_active_model());
    }
    E::insert_many(models)
        .exec_without_returning(transaction)
        .await
        .map_err(|error| FillError::of(table, error))?;
    Ok(())
}

fn model<M: DeserializeOwned>(table: &'static str, row: Value) -> Result<M, FillError> {
    serde_json::from_value(row).map_err(|cause| FillError::Row { table, cause })
}

/// Characters of a row's texts, those within lists and objects too, and one for every other value.
fn text_in(value: &Value) -> usize {
    match value {
        Value::String(text) => text.len(),
        Value::Array(values) => values.iter().map(text_in).sum(),
        Value::Object(values) => values
            .iter()
            .map(|(name, one)| name.len() + text_in(one))
            .sum(),
        Value::Null | Value::Bool(_) | Value::Number(_) => 1,
    }
}

/// Fills an empty branch, table by table in the order of [`TABLES`].
///
/// The schema's guards stand all the while: plans come in as drafts with their parts, are published as they were, and
/// only then come the tags of units that have gone out of service since. The branch's last number comes in at the very
/// end: a transaction that has written one keeps those waiting that want to be alone with the numbers, and all behind
/// them, whatever their branch.
#[derive(Debug, Default)]
pub struct Filler {
    place: usize,
    waiting: Vec<Value>,
    /// Characters of text in them.
    text: usize,
    plans: Vec<plan::Model>,
    /// The branch's last number.
    last_number: Option<branch_sequence::Model>,
    /// Tables of one row that have theirs.
    single: BTreeSet<&'static str>,
}

impl Filler {
    /// Brings a row in, or keeps it to bring it in with others.
    ///
    /// # Errors
    /// Where the table does not come here, the row is none, or the database refuses.
    pub async fn add(
        &mut self,
        transaction: &DatabaseTransaction,
        table: &str,
        row: Value,
    ) -> Result<(), FillError> {
        if GONE_TABLES.contains(&table) {
            return Ok(());
        }
        let place = TABLES
            .iter()
            .position(|known| *known == table)
            .filter(|place| *place >= self.place)
            .ok_or_else(|| FillError::Table(table.to_owned()))?;
        if place > self.place {
            self.flush(transaction).await?;
            if place > place_of("plan_unplanned") {
                self.settle_plans(transaction).await?;
            }
            self.place = place;
        }
        let single = ONE_FOR_EACH_BRANCH.into_iter().find(|one| *one == table);
        if let Some(table) = single
            && !self.single.insert(table)
        {
            return Err(FillError::Second(table));
        }
        if place == place_of("branch_sequence") {
            self.last_number = Some(model("branch_sequence", row)?);
            return Ok(());
        }
        let row = if place == place_of("plan") {
            self.draft(row)?
        } else {
            row
        };
        self.text += text_in(&row);
        self.waiting.push(row);
        let many = self.waiting.len() == ROWS_PER_STATEMENT_MAX;
        if many || self.text >= TEXT_PER_STATEMENT_FROM {
            self.flush(transaction).await?;
        }
        Ok(())
    }

    /// Brings in what was kept.
    ///
    /// # Errors
    /// As [`Filler::add`].
    pub async fn finish(mut self, transaction: &DatabaseTransaction) -> Result<(), FillError> {
        self.flush(transaction).await?;
        self.settle_plans(transaction).await?;
        if let Some(last) = self.last_number.take() {
            branch_sequence::Entity::insert(last.into_active_model())
                .exec_without_returning(transaction)
                .await
                .map_err(|error| FillError::of("branch_sequence", error))?;
        }
        Ok(())
    }

    async fn flush(&mut self, transaction: &DatabaseTransaction) -> Result<(), FillError> {
        let rows = std::mem::take(&mut self.waiting);
        self.text = 0;
        if rows.is_empty() {
            return Ok(());
        }
        let table = TABLES.get(self.place).copied().unwrap_or_default();
        insert(transaction, table, rows).await
    }

    /// The plan as it began; as it is in the end is kept for later.
    fn draft(&mut self, row: Value) -> Result<Value, FillError> {
        let plan: plan::Model = model("plan", row)?;
        let draft = plan::Model {
            state: PlanState::Draft,
            publish_time: None,
            ..plan.clone()
        };
        self.plans.push(plan);
        serde_json::to_value(draft).map_err(|cause| FillError::Row {
            table: "plan",
            cause,
        })
    }

    /// Takes plans to where they stood in the end. Those that were replaced go first, each out of the way of the next: an
    /// older draft may have been published after a newer one, and a day has one published plan at any moment.
    async fn settle_plans(&mut self, transaction: &DatabaseTransaction) -> Result<(), FillError> {
        let (last, first): (Vec<_>, Vec<_>) = std::mem::take(&mut self.plans)
            .into_iter()
            .partition(|plan| plan.state == PlanState::Published);
        for plan in first.into_iter().chain(last) {
            settle(transaction, &plan).await?;
        }
        Ok(())
    }
}

async fn settle(transaction: &DatabaseTransaction, plan: &plan::Model) -> Result<(), FillError> {
    let steps: &[PlanState] = match plan.state {
        PlanState::Draft => &[],
        PlanState::Published => &[PlanState::Published],
        PlanState::Replaced => &[PlanState::Published, PlanState::Replaced],
        PlanState::Discarded => &[PlanState::Discarded],
    };
    for state in steps {
        let step = plan::Model {
            state: *state,
            ..plan.clone()
        };
        step.into_active_model()
            .reset_all()
            .update(transaction)
            .await
            .map_err(|error| FillError::of("plan", error))?;
    }
    Ok(())
}

fn place_of(table: &str) -> usize {
    TABLES
        .iter()
        .position(|known| *known == table)
        .unwrap_or(TABLES.len())
}
