//! Two crews far from the yard need the only mower, one after the other, and may meet on the road.

use chrono::{DateTime, TimeDelta, Utc};
use forenoon_desk::{DayInputs, StoredPlan};
use forenoon_store::value::{Disruptions, YardStop};

use crate::planning::planned;
use crate::replan::{begun, proposals};
use crate::shared_units::{MOWER, holder, one_mower};

/// The same two crews and lawns, a long drive from the yard.
fn far_out() -> DayInputs {
    let mut inputs = one_mower();
    inputs.branch.yard_latitude -= 0.25;
    inputs.meetings = true;
    inputs
}

/// The meeting in the giver's day and in the taker's.
fn meeting(stored: &StoredPlan) -> [&YardStop; 2] {
    let of = |crew| {
        let calls: Vec<_> = stored.calls_of(crew).collect();
        let [call] = <[_; 1]>::try_from(calls).expect("one call");
        call
    };
    [of("crew-1"), of("crew-2")]
}

/// The day gone on with at an instant, after something was reported.
fn at(base: &StoredPlan, at: DateTime<Utc>, report: impl FnOnce(&mut DayInputs)) -> DayInputs {
    let mut inputs = DayInputs {
        meetings: false,
        ..far_out()
    };
    inputs.base = Some((base.clone(), at));
    report(&mut inputs);
    inputs.take_stock(Disruptions::default());
    inputs
}

/// Guards the morning's plan: nobody drives to the yard for the mower, both days tell of the meeting alike, and the mower's
/// spells end and begin with it. Who may not meet does not.
#[test]
fn crews_meet_where_the_yard_is_far() {
    let stored = planned(&far_out(), 3_000);
    assert!(stored.parts.unplanned.is_empty(), "{stored:?}");
    let [given, taken] = meeting(&stored);
    assert_eq!(given.with_crew_id.as_deref(), Some("crew-2"));
    assert_eq!(taken.with_crew_id.as_deref(), Some("crew-1"));
    assert_eq!((&given.unload, &taken.load), (&taken.load, &given.unload));
    assert!(given.unload.iter().any(|unit| unit == MOWER));
    assert!(given.load.is_empty() && taken.unload.is_empty());
    assert_eq!(
        (given.begins(), given.leave_time, &given.site_id),
        (taken.begins(), taken.leave_time, &taken.site_id)
    );
    let spells: Vec<_> = stored.spells_of(MOWER).collect();
    let [first, second] = <[_; 2]>::try_from(spells).expect("two spells");
    assert_eq!(
        (first.until_time, second.from_time),
        (Some(given.leave_time), Some(given.leave_time))
    );
    let apart = DayInputs {
        meetings: false,
        ..far_out()
    };
    let apart = planned(&apart, 3_000);
    let alone = |call: &YardStop| call.with_crew_id.is_none();
    assert!(apart.calls().all(|(_, call)| alone(call)));
}

/// Guards the day in motion: a meeting that nothing disturbs is kept, before and while it goes on; after it the mower is with
/// the other crew.
#[test]
fn a_meeting_is_kept_until_it_is_over() {
    let base = planned(&far_out(), 3_000);
    let [call, _] = meeting(&base);
    let (begins, over) = (call.begins(), call.leave_time);
    let minute = TimeDelta::minutes(1);
    for (instant, expected) in [
        (begins - minute, "crew-1"),
        (begins + minute, "crew-1"),
        (over + minute, "crew-2"),
    ] {
        let inputs = at(&base, instant, |_| ());
        assert_eq!(holder(&inputs).as_deref(), Some(expected), "{instant}");
        let best = &proposals(&inputs)[0];
        assert!(best.parts.unplanned.is_empty(), "{instant}: {best:?}");
        let facts = best.plan.proposal.as_ref().expect("a proposal");
        assert!(!facts.title.contains("meets"), "{}", facts.title);
    }
}

/// Guards who waits for whom: a crew that is still mowing when it was to be met is met later.
#[test]
fn a_late_crew_is_met_later() {
    let base = planned(&far_out(), 3_000);
    let [call, _] = meeting(&base);
    let mowing = base.stop_of("elm-mow").expect("planned").clone();
    let inputs = at(
        &base,
        call.leave_time + TimeDelta::minutes(1),
        begun(&mowing),
    );
    assert_eq!(holder(&inputs).as_deref(), Some("crew-1"));
    let best = &proposals(&inputs)[0];
    assert!(best.parts.unplanned.is_empty(), "{best:?}");
    let [later, _] = meeting(best);
    assert!(later.begins() > call.begins());
    assert!(later.unload.iter().any(|unit| unit == MOWER));
}
