//! A resource and its branch in one query. Answers tell measures and money as the branch has them, and what a read costs
//! is the way to the database and back more than what is done there. So reads that come together go together too.

use std::collections::HashMap;
use std::marker::PhantomData;

use forenoon_store::entity::{branch, job, site, unit, worker};
use forenoon_store::sea_orm::sea_query::ExprTrait;
use forenoon_store::sea_orm::{
    ColumnTrait, Condition, DatabaseConnection, EntityTrait, JoinType, QueryFilter, QuerySelect,
    RelationDef,
};
use forenoon_store::{Database, Joined, Rows, StoreError};

use super::get;
use crate::work::Error;

/// Resources of a branch, found by their ids.
pub(crate) trait OfBranch: EntityTrait<Model: Clone> + Clone {
    /// Names the branch.
    const BRANCH: Self::Column;
    /// Names the resource in it.
    const ID: Self::Column;

    /// The resource's id.
    fn id(row: &Self::Model) -> &str;
}

macro_rules! of_branch {
    ($($module:ident),+) => {$(
        impl OfBranch for $module::Entity {
            const BRANCH: Self::Column = $module::Column::BranchId;
            const ID: Self::Column = $module::Column::Id;

            fn id(row: &Self::Model) -> &str {
                &row.id
            }
        }
    )+};
}

of_branch!(job, site, unit, worker);

/// Resources, each with its branch.
#[derive(Clone, Debug)]
pub(crate) struct WithBranch<E> {
    read: DatabaseConnection,
    of: PhantomData<E>,
}

impl<E: OfBranch> Rows for WithBranch<E> {
    /// The branch's id, and the resource's.
    type Key = (String, String);
    type Row = (E::Model, branch::Model);

    async fn fetch(&self, keys: &[Self::Key]) -> Result<HashMap<Self::Key, Self::Row>, StoreError> {
        let branch_of: RelationDef = E::belongs_to(branch::Entity)
            .from(E::BRANCH)
            .to(branch::Column::Id)
            .into();
        // In a few lengths only, so that each is kept prepared.
        let again = keys.len().next_power_of_two() - keys.len();
        let mut any = Condition::any();
        for (branch, id) in keys.iter().chain(keys.iter().cycle().take(again)) {
            // SQLite looks through the whole table for pairs in a list.
            any = any.add(E::BRANCH.eq(branch).and(E::ID.eq(id)));
        }
        let found = E::find()
            .filter(any)
            .join(JoinType::InnerJoin, branch_of)
            .select_also(branch::Entity)
            .all(&self.read)
            .await?;
        let rows = found.into_iter().filter_map(|(row, branch)| {
            let branch = branch?;
            let key = (branch.id.clone(), E::id(&row).to_owned());
            Some((key, (row, branch)))
        });
        Ok(rows.collect())
    }
}

/// Where resources of one kind are looked up.
#[derive(Clone, Debug)]
pub(crate) struct Lookup<E: OfBranch> {
    read: DatabaseConnection,
    rows: Joined<WithBranch<E>>,
}

impl<E: OfBranch> Lookup<E> {
    fn new(database: &Database) -> Self {
        let read = database.read().clone();
        let rows = WithBranch {
            read: read.clone(),
            of: PhantomData,
        };
        Self {
            read,
            rows: Joined::new(rows),
        }
    }

    /// What is found in a branch, with the branch.
    ///
    /// # Errors
    /// [`Error::NotFound`] where the branch or, in the words of `absent`, what is looked for in it is not there.
    pub(crate) async fn find(
        &self,
        branch: &str,
        id: &str,
        absent: impl FnOnce() -> String,
    ) -> Result<(E::Model, branch::Model), Error> {
        let key = (branch.to_owned(), id.to_owned());
        if let Some(found) = self.rows.find(key).await? {
            return Ok(found);
        }
        get(&self.read, branch).await?;
        Err(Error::not_found(absent()))
    }
}

/// Where single resources are looked up.
#[derive(Clone, Debug)]
pub struct Lookups {
    pub(crate) jobs: Lookup<job::Entity>,
    pub(crate) sites: Lookup<site::Entity>,
    pub(crate) units: Lookup<unit::Entity>,
    pub(crate) workers: Lookup<worker::Entity>,
}

impl Lookups {
    /// In this database.
    pub fn new(database: &Database) -> Self {
        Self {
            jobs: Lookup::new(database),
            sites: Lookup::new(database),
            units: Lookup::new(database),
            workers: Lookup::new(database),
        }
    }
}
