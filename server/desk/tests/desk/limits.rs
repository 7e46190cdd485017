//! Records at the limits of what can be planned: each is told of by itself, and the rest of the day is planned.

use chrono::TimeDelta;
use forenoon_desk::problem::{DayProblem, NoProblem};
use forenoon_desk::reasons::reasons;
use forenoon_desk::{DayInputs, Record};
use forenoon_planner::Cancel;
use forenoon_planner::problem::limits::CREW_SIZE_MAX;
use forenoon_store::entity::unit;
use forenoon_store::value::{Absence, Absences, Task};

use crate::fixture::{inputs, worker};
use crate::planning::searched;

/// The jobs that are left out of the day with the words why.
fn left_out(inputs: &DayInputs) -> Vec<(String, String)> {
    let day = DayProblem::new(inputs).expect("a problem");
    let plan = searched(&day, 500);
    let told = reasons(inputs, &day, &plan, &Cancel::new());
    let words = told.into_iter().map(|reasons| {
        let texts: Vec<String> = reasons.0.into_iter().map(|reason| reason.text).collect();
        texts.join("; ")
    });
    let jobs = plan.unplanned.iter().map(|job| day.job_id(*job).to_owned());
    jobs.zip(words).collect()
}

/// Guards the day against one lawn too large for a mower of the fleet: it is left out with the reason, the rest is
/// planned.
#[test]
fn a_task_of_days_leaves_the_others_their_day() {
    let mut inputs = inputs();
    let lawn = &mut inputs.sites.get_mut("elm").unwrap().areas.0[0];
    lawn.surface_square_metres = Some(1.0e6);
    let told = left_out(&inputs);
    assert_eq!(told.len(), 1, "{told:?}");
    assert_eq!(told[0].0, "elm-mow");
    assert!(told[0].1.contains("longer than 36 h"), "{told:?}");
}

/// Guards large lawns: where the small mower takes too long for one, the large one does it.
#[test]
fn a_mower_too_slow_for_a_lawn_is_no_tool_for_it() {
    let mut inputs = inputs();
    let lawn = &mut inputs.sites.get_mut("elm").unwrap().areas.0[0];
    lawn.surface_square_metres = Some(60_000.0);
    let day = DayProblem::new(&inputs).expect("a problem");
    let mowing = &day.problem.jobs()[0].tasks;
    let choices = |task| {
        day.problem
            .tool_choices(forenoon_planner::JobIx(0), task, 1)
    };
    assert!((0..mowing.len()).all(|task| !choices(task).is_empty()));
}

/// Guards the day against a longitude without its sign: nobody gets there, and the other jobs are planned.
#[test]
fn a_site_on_the_other_side_of_the_earth_is_out_of_reach() {
    let mut inputs = inputs();
    let site = inputs.sites.get_mut("elm").unwrap();
    site.longitude = -site.longitude;
    let told = left_out(&inputs);
    assert_eq!(told.len(), 1, "{told:?}");
    assert_eq!(told[0].0, "elm-mow");
    assert!(!told[0].1.is_empty());
}

/// Guards the same for a crew's base: the other crew does the work.
#[test]
fn a_base_on_the_other_side_of_the_earth_keeps_its_own_crew_in() {
    let mut inputs = inputs();
    let crew = &mut inputs.crews[1];
    (crew.base_latitude, crew.base_longitude) = (Some(41.6), Some(93.6));
    assert_eq!(left_out(&inputs), []);
}

/// Guards large crews: they are planned as the largest that the planner takes.
#[test]
fn a_crew_of_thirteen_is_planned() {
    let mut inputs = inputs();
    for one in 0..12 {
        inputs.workers.push(worker(&format!("w-{one}"), "crew-1"));
    }
    assert_eq!(left_out(&inputs), []);
    let day = DayProblem::new(&inputs).expect("a problem");
    assert_eq!(day.problem.crews()[0].size, CREW_SIZE_MAX);
}

/// Guards a vehicle that goes away at the very end of its crew's shift: the crew has it all day.
#[test]
fn a_vehicle_away_from_the_end_of_the_shift_takes_its_crew_out() {
    let away = |before_the_end: i64| {
        let mut inputs = inputs();
        let end = inputs.clock.instant(15 * 3_600 + 1_800 - before_the_end);
        let truck = inputs.units.iter_mut().find(|unit| unit.id == "truck-2");
        truck.unwrap().absences = Absences(vec![Absence {
            start_time: end,
            end_time: end + TimeDelta::hours(3),
            reason: "service".to_owned(),
        }]);
        DayProblem::new(&inputs).expect("a problem").staying.len()
    };
    assert_eq!((away(0), away(60)), (0, 1));
}

