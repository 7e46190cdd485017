//! Work on the whole site: the worst of its ground decides which machine may do it.

use forenoon_desk::DayInputs;
use forenoon_desk::sheets::stop_words;
use forenoon_store::value::{Capability, Task, TaskKind};

use crate::exposure::estimated;
use crate::fixture::inputs;
use crate::planning::planned;

/// Iterations in which each day here is planned.
const ITERATIONS: u64 = 400;

fn mow_everywhere() -> Task {
    Task {
        task_id: "t1".to_owned(),
        kind: TaskKind::Mow,
        area_id: None,
        capabilities: vec![Capability::Mower],
        passes: 1,
        agreed_minutes: None,
        composed: false,
    }
}

/// A day with one job: to mow the whole site.
fn one_job() -> DayInputs {
    let mut inputs = inputs();
    inputs.jobs.truncate(1);
    inputs.jobs[0].tasks.0 = vec![mow_everywhere()];
    let walk = inputs.units.iter_mut().find(|unit| unit.id == "walk-21");
    walk.expect("the walk-behind mower").max_slope_percent = 45.0;
    inputs
}

/// The mower that the plan sends, with what estimate and plan say of the minutes.
fn sent(inputs: &DayInputs) -> String {
    let stored = planned(inputs, ITERATIONS);
    let stop = stored.stop_of("elm-mow").expect("a stop");
    let mow = stop.tasks.0.iter().find(|task| task.kind == TaskKind::Mow);
    let mow = mow.expect("mowing");
    let answer = estimated(inputs, &stored, "elm-mow");
    let of_estimate = answer.tasks.iter().find(|one| one.task.task_id == "t1");
    let of_estimate = of_estimate.expect("mowing");
    assert_eq!(of_estimate.unit_ids, mow.unit_ids);
    // The task with its wait for the one mower.
    let seconds = answer.planned_minutes * 60.0;
    assert!((seconds - f64::from(mow.duration_seconds)).abs() <= 1.0);
    mow.unit_ids[0].clone()
}

/// Guards people on slopes, and crews before gates: a ride-on mower limited to 25 % is not sent where one area is steeper,
/// nor where one lies behind a gate it does not pass; and the estimate says the same.
#[test]
fn the_steepest_slope_and_the_narrowest_gate_choose_the_mower() {
    assert_eq!(sent(&one_job()), "ride-60");
    let mut steep = one_job();
    let site = steep.sites.get_mut("elm").expect("the site");
    site.areas.0[0].slope_percent = 40.0;
    assert_eq!(sent(&steep), "walk-21");
    let mut gated = one_job();
    let site = gated.sites.get_mut("elm").expect("the site");
    site.areas.0[0].narrowest_gate_millimetres = Some(914.4);
    assert_eq!(sent(&gated), "walk-21");
    // A job that is for another area has nothing to do with the slope.
    steep.jobs[0].area_ids.0 = vec!["drive".to_owned()];
    assert_eq!(sent(&steep), "ride-60");
}

/// Guards the same for what the rules compose for the whole site: a blower that may not go on the slope blows nothing off.
#[test]
fn what_the_rules_compose_keeps_off_slopes_too() {
    let mut inputs = inputs();
    inputs.jobs.truncate(1);
    let blower = inputs.units.iter_mut().find(|unit| unit.id == "blower-1");
    blower.expect("the blower").max_slope_percent = 10.0;
    let blown = |inputs: &DayInputs| {
        let stored = planned(inputs, ITERATIONS);
        stored.stop_of("elm-mow").is_some()
    };
    assert!(blown(&inputs));
    let site = inputs.sites.get_mut("elm").expect("the site");
    site.areas.0[0].slope_percent = 18.0;
    assert!(!blown(&inputs));
}

/// Guards the sheet: work on the whole site has the caution of its steepest area.
#[test]
fn the_sheet_tells_the_steepest_slope() {
    let mut inputs = one_job();
    let site = inputs.sites.get_mut("elm").expect("the site");
    site.areas.0[0].slope_percent = 40.0;
    let stored = planned(&inputs, ITERATIONS);
    let stop = stored.stop_of("elm-mow").expect("a stop");
    let words = stop_words(&inputs, stop, &inputs.jobs[0], &inputs.sites["elm"]);
    assert!(
        words.cautions.iter().any(|line| line.contains("40 %")),
        "{:?}",
        words.cautions
    );
    let answer = estimated(&inputs, &stored, "elm-mow");
    assert!(answer.cautions.iter().any(|line| line.contains("40 %")));
}

/// Guards brush that a mower cuts: one with a blade head for it is sent where its slope and width let it, and nowhere else.
#[test]
fn a_mower_that_cuts_brush_cuts_it_where_it_may_go() {
    let mut inputs = one_job();
    inputs.jobs[0].tasks.0[0] = Task {
        kind: TaskKind::CutBrush,
        capabilities: vec![Capability::BladeHead],
        ..mow_everywhere()
    };
    let ride = inputs.units.iter_mut().find(|unit| unit.id == "ride-60");
    let ride = ride.expect("the ride-on mower");
    ride.capabilities.0.push(Capability::BladeHead);
    let with = |inputs: &DayInputs| {
        let stored = planned(inputs, ITERATIONS);
        let stop = stored.stop_of("elm-mow")?;
        let answer = estimated(inputs, &stored, "elm-mow");
        assert_eq!(answer.tasks[0].unit_ids, stop.tasks.0[0].unit_ids);
        Some(stop.tasks.0[0].unit_ids.concat())
    };
    assert_eq!(with(&inputs).as_deref(), Some("ride-60"));
    let lawn = |inputs: &mut DayInputs, edit: fn(&mut forenoon_store::value::Area)| {
        edit(&mut inputs.sites.get_mut("elm").expect("the site").areas.0[0]);
    };
    let mut steep = inputs.clone();
    lawn(&mut steep, |lawn| lawn.slope_percent = 40.0);
    assert_eq!(with(&steep), None);
    let mut gated = inputs;
    lawn(&mut gated, |lawn| {
        lawn.narrowest_gate_millimetres = Some(914.4);
    });
    assert_eq!(with(&gated), None);
}
