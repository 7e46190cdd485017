//! What holds in a database whatever happened to its servers: each command whole, and numbered without gap or repeat.

use crate::database::Database;

/// Rules of the records that every command leaves, each with a query that counts what breaks it.
const RULES: [(&str, &str); 7] = [
    (
        "a branch has numbers",
        "SELECT count(*) FROM (SELECT count(*) AS branches FROM branch_sequence) n WHERE n.branches = 0",
    ),
    (
        "audit numbers run from 1 to the branch's last",
        "SELECT count(*) FROM branch_sequence s WHERE \
         s.last_seq <> (SELECT count(*) FROM audit_entry a WHERE a.branch_id = s.branch_id) \
         OR s.last_seq <> (SELECT count(DISTINCT a.seq) FROM audit_entry a \
         WHERE a.branch_id = s.branch_id AND a.seq BETWEEN 1 AND s.last_seq)",
    ),
    (
        "event numbers run from 1 to the branch's last",
        "SELECT count(*) FROM branch_sequence s WHERE \
         s.last_seq <> (SELECT count(*) FROM outbox_event e WHERE e.branch_id = s.branch_id) \
         OR s.last_seq <> (SELECT count(DISTINCT e.seq) FROM outbox_event e \
         WHERE e.branch_id = s.branch_id AND e.seq BETWEEN 1 AND s.last_seq)",
    ),
    (
        "each audit entry is of a branch with numbers",
        "SELECT count(*) FROM audit_entry a WHERE NOT EXISTS \
         (SELECT 1 FROM branch_sequence s WHERE s.branch_id = a.branch_id)",
    ),
    (
        "each audit entry has its event",
        "SELECT count(*) FROM audit_entry a LEFT JOIN outbox_event e \
         ON e.branch_id = a.branch_id AND e.seq = a.seq AND e.kind = a.kind AND e.subject = a.subject \
         WHERE e.seq IS NULL",
    ),
    (
        "each audit entry with a request has its answer",
        "SELECT count(*) FROM audit_entry a WHERE a.request_id IS NOT NULL AND NOT EXISTS \
         (SELECT 1 FROM command_answer c WHERE c.request_id = a.request_id)",
    ),
    (
        "no command changed one thing twice",
        "SELECT count(*) FROM (SELECT request_id FROM audit_entry WHERE request_id IS NOT NULL \
         GROUP BY request_id, subject, kind HAVING count(*) > 1) twice",
    ),
];

/// The rules that are broken; none in a sound database.
pub async fn broken(database: &Database) -> Vec<&'static str> {
    let mut broken = Vec::new();
    for (rule, query) in RULES {
        if database.number(query).await != 0 {
            broken.push(rule);
        }
    }
    broken
}

/// Each command is there whole or not at all, and no number is left out or given twice. `when` is told where it is not so.
pub async fn commands_are_whole(database: &Database, when: &str) {
    let broken = broken(database).await;
    assert!(broken.is_empty(), "{when}: not so that {broken:?}");
}