/// Guards jobs of many tasks: they are planned like others.
#[test]
fn a_job_of_a_hundred_tasks_is_planned() {
    let mut inputs = inputs();
    for (id, crew) in [("dee", "crew-2"), ("eve", "crew-2")] {
        inputs.workers.push(worker(id, crew));
    }
    let tasks = &mut inputs.jobs[0].tasks.0;
    let blow = tasks.last().unwrap().clone();
    for one in tasks.len()..100 {
        tasks.push(Task {
            task_id: format!("blow-{one}"),
            agreed_minutes: Some(1.0),
            ..blow.clone()
        });
    }
    assert_eq!(left_out(&inputs), []);
}

/// Guards the day against amounts with digits too many: a wage, the price of a machine.
#[test]
fn a_slip_of_the_pen_in_an_amount_costs_no_day() {
    let mut inputs = inputs();
    inputs.workers[0].cost_per_hour_minor = Some(100_000_000_000);
    inputs.units[4].purchase_price_minor = Some(90_000_000_000_000);
    let told = left_out(&inputs);
    assert!(told.len() < inputs.jobs.len(), "{told:?}");
}

/// Guards crews with many certificates among their people.
#[test]
fn seventy_skills_in_a_crew_are_not_too_many() {
    let mut inputs = inputs();
    inputs.workers[0].skills.0 = (0..70).map(|one| format!("skill-{one}")).collect();
    assert_eq!(left_out(&inputs), []);
}

/// The day in a currency with so many times the figures.
fn dearer(times: i64) -> DayInputs {
    let mut inputs = inputs();
    let labour = &mut inputs.branch.price.labour_per_hour_minor;
    *labour = labour.map(|labour| labour * times);
    // One job is late when it is left, one can wait, and one must not be missed.
    inputs.jobs[0].deadline = Some(inputs.clock.instant(12 * 3_600));
    inputs.jobs[1].priority = 1;
    inputs.jobs[2].priority = 5;
    inputs
}

/// Guards branches in currencies with large figures: the same work is worth doing there, and where figures are usual
/// nothing is scaled.
#[test]
fn the_currency_does_not_tell_what_is_worth_doing() {
    let penalties = |inputs: &DayInputs| -> Vec<i64> {
        let day = DayProblem::new(inputs).expect("a problem");
        day.problem.jobs().iter().map(|job| job.penalty).collect()
    };
    let usual = penalties(&dearer(1));
    assert_eq!(penalties(&dearer(2)), usual, "48.00 an hour is usual still");
    for times in [10, 100, 1_000] {
        let dear = dearer(times);
        assert_eq!(left_out(&dear), [], "{times}");
        let scaled = penalties(&dear);
        let ratio = scaled[1] / usual[1];
        assert!((times * 7 / 10..=times).contains(&ratio), "{ratio}");
    }
    let mut by_wages = dearer(10);
    for worker in &mut by_wages.workers {
        worker.cost_per_hour_minor = Some(24_000);
    }
    by_wages.branch.price.labour_per_hour_minor = None;
    assert_eq!(penalties(&by_wages), penalties(&dearer(10)));
}

/// Guards what is left beyond the planner's limits: the record is named.
#[test]
fn a_day_that_cannot_be_planned_names_the_record() {
    let mut inputs = inputs();
    inputs.jobs[1].tasks.0 = vec![inputs.jobs[1].tasks.0[0].clone(); 2_001];
    let Err(NoProblem::Refused(refusals)) = DayProblem::new(&inputs) else {
        panic!("2,001 tasks are too many");
    };
    assert_eq!(refusals.len(), 1);
    assert_eq!(refusals[0].record, Record::Job("fir-mow".to_owned()));
    assert!(refusals[0].words.contains("2001 tasks"), "{refusals:?}");
}

/// Guards the words for a fleet of more kinds of units than can be planned with.
#[test]
fn a_fleet_of_too_many_kinds_is_told_of() {
    let mut inputs = inputs();
    let mower = inputs.units[3].clone();
    inputs.units.extend((0..260).map(|one| unit::Model {
        id: format!("walk-{one}"),
        cutting_width_millimetres: Some(400.0 + f64::from(one)),
        ..mower.clone()
    }));
    let Err(NoProblem::Refused(refusals)) = DayProblem::new(&inputs) else {
        panic!("260 kinds are too many");
    };
    assert_eq!(refusals[0].record, Record::Branch);
    assert!(refusals[0].words.contains("kinds of units"), "{refusals:?}");
}
