//! Crew sheets in words.

use forenoon_desk::sheets::stop_words;
use forenoon_store::entity::plan_stop;
use forenoon_store::value::{Clippings, Contact, PlannedTask, PlannedTasks, Promise, TaskKind};

use crate::fixture::{inputs, job};

/// Guards what a crew lead must not miss: whom to meet and when on the wall clock, where clippings go, until when, the
/// slope, and the work in words.
#[test]
fn a_stop_tells_all_that_a_crew_must_know() {
    let mut inputs = inputs();
    let at = |hours: i64| inputs.clock.instant(hours * 3_600);
    let mut job = job("elm-mow", "elm");
    job.promise = Some(Promise {
        start_time: at(9),
        end_time: at(10),
        before_work: true,
        contact: Some(Contact {
            display_name: "Rae Tolliver".to_owned(),
            phone: "555-0114".to_owned(),
            email: String::new(),
        }),
    });
    job.deadline = Some(at(17));
    job.deadline_source = "county notice".to_owned();
    let stop = plan_stop::Model {
        branch_id: "north".to_owned(),
        plan_id: "p".to_owned(),
        job_id: job.id.clone(),
        crew_id: "crew-1".to_owned(),
        position: 0,
        site_id: "elm".to_owned(),
        site_display_name: "elm place".to_owned(),
        arrive_time: at(9),
        start_time: at(9),
        finish_time: at(10),
        drive_seconds: 0,
        slack_seconds: 0,
        tasks: PlannedTasks(vec![
            task("t1", TaskKind::Edge, "drive", &["edger-1", "power-1"], 610),
            task("t2", TaskKind::Mow, "lawn", &["walk-21"], 20),
        ]),
        fixed: false,
    };
    let site = inputs.sites.get_mut("elm").expect("the site");
    site.clippings = Clippings::CustomerHeap;
    site.clippings_note = "heap behind the shed".to_owned();
    site.areas.0[0].slope_percent = 18.0;
    let site = site.clone();
    let words = stop_words(&inputs, &stop, &job, &site);
    assert_eq!(
        words.work_lines,
        [
            "Edge drive with edger-1 on power-1, 10 min",
            "Mow lawn with walk-21, 1 min"
        ]
    );
    assert_eq!(
        words.meeting,
        "Rae Tolliver (555-0114) between 09:00 and 10:00, before the work"
    );
    assert_eq!(
        words.clippings,
        "collect; they stay at the customer's heap; heap behind the shed"
    );
    assert_eq!(words.deadline, "done by Tue 20 Apr 17:00 (county notice)");
    assert!(
        words.cautions.iter().any(|line| line.contains("18 %")),
        "{:?}",
        words.cautions
    );
}

fn task(id: &str, kind: TaskKind, area: &str, units: &[&str], seconds: i32) -> PlannedTask {
    PlannedTask {
        task_id: id.to_owned(),
        kind,
        area_id: Some(area.to_owned()),
        unit_ids: units.iter().map(|unit| (*unit).to_owned()).collect(),
        duration_seconds: seconds,
        running_seconds: 0,
    }
}
