//! From records to a planning problem, and its answer back.

use chrono::{NaiveDate, TimeDelta};
use forenoon_desk::StaysIn;
use forenoon_desk::drives::{Drives, PlaceName};
use forenoon_desk::inputs::DayInputs;
use forenoon_desk::problem::DayProblem;
use forenoon_desk::reasons::reasons;
use forenoon_planner::{Cancel, Plan};
use forenoon_store::value::{
    Absence, Absences, ForbiddenTasks, Reasons, Remedy, Severity, TaskKind,
};

use crate::exposure::weather;
use crate::fixture::{inputs, inputs_on, tag};
use crate::planning::{searched, told};

fn loaded(day: &DayProblem, plan: &Plan) -> Vec<String> {
    plan.crews
        .iter()
        .flat_map(|crew| &crew.load_out)
        .map(|unit| day.unit_id(*unit).to_owned())
        .collect()
}

/// Guards a day long before or after a job's deadline: what is overdue is done late, not left for being late.
#[test]
fn a_deadline_may_be_years_away() {
    for years in [-9, 9] {
        let mut inputs = inputs();
        let jobs = inputs.jobs.len();
        for job in &mut inputs.jobs {
            job.deadline = Some(inputs.clock.instant(0) + TimeDelta::days(365 * years));
        }
        let day = DayProblem::new(&inputs).expect("a problem");
        let plan = searched(&day, 500);
        assert_eq!((plan.unplanned.len(), jobs > 0), (0, true), "{years}");
    }
}

/// Guards the whole way: everything fits on an easy day, each unit is aboard once, and rows say what the plan says.
#[test]
fn an_easy_day_is_planned_whole() {
    let inputs = inputs();
    let day = DayProblem::new(&inputs).expect("a problem");
    let plan = searched(&day, 500);
    assert!(plan.unplanned.is_empty(), "{:?}", plan.unplanned);
    let stored = told(&inputs, &day, &plan);
    assert_eq!(stored.plan.id, "2027-04-20-1");
    assert_eq!(stored.plan.totals.planned_jobs, 3);
    assert_eq!(stored.parts.stops.len(), 3);
    let mut units: Vec<&str> = stored
        .parts
        .load_outs
        .iter()
        .map(|row| row.unit_id.as_str())
        .collect();
    let aboard = units.len();
    units.dedup();
    assert_eq!(units.len(), aboard, "no unit twice");
    for stop in &stored.parts.stops {
        assert!(stop.arrive_time <= stop.start_time && stop.start_time < stop.finish_time);
        for unit in stop.tasks.0.iter().flat_map(|task| &task.unit_ids) {
            let with = stored
                .parts
                .load_outs
                .iter()
                .find(|row| row.unit_id == *unit);
            assert_eq!(
                with.map(|row| row.crew_id.as_str()),
                Some(stop.crew_id.as_str()),
                "{unit}"
            );
        }
    }
}

/// Guards the first of the three guards: a unit with an unsafe tag is never loaded; one with a reduced tag may be.
#[test]
fn a_tagged_unit_is_never_loaded() {
    for (severity, may) in [(Severity::Unsafe, false), (Severity::Reduced, true)] {
        let mut inputs = inputs();
        // With the ride-on away the walk-behind is the only mower.
        inputs.units.retain(|unit| unit.id != "ride-60");
        inputs.tags.extend([tag("walk-21", severity)]);
        let day = DayProblem::new(&inputs).expect("a problem");
        let plan = searched(&day, 500);
        assert_eq!(
            loaded(&day, &plan).contains(&"walk-21".to_owned()),
            may,
            "{severity:?}"
        );
        assert_eq!(plan.unplanned.len(), if may { 0 } else { 3 });
    }
}

/// Guards the coupling: an attachment without its own powerhead is of no use.
#[test]
fn an_attachment_wants_a_powerhead_of_its_coupling() {
    let mut inputs = inputs();
    inputs.units.retain(|unit| unit.id != "edger-1");
    let day = DayProblem::new(&inputs).expect("a problem");
    let plan = searched(&day, 500);
    assert_eq!(
        plan.unplanned.len(),
        3,
        "the round coupling has no powerhead"
    );
}

