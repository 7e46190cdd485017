//! What differs between two plans, in words.

use std::sync::Arc;

use chrono::TimeDelta;
use forenoon_desk::changes::changes;
use forenoon_store::value::PlanChangeKind;

use crate::fixture::inputs;
use crate::planning::planned;

/// Guards silence: a plan compared with itself changes nothing and phones nobody.
#[test]
fn nothing_differs_from_itself() {
    let plan = planned(&inputs(), 500);
    let changes = changes(&inputs(), &plan, &plan);
    assert!(
        changes.list.is_empty() && changes.sites_to_phone.is_empty(),
        "{changes:?}"
    );
}

/// Guards each kind of change with its customers: one job later, one dropped, the gravest first.
#[test]
fn a_later_start_and_a_dropped_job_are_told() {
    let before = planned(&inputs(), 500);
    let mut after = before.clone();
    let dropped = Arc::make_mut(&mut after.parts).stops.pop().expect("a stop");
    for (minutes, phoned) in [(5, false), (20, false), (45, true)] {
        let mut after = after.clone();
        let late = &mut Arc::make_mut(&mut after.parts).stops[0];
        late.start_time += TimeDelta::minutes(minutes);
        let site = late.site_id.clone();
        let changes = changes(&inputs(), &before, &after);
        assert_eq!(changes.list[0].kind, PlanChangeKind::Dropped);
        assert_eq!(
            changes.list[0].job_id.as_deref(),
            Some(dropped.job_id.as_str())
        );
        let told = changes
            .list
            .iter()
            .find(|change| change.kind == PlanChangeKind::Time);
        assert_eq!(
            told.map(|change| change.shift_seconds),
            (minutes > 10).then_some(minutes * 60)
        );
        assert_eq!(
            changes.sites_to_phone.contains(&site),
            phoned,
            "{minutes} min"
        );
        assert!(changes.sites_to_phone.contains(&dropped.site_id));
    }
}
