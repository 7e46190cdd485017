//! What is there already: the rows that records replace, and those they refer to.

use std::collections::{HashMap, HashSet};
use std::hash::Hash;

use forenoon_store::entity::{crew, job, site, unit, worker};
use forenoon_store::sea_orm::{
    ColumnTrait, DatabaseTransaction, EntityTrait, QueryFilter, QuerySelect,
};

use super::Records;
use crate::work::Error;

/// Most values of one query: the databases bound their variables.
pub(super) const VALUES_PER_QUERY_MAX: usize = 1_000;

/// Rows of the branch by id.
#[derive(Debug, Default)]
pub(super) struct Stored {
    /// Units that are replaced or referred to.
    pub units: HashMap<String, unit::Model>,
    /// All crews: a vehicle belongs to one of them.
    pub crews: HashMap<String, crew::Model>,
    /// Workers that are replaced.
    pub workers: HashMap<String, worker::Model>,
    /// Sites that are replaced or referred to.
    pub sites: HashMap<String, site::Model>,
    /// Jobs that are replaced.
    pub jobs: HashMap<String, job::Model>,
    /// Which unit has a serial number that a record gives.
    pub serial_holders: HashMap<String, String>,
}

impl Stored {
    pub(super) async fn read(
        transaction: &DatabaseTransaction,
        branch: &str,
        records: &Records,
    ) -> Result<Self, Error> {
        let unit_ids = distinct(
            records.units.iter().map(|one| one.row.id.as_str()).chain(
                records
                    .crews
                    .iter()
                    .flat_map(|one| [&one.row.vehicle_id, &one.row.trailer_id])
                    .flatten()
                    .map(String::as_str),
            ),
        );
        let site_ids = distinct(
            records
                .sites
                .iter()
                .map(|one| one.row.id.as_str())
                .chain(records.jobs.iter().map(|one| one.row.site_id.as_str())),
        );
        let worker_ids = distinct(records.workers.iter().map(|one| one.row.id.as_str()));
        let job_ids = distinct(records.jobs.iter().map(|one| one.row.id.as_str()));
        macro_rules! by_id {
            ($module:ident, $ids:expr) => {{
                let mut rows = HashMap::new();
                for ids in $ids.chunks(VALUES_PER_QUERY_MAX) {
                    let some = $module::Entity::find()
                        .filter($module::Column::BranchId.eq(branch))
                        .filter($module::Column::Id.is_in(ids.iter().copied()))
                        .all(transaction)
                        .await?;
                    rows.extend(some.into_iter().map(|row| (row.id.clone(), row)));
                }
                rows
            }};
        }
        Ok(Self {
            units: by_id!(unit, unit_ids),
            crews: crew::Entity::find()
                .filter(crew::Column::BranchId.eq(branch))
                .all(transaction)
                .await?
                .into_iter()
                .map(|row| (row.id.clone(), row))
                .collect(),
            workers: by_id!(worker, worker_ids),
            sites: by_id!(site, site_ids),
            jobs: by_id!(job, job_ids),
            serial_holders: serial_holders(transaction, branch, records).await?,
        })
    }
}

async fn serial_holders(
    transaction: &DatabaseTransaction,
    branch: &str,
    records: &Records,
) -> Result<HashMap<String, String>, Error> {
    let serials = distinct(
        records
            .units
            .iter()
            .map(|one| one.row.serial_number.as_str()),
    );
    let mut holders = HashMap::new();
    for serials in serials.chunks(VALUES_PER_QUERY_MAX) {
        let some: Vec<(String, String)> = unit::Entity::find()
            .filter(unit::Column::BranchId.eq(branch))
            .filter(unit::Column::SerialNumber.is_in(serials.iter().copied()))
            .select_only()
            .column(unit::Column::SerialNumber)
            .column(unit::Column::Id)
            .into_tuple()
            .all(transaction)
            .await?;
        holders.extend(some);
    }
    Ok(holders)
}

fn distinct<T: Hash + Eq + Copy>(values: impl Iterator<Item = T>) -> Vec<T> {
    let mut seen = HashSet::new();
    values.filter(|value| seen.insert(*value)).collect()
}
