//! Leases with fencing: who may do a long piece of work now, among all servers on one database.
//!
//! No clock is compared, neither of the servers nor of the database. Who wants a lease watches its beat; where that
//! stands still for long enough by the watcher's own monotonic clock, the holder is taken for dead and the lease is taken
//! over with the next fence. A holder that was only slow finds its fence gone: [`give_back`], called in the transaction
//! that stores the work, refuses it. So clocks that differ or jump cost time and never truth.

use sea_orm::sea_query::{Expr, ExprTrait, OnConflict};
use sea_orm::{ColumnTrait, ConnectionTrait, EntityTrait, IntoActiveModel, QueryFilter};

use crate::entity::solve_lease;
use crate::error::StoreError;

/// A lease that is held.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Lease {
    /// The branch.
    pub branch: String,
    /// The piece of work, as `plan/2027-04-20`.
    pub scope: String,
    /// Which holding of it this is.
    pub fence: i64,
}

/// What came of asking for a lease.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Asked {
    /// It is held now.
    Taken(Lease),
    /// Another holds it; the row as it stands.
    Held(solve_lease::Model),
}

/// How a lease stands; none where nobody has had it.
///
/// # Errors
/// Those of the database.
pub async fn standing(
    connection: &impl ConnectionTrait,
    branch: &str,
    scope: &str,
) -> Result<Option<solve_lease::Model>, StoreError> {
    let key = (branch.to_owned(), scope.to_owned());
    Ok(solve_lease::Entity::find_by_id(key).one(connection).await?)
}

/// Takes a lease that is free, or that stands exactly as in `dead`, whose holder is taken for dead.
///
/// # Errors
/// [`StoreError::ForeignKey`] where the branch is not there, and those of the database.
pub async fn take(
    transaction: &impl ConnectionTrait,
    branch: &str,
    scope: &str,
    holder: &str,
    dead: Option<&solve_lease::Model>,
) -> Result<Asked, StoreError> {
    let Some(row) = standing(transaction, branch, scope).await? else {
        let first = solve_lease::Model {
            branch_id: branch.to_owned(),
            scope: scope.to_owned(),
            fence: 1,
            beat: 0,
            holder: Some(holder.to_owned()),
        };
        let inserted = solve_lease::Entity::insert(first.into_active_model())
            .on_conflict(
                OnConflict::columns([solve_lease::Column::BranchId, solve_lease::Column::Scope])
                    .do_nothing()
                    .to_owned(),
            )
            .exec_without_returning(transaction)
            .await?;
        if inserted == 1 {
            return Ok(Asked::Taken(lease(branch, scope, 1)));
        }
        return Err(StoreError::Contention {
            detail: format!("{scope} of {branch} was taken for the first time"),
        });
    };
    if row.holder.is_some() && dead != Some(&row) {
        return Ok(Asked::Held(row));
    }
    let fence = row.fence + 1;
    let taken = solve_lease::Entity::update_many()
        .col_expr(solve_lease::Column::Fence, Expr::value(fence))
        .col_expr(solve_lease::Column::Beat, Expr::value(0_i64))
        .col_expr(solve_lease::Column::Holder, Expr::value(holder))
        .filter(solve_lease::Column::BranchId.eq(branch))
        .filter(solve_lease::Column::Scope.eq(scope))
        .filter(solve_lease::Column::Fence.eq(row.fence))
        .filter(solve_lease::Column::Beat.eq(row.beat))
        .exec(transaction)
        .await?;
    if taken.rows_affected == 1 {
        return Ok(Asked::Taken(lease(branch, scope, fence)));
    }
    Err(StoreError::Contention {
        detail: format!("{scope} of {branch} was taken by another"),
    })
}

/// Shows that the holder lives. False where the lease is lost.
///
/// # Errors
/// Those of the database.
pub async fn beat(transaction: &impl ConnectionTrait, lease: &Lease) -> Result<bool, StoreError> {
    let beaten = held(lease)
        .col_expr(
            solve_lease::Column::Beat,
            Expr::col(solve_lease::Column::Beat).add(1),
        )
        .exec(transaction)
        .await?;
    Ok(beaten.rows_affected == 1)
}

/// Gives a lease back. False where it was lost: what was done under it must not be stored.
///
/// # Errors
/// Those of the database.
pub async fn give_back(
    transaction: &impl ConnectionTrait,
    lease: &Lease,
) -> Result<bool, StoreError> {
    let given = held(lease)
        .col_expr(
            solve_lease::Column::Holder,
            Expr::value(Option::<String>::None),
        )
        .exec(transaction)
        .await?;
    Ok(given.rows_affected == 1)
}

fn held(lease: &Lease) -> sea_orm::UpdateMany<solve_lease::Entity> {
    solve_lease::Entity::update_many()
        .filter(solve_lease::Column::BranchId.eq(lease.branch.as_str()))
        .filter(solve_lease::Column::Scope.eq(lease.scope.as_str()))
        .filter(solve_lease::Column::Fence.eq(lease.fence))
        .filter(solve_lease::Column::Holder.is_not_null())
}

fn lease(branch: &str, scope: &str, fence: i64) -> Lease {
    Lease {
        branch: branch.to_owned(),
        scope: scope.to_owned(),
        fence,
    }
}
