//! Stores many rows of one kind.

use sea_orm::{DatabaseTransaction, DbErr, EntityTrait, IntoActiveModel, ModelTrait};

/// Most rows of one statement, a power of two.
const ROWS_PER_STATEMENT_MAX: usize = 64;

/// Stores new rows of one kind.
///
/// # Errors
/// Those of the database.
pub async fn insert_all<'r, M>(
    transaction: &DatabaseTransaction,
    rows: impl IntoIterator<Item = &'r M>,
) -> Result<(), DbErr>
where
    M: 'r + ModelTrait + Clone + IntoActiveModel<<M::Entity as EntityTrait>::ActiveModel>,
    <M::Entity as EntityTrait>::ActiveModel: Send,
{
    let rows: Vec<&M> = rows.into_iter().collect();
    for rows in in_powers_of_two(&rows) {
        M::Entity::insert_many(rows.iter().map(|&row| row.clone().into_active_model()))
            .exec_without_returning(transaction)
            .await?;
    }
    Ok(())
}

/// Rows in parts of few lengths: a database keeps a statement prepared by its words, which the number of rows is part of.
fn in_powers_of_two<T>(mut rows: &[T]) -> impl Iterator<Item = &[T]> {
    std::iter::from_fn(move || {
        let count = rows.len().min(ROWS_PER_STATEMENT_MAX).checked_ilog2()?;
        let (part, rest) = rows.split_at(1 << count);
        rows = rest;
        Some(part)
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn parts_are_powers_of_two_and_come_to_the_whole() {
        for count in [0, 1, 63, 64, 65, 300] {
            let rows: Vec<usize> = (0..count).collect();
            let parts: Vec<_> = in_powers_of_two(&rows).collect();
            assert_eq!(parts.concat(), rows);
            assert!(parts.iter().all(|part| part.len().is_power_of_two()));
            assert!(parts.len() <= count / ROWS_PER_STATEMENT_MAX + 6);
        }
    }
}
