//! A day in which two crews need the only mower, one in the morning and one in the afternoon.

use chrono::{DateTime, TimeDelta, Utc};
use forenoon_desk::problem::DayProblem;
use forenoon_desk::{DayInputs, StoredPlan};
use forenoon_planner::problem::Progress;
use forenoon_store::entity::plan_load_out;
use forenoon_store::value::{DayTimes, Disruptions, PlanChangeKind, TaskKind, Words};

use crate::fixture::inputs;
use crate::planning::planned;
use crate::replan::{begun, proposals};

pub(crate) const MOWER: &str = "walk-21";
const HOUR: i32 = 3_600;

/// Each crew has a lawn that only it may mow, at its own time of day, and something to edge beside.
pub(crate) fn one_mower() -> DayInputs {
    let mut inputs = inputs();
    inputs.units.retain(|unit| unit.id != "ride-60");
    for (worker, skill) in [("ann", "first"), ("cy", "second")] {
        let worker = inputs.workers.iter_mut().find(|known| known.id == worker);
        worker.expect("a worker").skills = Words(vec![skill.to_owned()]);
    }
    let wanted = [
        (TaskKind::Mow, "first", [7, 11]),
        (TaskKind::Edge, "first", [11, 15]),
        (TaskKind::Mow, "second", [12, 16]),
    ];
    for (job, (kind, skill, [open, close])) in inputs.jobs.iter_mut().zip(wanted) {
        job.tasks.0.retain(|task| task.kind == kind);
        job.skills = Words(vec![skill.to_owned()]);
        job.windows.0[0].times = vec![DayTimes {
            start_second_of_day: open * HOUR,
            end_second_of_day: close * HOUR,
        }];
    }
    inputs
}

/// The mower's two spells.
fn spells(stored: &StoredPlan) -> [&plan_load_out::Model; 2] {
    let spells: Vec<_> = stored.spells_of(MOWER).collect();
    spells.try_into().expect("two spells")
}

/// When the first crew puts the mower down, and when the second takes it.
fn handed_on(stored: &StoredPlan) -> [DateTime<Utc>; 2] {
    let [first, second] = spells(stored);
    [first.until_time, second.from_time].map(|time| time.expect("a time"))
}

/// The day gone on with at an instant, after something was reported.
fn at(base: &StoredPlan, at: DateTime<Utc>, report: impl FnOnce(&mut DayInputs)) -> DayInputs {
    let mut inputs = one_mower();
    inputs.base = Some((base.clone(), at));
    report(&mut inputs);
    inputs.take_stock(Disruptions::default());
    inputs
}

/// Which crew has the mower aboard.
pub(crate) fn holder(inputs: &DayInputs) -> Option<String> {
    let day = DayProblem::new(inputs).expect("a problem");
    let mower = day.unit_ids.iter().position(|unit| unit == MOWER);
    let crews = day.crew_ids.iter().zip(day.problem.crews());
    let holders: Vec<String> = crews
        .filter(|(_, crew)| match &crew.progress {
            Progress::UnderWay(way) => way.aboard.iter().any(|unit| Some(unit.ix()) == mower),
            Progress::NotStarted => false,
        })
        .map(|(crew, _)| crew.clone())
        .collect();
    assert!(holders.len() <= 1, "{holders:?}");
    holders.into_iter().next()
}

