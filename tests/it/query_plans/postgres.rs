//! What PostgreSQL tells of how it goes about statements.

use serde_json::Value;

/// Each statement of the log with its plan.
pub(super) fn told(log: &str) -> Vec<(String, Value)> {
    let mut found = Vec::new();
    let mut lines = log.lines().peekable();
    while let Some(line) = lines.next() {
        if !line.ends_with(" plan:") {
            continue;
        }
        let mut text = String::new();
        while let Some(line) = lines.next_if(|line| line.starts_with('\t')) {
            text.push_str(line);
            text.push('\n');
        }
        let plan: Value = serde_json::from_str(&text).expect("a plan as JSON");
        let statement = plan["Query Text"].as_str().unwrap_or_default().to_owned();
        found.push((statement, plan));
    }
    found
}

/// The tables that a plan reads from end to end.
pub(super) fn scanned(plan: &Value, tell: &mut impl FnMut(&str)) {
    nodes(plan, None, &mut |node, _| {
        if text(node, "Node Type") == "Seq Scan" {
            tell(text(node, "Relation Name"));
        }
    });
}

/// The tables, with their indexes, of which a plan goes through all rows of the branch, or through all rows, and throws away
/// what it was not asked for.
pub(super) fn gone_through(plan: &Value, tell: &mut impl FnMut(&str, &str)) {
    nodes(plan, None, &mut |node, heap| {
        let kind = text(node, "Node Type");
        if !matches!(kind, "Index Scan" | "Index Only Scan" | "Bitmap Index Scan") {
            return;
        }
        // A bitmap is of the index alone; the rows it leads to are the node above.
        let of_rows = heap.filter(|_| kind == "Bitmap Index Scan").unwrap_or(node);
        let condition = text(node, "Index Cond");
        let of_branch_at_most = condition.is_empty()
            || (condition.contains("branch_id") && !condition.contains(" AND "));
        if of_branch_at_most && !text(of_rows, "Filter").is_empty() {
            tell(text(of_rows, "Relation Name"), text(node, "Index Name"));
        }
    });
}

/// Goes through a plan, each node with the one above it.
fn nodes<'a>(
    plan: &'a Value,
    above: Option<&'a Value>,
    see: &mut impl FnMut(&'a Value, Option<&'a Value>),
) {
    match plan {
        Value::Object(fields) => {
            let is_node = fields.contains_key("Node Type");
            if is_node {
                see(plan, above);
            }
            let above = if is_node { Some(plan) } else { above };
            for field in fields.values() {
                nodes(field, above, see);
            }
        }
        Value::Array(items) => items.iter().for_each(|item| nodes(item, above, see)),
        _ => {}
    }
}

/// A field's words; none where it is not there.
fn text<'a>(node: &'a Value, field: &str) -> &'a str {
    node[field].as_str().unwrap_or_default()
}

#[test]
fn a_scan_deep_in_a_plan_is_seen() {
    let log = "2035-04-17 LOG:  duration: 0.1 ms  plan:\n\t{\n\t  \"Query Text\": \"SELECT 1\",\n\t  \
               \"Plan\": {\"Node Type\": \"Limit\", \"Plans\": [{\"Node Type\": \"Seq Scan\", \
               \"Relation Name\": \"job\"}]}\n\t}\n2035-04-17 LOG:  done\n";
    let plans = told(log);
    assert_eq!(plans.len(), 1);
    let mut tables = Vec::new();
    scanned(&plans[0].1, &mut |table| tables.push(table.to_owned()));
    assert_eq!(
        (plans[0].0.as_str(), tables.as_slice()),
        ("SELECT 1", ["job".to_owned()].as_slice())
    );
}

#[test]
fn rows_of_the_branch_thrown_away_are_seen() {
    let visits = |condition: &str, filter: Option<&str>| {
        let mut heap = serde_json::json!({
            "Node Type": "Bitmap Heap Scan", "Relation Name": "visit",
            "Plans": [{"Node Type": "Bitmap Index Scan", "Index Name": "key", "Index Cond": condition}],
        });
        if let Some(filter) = filter {
            heap["Filter"] = filter.into();
        }
        let mut seen = Vec::new();
        let plan = serde_json::json!([{ "Plan": heap }]);
        gone_through(&plan, &mut |table, index| {
            seen.push(format!("{table} by {index}"));
        });
        seen
    };
    let of_branch = "(branch_id = $1)";
    let thrown_away = visits(of_branch, Some("(plan_id = $2)"));
    assert_eq!(thrown_away, ["visit by key"]);
    assert!(visits(of_branch, None).is_empty());
    let narrow = "((branch_id = $1) AND (plan_id = $2))";
    assert!(visits(narrow, Some("(crew_id = $3)")).is_empty());
}