/// Guards gates: the 60 in deck does not pass a gate of 36 in, the 21 in does.
#[test]
fn a_narrow_gate_keeps_the_wide_deck_out() {
    let mut inputs = inputs();
    for site in inputs.sites.values_mut() {
        for area in &mut site.areas.0 {
            area.narrowest_gate_millimetres = Some(914.4);
        }
    }
    let day = DayProblem::new(&inputs).expect("a problem");
    let plan = searched(&day, 500);
    let loaded = loaded(&day, &plan);
    assert!(
        loaded.contains(&"walk-21".to_owned()) && !loaded.contains(&"ride-60".to_owned()),
        "{loaded:?}"
    );
}

/// Guards load space: a tagged trailer takes out what rides on it.
#[test]
fn a_tagged_trailer_takes_its_space_along() {
    let mut inputs = inputs();
    inputs.tags.extend([tag("trailer-1", Severity::Unsafe)]);
    let day = DayProblem::new(&inputs).expect("a problem");
    assert_eq!(
        day.problem
            .crews()
            .iter()
            .map(|crew| crew.load_space)
            .collect::<Vec<_>>(),
        [2_000, 2_000]
    );
    assert_eq!(
        day.carriers,
        [vec!["truck-1".to_owned()], vec!["truck-2".to_owned()]]
    );
    let plan = searched(&day, 500);
    assert!(
        !loaded(&day, &plan).contains(&"ride-60".to_owned()),
        "it takes 3,000 litres"
    );
}

/// Guards who stays in, and why.
#[test]
fn crews_stay_in_for_a_reason() {
    let mut inputs = inputs();
    inputs.tags.extend([tag("truck-1", Severity::Unsafe)]);
    inputs.workers.retain(|worker| worker.id != "cy");
    let Err(forenoon_desk::problem::NoProblem::NoCrew(staying)) = DayProblem::new(&inputs) else {
        panic!("nobody can go");
    };
    assert_eq!(
        staying,
        [
            (
                "crew-1".to_owned(),
                StaysIn::VehicleTaggedOut("truck-1".to_owned())
            ),
            ("crew-2".to_owned(), StaysIn::NoWorkers),
        ]
    );
}

/// Guards absences: a mower that is at a service all morning is not loaded for the day.
#[test]
fn an_absent_unit_is_not_loaded() {
    let mut inputs = inputs();
    let from = inputs.clock.instant(6 * 3_600);
    let mower = inputs
        .units
        .iter_mut()
        .find(|unit| unit.id == "ride-60")
        .unwrap();
    mower.absences = Absences(vec![Absence {
        start_time: from,
        end_time: from + TimeDelta::hours(6),
        reason: "service".to_owned(),
    }]);
    let day = DayProblem::new(&inputs).expect("a problem");
    let plan = searched(&day, 500);
    assert!(!loaded(&day, &plan).contains(&"ride-60".to_owned()));
}

/// Guards shifts on days when clocks change: 07:00 local is six hours after midnight on the short day and eight on the
/// long one, and the shift keeps its length (IANA time zone database, 2027).
#[test]
fn shifts_follow_the_wall_clock() {
    for (month, date, start_hours) in [(3, 14, 6), (4, 20, 7), (11, 7, 8)] {
        let day = NaiveDate::from_ymd_opt(2027, month, date).unwrap();
        let problem = DayProblem::new(&inputs_on(day)).expect("a problem");
        let crew = &problem.problem.crews()[0];
        assert_eq!(crew.shift_start, start_hours * 3_600, "{day}");
        assert_eq!(crew.shift_end - crew.shift_start, 8 * 3_600 + 1_800);
    }
}

/// Guards a matrix that the caller supplies: its drives go before the travel rule's, and where it is silent the rule
/// holds.
#[test]
fn a_supplied_drive_goes_before_the_travel_rule() {
    let mut inputs = inputs();
    let drives = |inputs: &DayInputs| {
        let day = DayProblem::new(inputs).expect("a problem");
        let travel = day.problem.travel().clone();
        let [elm, fir] = [day.problem.jobs()[0].place, day.problem.jobs()[1].place];
        let yard = day.problem.crews()[0].start;
        (
            travel.table_seconds(yard, elm),
            travel.table_seconds(elm, yard),
            travel.table_seconds(elm, fir),
        )
    };
    let by_rule = drives(&inputs);
    inputs.drives = Drives {
        places: vec![PlaceName::Site("elm".to_owned()), PlaceName::Yard],
        seconds: vec![Some(0), None, Some(1_234), Some(0)],
    };
    assert_eq!(drives(&inputs), (1_234, by_rule.1, by_rule.2));
}

