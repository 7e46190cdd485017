//! Writes rows in batches.

use std::collections::HashMap;

use chrono::{DateTime, Utc};
use forenoon_store::entity::unit;
use forenoon_store::sea_orm::sea_query::Expr;
use forenoon_store::sea_orm::{
    ColumnTrait, DatabaseTransaction, EntityTrait, IntoActiveModel, QueryFilter,
};
use forenoon_store::{Revisioned, insert_all};

use super::Numbered;
use crate::work::{Error, Put, row};

/// What becomes of each record beside the row it replaces.
pub(super) fn decided<M>(
    records: &[Numbered<M>],
    stored: &HashMap<String, M>,
    now: DateTime<Utc>,
    id: impl Fn(&M) -> &String,
) -> Vec<Put<M>>
where
    M: Revisioned + Clone + PartialEq,
{
    records
        .iter()
        .map(|record| {
            let before = stored.get(id(&record.row)).cloned();
            Put::decided(before, record.row.clone(), now)
        })
        .collect()
}

/// How many are new, and how many change.
pub(super) fn tally<M>(puts: &[Put<M>]) -> (usize, usize) {
    let count = |wanted: fn(&Put<M>) -> bool| puts.iter().filter(|put| wanted(put)).count();
    (
        count(|put| matches!(put, Put::Created(_))),
        count(|put| matches!(put, Put::Changed { .. })),
    )
}

/// Writes what is new or changes.
pub(super) async fn all<E>(
    transaction: &DatabaseTransaction,
    puts: &[Put<E::Model>],
) -> Result<(), Error>
where
    E: EntityTrait,
    E::Model: Clone + IntoActiveModel<E::ActiveModel>,
    E::ActiveModel: Send,
{
    let new = puts.iter().filter_map(|put| match put {
        Put::Created(row) => Some(row),
        Put::Changed { .. } | Put::Same(_) => None,
    });
    insert_all(transaction, new).await?;
    for put in puts {
        if let Put::Changed { before, after } = put {
            row::update(transaction, before, after).await?;
        }
    }
    Ok(())
}

/// Units that exchange serial numbers first give them up: no two may have one at any moment.
pub(super) async fn give_up_serials(
    transaction: &DatabaseTransaction,
    branch: &str,
    units: &[String],
) -> Result<(), Error> {
    for id in units {
        // No serial number has a line break, so this one is free.
        unit::Entity::update_many()
            .col_expr(
                unit::Column::SerialNumber,
                Expr::value(format!("{id}\ngiven up")),
            )
            .filter(unit::Column::BranchId.eq(branch))
            .filter(unit::Column::Id.eq(id.as_str()))
            .exec(transaction)
            .await?;
    }
    Ok(())
}
