//! What differs between two plans, in words.

use std::sync::Arc;

use chrono::{DurationRound, TimeDelta};
use forenoon_desk::changes::changes;
use forenoon_desk::facts::facts;
use forenoon_store::value::{Contact, PlanChangeKind, Promise};

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

/// Guards who waits for a meeting: a visit that moves by too little to be worth a call, and past what was promised, is told as
/// a change, and it is phoned who waits and not the site's contact.
#[test]
fn a_promise_that_a_small_delay_breaks_is_told_and_phoned() {
    let mut before = planned(&inputs(), 500);
    let stop = &mut Arc::make_mut(&mut before.parts).stops[0];
    let whole = stop.start_time.duration_trunc(TimeDelta::minutes(1));
    stop.start_time = whole.expect("a minute");
    let stop = stop.clone();
    let waits = Contact {
        display_name: "the gardener".to_owned(),
        phone: "555-0123".to_owned(),
        email: String::new(),
    };
    let told = |minutes: i64, contact: Option<Contact>| {
        let mut inputs = inputs();
        let job = inputs.jobs.iter_mut().find(|job| job.id == stop.job_id);
        job.expect("the job").promise = Some(Promise {
            start_time: stop.start_time - TimeDelta::minutes(5),
            end_time: stop.start_time + TimeDelta::minutes(6),
            before_work: true,
            contact,
        });
        let mut after = before.clone();
        let moved = &mut Arc::make_mut(&mut after.parts).stops[0];
        moved.start_time += TimeDelta::minutes(minutes);
        let words = |at| inputs.clock.words(at);
        let late = format!(
            "there at {}, not by {} as promised",
            words(moved.start_time),
            words(stop.start_time + TimeDelta::minutes(6))
        );
        let changes = changes(&inputs, &before, &after);
        let facts = facts(
            &inputs,
            &before,
            &after,
            (&changes.list, &changes.sites_to_phone),
        );
        (changes.list, facts, late)
    };
    let (list, facts, _) = told(5, Some(waits.clone()));
    assert!(list.is_empty() && facts.calls.is_empty(), "{list:?}");
    assert_eq!(facts.kept_promises, [stop.job_id.as_str()]);
    for minutes in [8, 20] {
        for contact in [None, Some(waits.clone())] {
            let (list, facts, late) = told(minutes, contact.clone());
            assert_eq!(facts.broken_promises, [stop.job_id.as_str()]);
            let [change] = &list[..] else {
                panic!("one change, not {list:?}");
            };
            assert_eq!(
                (change.kind, change.shift_seconds),
                (PlanChangeKind::Time, minutes * 60)
            );
            // From where moves are told on, the promise stands with the other broken ones.
            assert_eq!(change.text.contains(&late), minutes == 8, "{change:?}");
            let [call] = &facts.calls[..] else {
                panic!("one call, not {:?}", facts.calls);
            };
            assert_eq!((&call.site_id, &call.contact), (&stop.site_id, &contact));
            assert_eq!(call.text, late);
        }
    }
    // Too early is not as promised either.
    let (_, facts, _) = told(-8, None);
    assert!(
        facts.calls[0].text.contains(" on as promised"),
        "{:?}",
        facts.calls
    );
}
