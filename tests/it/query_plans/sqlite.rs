//! What SQLite tells of how it goes about statements.

/// The table that a step reads from end to end.
pub(super) fn scanned(step: &str) -> Option<&str> {
    // Rows that the statement brings along are no table.
    let brought = step.contains("VALUES CLAUSE") || step.contains("CONSTANT ROW");
    let table = step.strip_prefix("SCAN ")?.split(' ').next()?;
    Some(table).filter(|_| !brought)
}

/// The table, with its index, of which a step goes through all rows of the branch, though the statement asks for some of them.
pub(super) fn gone_through<'a>(step: &'a str, statement: &str) -> Option<(&'a str, &'a str)> {
    let (table, by) = step.strip_prefix("SEARCH ")?.split_once(" USING ")?;
    let (by, _) = by.split_once(" (branch_id=?)")?;
    let index = by.rsplit(' ').next()?;
    asks_for_some(statement).then_some((table, index))
}

/// Whether a statement has a condition beside that of the branch.
fn asks_for_some(statement: &str) -> bool {
    let Some((_, conditions)) = statement.split_once(" WHERE ") else {
        return false;
    };
    let end = [" ORDER BY ", " LIMIT ", " RETURNING ", " GROUP BY "]
        .iter()
        .filter_map(|word| conditions.find(word))
        .min();
    let conditions = end.map_or(conditions, |end| &conditions[..end]);
    !conditions
        .split(" AND ")
        // A value beside a value asks for all or for nothing: it stands where a list is empty.
        .all(|one| one.contains("\"branch_id\" = $") || one.starts_with('$'))
}

#[test]
fn a_search_by_the_branch_alone_is_seen() {
    let some = "SELECT \"id\" FROM \"visit\" WHERE \"visit\".\"branch_id\" = $1 AND \"visit\".\"plan_id\" = $2 LIMIT $3";
    let all = "SELECT \"id\" FROM \"visit\" WHERE \"visit\".\"branch_id\" = $1 ORDER BY \"visit\".\"id\" ASC";
    let broad = "SEARCH visit USING COVERING INDEX visit_attempt_pkey (branch_id=?)";
    let narrow = "SEARCH visit USING INDEX visit_plan_id_idx (branch_id=? AND plan_id=?)";
    assert_eq!(
        gone_through(broad, some),
        Some(("visit", "visit_attempt_pkey"))
    );
    assert_eq!(gone_through(broad, all), None);
    assert_eq!(gone_through(narrow, some), None);
}
