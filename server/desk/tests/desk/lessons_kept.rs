//! What crews teach that keep to their sheets: nothing.

use forenoon_desk::lessons::PastVisit;
use forenoon_store::entity::plan_stop;
use forenoon_store::value::{HeatForecast, TaskActual, TaskActuals};

use crate::exposure::weather;
use crate::fixture::{inputs, lessons};
use crate::lessons::{stop_of_two, visit_taking};

/// Sixteen visits of crew 1 that took for each task what the stop says, times something.
fn told(stop: &plan_stop::Model, heat: Option<HeatForecast>, times: i32) -> Vec<PastVisit> {
    let actuals = stop.tasks.0.iter().map(|task| TaskActual {
        task_id: task.task_id.clone(),
        duration_seconds: task.duration_seconds * times,
        unit_ids: task.unit_ids.clone(),
    });
    let actuals: Vec<TaskActual> = actuals.collect();
    (1..=16)
        .map(|week| {
            let mut past = visit_taking(0, week * 7);
            past.visit.task_actuals = TaskActuals(actuals.clone());
            past.heat = heat;
            past
        })
        .collect()
}

fn seconds(stop: &plan_stop::Model) -> Vec<i32> {
    let tasks = stop.tasks.0.iter();
    tasks.map(|task| task.duration_seconds).collect()
}

/// Guards the loop from sheets to sheets: two people who wait for their one mower, and report what the sheet says, are told the
/// same the next time, on cool days and on hot ones; and only what goes beyond the sheet teaches.
#[test]
fn a_crew_that_keeps_to_its_sheet_teaches_nothing() {
    let mut inputs = inputs();
    let cool = stop_of_two(&inputs);
    // 103 F in the air: moderate work rests half of each hour.
    let heat = Some(weather(35.555_555_555_6, 30.0));
    inputs.heat = heat;
    let hot = stop_of_two(&inputs);
    assert!(seconds(&hot).iter().sum::<i32>() > seconds(&cool).iter().sum::<i32>() * 3 / 2);
    for (lived, weather) in [(&cool, None), (&hot, heat)] {
        inputs.lessons = lessons(&inputs, &told(lived, weather, 1));
        for (heat, before) in [(None, &cool), (heat, &hot)] {
            inputs.heat = heat;
            let after = stop_of_two(&inputs);
            for (before, after) in seconds(before).iter().zip(seconds(&after)) {
                // Seconds are whole, and a pace is in whole thousandths.
                assert!(before.abs_diff(after) <= 2 + before.unsigned_abs() / 500);
            }
        }
        inputs.heat = None;
        inputs.lessons = lessons(&inputs, &told(lived, weather, 2));
        let after: i32 = seconds(&stop_of_two(&inputs)).iter().sum();
        let before: i32 = seconds(&cool).iter().sum();
        assert!(
            after > before * 3 / 2 && after <= before * 2 + 20,
            "{before} {after}"
        );
    }
}
