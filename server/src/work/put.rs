//! Puts a row in its place: a new one, or over the one that is there.

use chrono::{DateTime, Utc};
use forenoon_store::Revisioned;
use forenoon_store::sea_orm::{DatabaseTransaction, EntityTrait, IntoActiveModel};
use serde::Serialize;

use super::{Change, Error, row};

/// The words audit and events have for the changes of one kind of resource.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Kinds {
    /// As `site.created`.
    pub created: &'static str,
    /// As `site.changed`.
    pub changed: &'static str,
    /// As `site.deleted`.
    pub deleted: &'static str,
}

/// What came of putting a row in its place.
#[derive(Clone, Debug, PartialEq)]
pub enum Put<M> {
    /// It is new.
    Created(M),
    /// It was there and said something else.
    Changed {
        /// The row as it was.
        before: M,
        /// The row as it is.
        after: M,
    },
    /// It was there and said the same: nothing is written.
    Same(M),
}

impl<M: Revisioned + PartialEq> Put<M> {
    /// What `after` is in the place of `before`, with its revision and times.
    pub fn decided(before: Option<M>, mut after: M, now: DateTime<Utc>) -> Self {
        let Some(before) = before else {
            after.stamp_created(now);
            return Self::Created(after);
        };
        after.carry_stamp(&before);
        if after == before {
            return Self::Same(before);
        }
        after.stamp_changed(&before, now);
        Self::Changed { before, after }
    }
}

impl<M> Put<M> {
    /// The row as it is now.
    pub fn row(&self) -> &M {
        match self {
            Self::Created(row) | Self::Same(row) | Self::Changed { after: row, .. } => row,
        }
    }

    /// The row as it is now.
    pub fn into_row(self) -> M {
        match self {
            Self::Created(row) | Self::Same(row) | Self::Changed { after: row, .. } => row,
        }
    }
}

impl<M: Serialize> Put<M> {
    /// The change as audit and events tell it; none where nothing was written.
    ///
    /// # Errors
    /// Where a row cannot be written as JSON, which is a fault of ours.
    pub fn change(&self, subject: String, kinds: Kinds) -> Result<Option<Change>, Error> {
        match self {
            Self::Created(after) => Change::of(subject, kinds.created, None, Some(after)).map(Some),
            Self::Changed { before, after } => {
                Change::of(subject, kinds.changed, Some(before), Some(after)).map(Some)
            }
            Self::Same(_) => Ok(None),
        }
    }
}

/// Puts `after` in the place of `before`, with its revision and times.
///
/// # Errors
/// Those of the database.
pub async fn put<E>(
    transaction: &DatabaseTransaction,
    before: Option<E::Model>,
    after: E::Model,
    now: DateTime<Utc>,
) -> Result<Put<E::Model>, Error>
where
    E: EntityTrait,
    E::Model: Clone + Revisioned + PartialEq + IntoActiveModel<E::ActiveModel>,
{
    let put = Put::decided(before, after, now);
    match &put {
        Put::Created(row) => row::insert(transaction, row).await?,
        Put::Changed { before, after } => row::update(transaction, before, after).await?,
        Put::Same(_) => {}
    }
    Ok(put)
}
