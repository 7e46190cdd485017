//! Photographs that nothing needs any more.

use std::collections::BTreeSet;

use forenoon_store::entity::{photo, photo_subject, site_case};
use forenoon_store::sea_orm::{
    ColumnTrait, DatabaseTransaction, EntityTrait, QueryFilter, QuerySelect,
};

use crate::work::Error;

/// Those of some photographs that are of nothing and that no case names.
///
/// # Errors
/// Those of the database.
pub(crate) async fn unneeded(
    transaction: &DatabaseTransaction,
    branch: &str,
    photos: &BTreeSet<String>,
) -> Result<BTreeSet<String>, Error> {
    if photos.is_empty() {
        return Ok(BTreeSet::new());
    }
    let mut needed: BTreeSet<String> = photo_subject::Entity::find()
        .select_only()
        .column(photo_subject::Column::Sha256)
        .filter(photo_subject::Column::BranchId.eq(branch))
        .filter(photo_subject::Column::Sha256.is_in(photos.iter().cloned()))
        .into_tuple::<String>()
        .all(transaction)
        .await?
        .into_iter()
        .collect();
    let cases = site_case::Entity::find()
        .filter(site_case::Column::BranchId.eq(branch))
        .all(transaction)
        .await?;
    needed.extend(cases.into_iter().flat_map(|case| case.photos.0));
    Ok(photos.difference(&needed).cloned().collect())
}

/// Forgets what photographs were of something that goes, and with that those that nothing else needs.
///
/// # Errors
/// Those of the database.
pub(crate) async fn forget(
    transaction: &DatabaseTransaction,
    branch: &str,
    subject: &str,
) -> Result<(), Error> {
    let of_subject = photo_subject::Entity::find()
        .filter(photo_subject::Column::BranchId.eq(branch))
        .filter(photo_subject::Column::Subject.eq(subject))
        .all(transaction)
        .await?;
    if of_subject.is_empty() {
        return Ok(());
    }
    photo_subject::Entity::delete_many()
        .filter(photo_subject::Column::BranchId.eq(branch))
        .filter(photo_subject::Column::Subject.eq(subject))
        .exec(transaction)
        .await?;
    let photos = of_subject.into_iter().map(|link| link.sha256).collect();
    let gone = unneeded(transaction, branch, &photos).await?;
    // Their parts go with them.
    photo::Entity::delete_many()
        .filter(photo::Column::BranchId.eq(branch))
        .filter(photo::Column::Sha256.is_in(gone))
        .exec(transaction)
        .await?;
    Ok(())
}