/// Guards the morning's plan: both lawns are mown with the one mower, and no instant has it with two crews.
#[test]
fn two_crews_have_a_unit_one_after_the_other() {
    let stored = planned(&one_mower(), 2_000);
    assert!(stored.parts.unplanned.is_empty(), "{stored:?}");
    let [first, second] = spells(&stored);
    assert_eq!((first.crew_id.as_str(), first.spell), ("crew-1", 0));
    assert_eq!((second.crew_id.as_str(), second.spell), ("crew-2", 1));
    assert_eq!((first.from_time, second.until_time), (None, None));
    let [put_down, taken] = handed_on(&stored);
    assert!(put_down <= taken);
    for (job, spell) in [("elm-mow", first), ("oak-mow", second)] {
        let stop = stored.stop_of(job).expect("planned");
        assert_eq!(stop.crew_id, spell.crew_id);
        assert!(spell.from_time.is_none_or(|from| from <= stop.start_time));
        assert!(
            spell
                .until_time
                .is_none_or(|until| stop.finish_time <= until)
        );
    }
    assert!(stored.leaves_with("crew-1", MOWER));
    for (crew, others) in [
        ("crew-1", [None, Some("crew-2")]),
        ("crew-2", [Some("crew-1"), None]),
    ] {
        let shared: Vec<_> = stored.shared_of(crew).collect();
        let [shared] = <[_; 1]>::try_from(shared).expect("one unit");
        let crews = [shared.before, shared.after].map(|row| row.map(|row| row.crew_id.as_str()));
        assert_eq!(crews, others);
    }
}

/// Guards the day in motion: who has the mower follows the plan, and a plan that nothing disturbs is gone on with.
#[test]
fn the_unit_goes_from_hand_to_hand_as_the_day_goes_on() {
    let base = planned(&one_mower(), 2_000);
    let [put_down, taken] = handed_on(&base);
    let minute = TimeDelta::minutes(1);
    let mown = base.stop_of("oak-mow").expect("planned").start_time;
    for (instant, expected) in [
        (put_down - minute, Some("crew-1")),
        (taken + minute, Some("crew-2")),
        (mown + minute, Some("crew-2")),
    ] {
        let inputs = at(&base, instant, |_| ());
        assert_eq!(holder(&inputs).as_deref(), expected, "{instant}");
        let best = &proposals(&inputs)[0];
        assert!(best.parts.unplanned.is_empty(), "{best:?}");
        let changes = forenoon_desk::changes::changes(&inputs, &base, best);
        assert!(changes.list.is_empty(), "{instant}: {:?}", changes.list);
    }
}

/// Guards reports against the plan: a crew that is still mowing has not put the mower down, whatever the plan says, and the
/// other is not taken to have it.
#[test]
fn who_is_late_still_has_the_unit() {
    let base = planned(&one_mower(), 2_000);
    let [_, taken] = handed_on(&base);
    let mowing = base.stop_of("elm-mow").expect("planned").clone();
    let inputs = at(&base, taken + TimeDelta::minutes(1), begun(&mowing));
    assert_eq!(holder(&inputs).as_deref(), Some("crew-1"));
    for plan in proposals(&inputs) {
        let [put_down, taken] = match plan.spells_of(MOWER).count() {
            2 => handed_on(&plan),
            _ => continue,
        };
        assert!(put_down <= taken);
    }
}

/// Guards the words of a change: who waits for the unit hears from whom it comes.
#[test]
fn a_unit_that_another_crew_brings_back_is_told_so() {
    let base = planned(&one_mower(), 2_000);
    let mut without = one_mower();
    without.jobs.retain(|job| job.id != "oak-mow");
    let before = planned(&without, 2_000);
    let inputs = one_mower();
    let changes = forenoon_desk::changes::changes(&inputs, &before, &base);
    let loaded: Vec<_> = changes
        .list
        .iter()
        .filter(|change| change.kind == PlanChangeKind::Loaded)
        .filter(|change| change.unit_id.as_deref() == Some(MOWER))
        .collect();
    let [loaded] = <[_; 1]>::try_from(loaded).expect("one change");
    assert_eq!(loaded.to_crew_id.as_deref(), Some("crew-2"));
    let [_, taken] = handed_on(&base);
    let at = inputs.clock.words(taken);
    let words = format!("crew-2 fetches walk-21 from the yard at {at}, where crew-1 puts it down");
    assert_eq!(loaded.text, words);
}