/// Guards the words for what no crew and no machine can do: they name what is missing, once, and what the ground asks.
#[test]
fn what_the_branch_lacks_is_named() {
    let mut inputs = inputs();
    for job in &mut inputs.jobs {
        job.skills.0 = vec!["climbing".to_owned()];
    }
    let texts = reason_texts(&inputs);
    assert_eq!(texts.len(), 3);
    assert!(
        texts
            .iter()
            .all(|told| told == &["nobody in the branch has the skill climbing"]),
        "{texts:?}"
    );
}

/// Guards the same for ground that every machine of the branch is kept from.
#[test]
fn ground_that_no_machine_can_work_is_told() {
    let mut inputs = inputs();
    for area in inputs.sites.values_mut().flat_map(|site| &mut site.areas.0) {
        area.slope_percent = 95.0;
    }
    let told = reason_texts(&inputs).concat();
    assert!(
        told.iter()
            .any(|text| text.contains("95 %") || text.contains("too steep")),
        "{told:?}"
    );
}

/// Guards the reason why a unit stays in: a service, another day, or a tag that forbids the work, with whom to ask.
#[test]
fn why_a_unit_stays_in_is_told_as_it_is() {
    let mut only = inputs();
    only.units.retain(|unit| unit.id != "ride-60");
    let told = |edit: &dyn Fn(&mut DayInputs)| {
        let mut inputs = only.clone();
        edit(&mut inputs);
        reason_texts(&inputs).concat().join("; ")
    };
    let service = told(&|day| {
        day.service_first.insert("walk-21".to_owned());
    });
    assert!(service.contains("due for a service"), "{service}");
    let limited = told(&|day| {
        let (unit, mut tag) = tag("walk-21", Severity::Reduced);
        tag.forbidden_tasks = ForbiddenTasks(vec![TaskKind::Mow]);
        day.tags.insert(unit, tag);
    });
    assert!(limited.contains("is kept from mowing by"), "{limited}");
    assert!(!limited.contains("the branch has none"), "{limited}");
    // The tag's end would help nothing.
    let hot = told(&|day| {
        let (unit, mut tag) = tag("walk-21", Severity::Reduced);
        tag.forbidden_tasks = ForbiddenTasks(vec![TaskKind::Mow]);
        day.tags.insert(unit, tag);
        day.heat = Some(weather(45.0, 60.0));
    });
    assert!(hot.contains("too hot"), "{hot}");
}

/// Guards how reasons go together: any one that helps, or all of them, of which none is left unsaid.
#[test]
fn whether_one_reason_must_go_or_all_is_told() {
    let mut one = inputs();
    one.units.retain(|unit| unit.id != "ride-60");
    one.service_first.insert("walk-21".to_owned());
    let mut both = one.clone();
    for job in &mut both.jobs {
        job.skills.0 = vec!["climbing".to_owned()];
    }
    for (inputs, remedy, least) in [(one, Remedy::AnyOne, 1), (both, Remedy::AllTogether, 2)] {
        let told = reasons_of(&inputs);
        let mowing = told.iter().find(|reasons| {
            let mut texts = reasons.0.iter().map(|reason| &reason.text);
            texts.any(|text| text.contains("due for a service"))
        });
        let reasons = &mowing.expect("left for the mower").0;
        assert!(reasons.len() >= least, "{reasons:?}");
        let alike = reasons.iter().all(|reason| reason.remedy == Some(remedy));
        assert!(alike, "{reasons:?}");
    }
}

fn reason_texts(inputs: &DayInputs) -> Vec<Vec<String>> {
    reasons_of(inputs)
        .into_iter()
        .map(|of_job| of_job.0.into_iter().map(|reason| reason.text).collect())
        .collect()
}

fn reasons_of(inputs: &DayInputs) -> Vec<Reasons> {
    let day = DayProblem::new(inputs).expect("a problem");
    let plan = searched(&day, 500);
    reasons(inputs, &day, &plan, &Cancel::new())
}
