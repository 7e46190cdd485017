//! Ways to go on that differ, and why each change comes, for each kind of thing that happens beside a lost tool.

use std::collections::BTreeSet;
use std::sync::Arc;

use chrono::{DateTime, Utc};
use forenoon_desk::{DayInputs, StoredPlan};
use forenoon_store::entity::{job, plan_stop, plan_unplanned};
use forenoon_store::value::{
    Disruptions, Overrun, PlanChange, PlanChangeKind, Reasons, TaskKind, WorkStop,
};

use crate::fixture::{inputs, job};
use crate::replan::{begun, later, mowing, proposals, published};

/// Before anybody leaves.
fn dawn() -> DateTime<Utc> {
    inputs().clock.instant(5 * 3_600)
}

/// The jobs that a plan does, each with its crew.
fn outline(plan: &StoredPlan) -> BTreeSet<(&str, &str)> {
    let stops = plan.parts.stops.iter();
    stops
        .map(|stop| (stop.job_id.as_str(), stop.crew_id.as_str()))
        .collect()
}

/// Asserts that there are two ways and more that give jobs to different crews or different days.
#[track_caller]
fn differ(ways: &[StoredPlan]) {
    let outlines: BTreeSet<_> = ways.iter().map(outline).collect();
    assert!(outlines.len() >= 2, "{outlines:?}");
}

/// All changes of jobs in any way, with their words.
fn changes(ways: &[StoredPlan], kind: PlanChangeKind) -> Vec<&PlanChange> {
    ways.iter()
        .flat_map(|way| &way.plan.changes.0)
        .filter(|change| change.kind == kind && change.job_id.is_some())
        .collect()
}

#[track_caller]
fn told(changes: &[&PlanChange], words: &str) {
    let says = |change: &&&PlanChange| change.text.contains(words);
    assert!(
        changes.iter().any(|change| says(&change)),
        "nothing says {words:?}: {changes:#?}"
    );
}

fn stop_on<'a>(plan: &'a StoredPlan, crew: &'a str) -> Vec<&'a plan_stop::Model> {
    plan.stops_of(crew).collect()
}

/// The crew of the easy day with the most stops.
fn busiest(base: &StoredPlan) -> String {
    let crews = ["crew-1", "crew-2"];
    let most = crews
        .into_iter()
        .max_by_key(|crew| base.stops_of(crew).count());
    most.expect("a crew").to_owned()
}

/// Guards an added job: it is taken in, or the day stays as it is.
#[test]
fn a_new_job_is_taken_in_or_left() {
    let (stop, _, at) = mowing();
    let inputs = later(
        at,
        |inputs| {
            begun(&stop)(inputs);
            inputs.jobs.push(job("new", "oak"));
        },
        Disruptions::default(),
    );
    let ways = proposals(&inputs);
    differ(&ways);
    assert!(ways.iter().any(|way| way.stop_of("new").is_none()));
    let added = changes(&ways, PlanChangeKind::Added);
    told(&added, "; it came in after the plan was made");
    // What has to make way for it says so.
    for change in changes(&ways, PlanChangeKind::Time) {
        assert!(change.text.contains("; "), "{change:?}");
    }
}

/// Guards an absent crew before the day: another takes its jobs over, or they wait for another day.
#[test]
fn an_absent_crews_jobs_are_moved_or_left() {
    let base = published();
    let crew = busiest(&base);
    let new = Disruptions {
        absent_crews: vec![crew.clone()],
        ..Disruptions::default()
    };
    let ways = proposals(&later(dawn(), |_| (), new));
    differ(&ways);
    let words = format!("; {crew} cannot go on");
    for kind in [PlanChangeKind::Crew, PlanChangeKind::Dropped] {
        let found = changes(&ways, kind);
        let of_crew = found
            .iter()
            .filter(|change| change.from_crew_id.as_deref() == Some(crew.as_str()));
        assert!(of_crew.clone().count() > 0, "none of {kind:?}");
        for change in of_crew {
            assert!(change.text.contains(&words), "{change:?}");
        }
    }
}

/// Guards an absent worker: what the smaller crew begins later says who is missing.
#[test]
fn a_crew_short_of_a_worker_says_so() {
    let mut inputs = inputs();
    // All with the crew of two, so that there is something to move.
    let only = |job: &mut job::Model| job.skills = forenoon_store::value::Words(vec!["two".into()]);
    inputs.jobs.iter_mut().for_each(only);
    inputs.workers[0].skills = forenoon_store::value::Words(vec!["two".into()]);
    let base = crate::planning::planned(&inputs, 500);
    assert_eq!(stop_on(&base, "crew-1").len(), 3);
    inputs.base = Some((base, dawn()));
    inputs.take_stock(Disruptions {
        absent_workers: vec!["bo".to_owned()],
        ..Disruptions::default()
    });
    let ways = proposals(&inputs);
    told(
        &changes(&ways, PlanChangeKind::Time),
        "; crew-1 is short of bo",
    );
    // Who has the skill is there: nothing is said of it.
    for change in ways.iter().flat_map(|way| &way.plan.changes.0) {
        assert!(!change.text.contains("skill"), "{change:?}");
    }
}

/// Guards a skill that goes with a worker: nobody else may do the jobs, and it is said who had it.
#[test]
fn a_skill_gone_with_a_worker_is_told() {
    let mut inputs = inputs();
    let spray = || forenoon_store::value::Words(vec!["spray".into()]);
    inputs.jobs[0].skills = spray();
    inputs.workers[1].skills = spray();
    let base = crate::planning::planned(&inputs, 500);
    assert!(base.stop_of("elm-mow").is_some());
    inputs.base = Some((base, dawn()));
    inputs.take_stock(Disruptions {
        absent_workers: vec!["bo".to_owned()],
        ..Disruptions::default()
    });
    let dropped = proposals(&inputs);
    let dropped = changes(&dropped, PlanChangeKind::Dropped);
    told(
        &dropped,
        "; without bo nobody in crew-1 has the skill spray",
    );
}

/// Guards an overrun: what comes after it is later, moves or waits, and says what takes how much longer.
#[test]
fn an_overrun_gives_a_choice_and_says_what_takes_longer() {
    let base = published();
    let crew = busiest(&base);
    let stops = stop_on(&base, &crew);
    assert!(stops.len() >= 2, "{stops:?}");
    let (first, second) = (stops[0].clone(), stops[1].clone());
    let at = first.start_time + chrono::TimeDelta::minutes(5);
    let late = |seconds: i64| {
        let new = Disruptions {
            overruns: vec![Overrun {
                job_id: first.job_id.clone(),
                extra_seconds: seconds,
            }],
            ..Disruptions::default()
        };
        proposals(&later(at, begun(&first), new))
    };
    // Forty minutes are there to spare: nothing need wait for another day.
    let ways = late(2_400);
    let words = format!(
        "; {} before it takes 40 min longer",
        first.site_display_name
    );
    told(&changes(&ways, PlanChangeKind::Time), &words);
    assert!(changes(&ways, PlanChangeKind::Dropped).is_empty());
    // Eight hours are not.
    let ways = late(8 * 3_600);
    differ(&ways);
    let words = format!("; {crew} is 480 min longer at {}", first.site_display_name);
    let moved = [PlanChangeKind::Crew, PlanChangeKind::Dropped].map(|kind| changes(&ways, kind));
    told(&moved.concat(), &words);
    let left = |way: &StoredPlan| way.stop_of(&second.job_id).is_none();
    assert!(ways.iter().any(left), "it may wait for another day");
}

/// Guards a job called off: what was left out fills the gap, or the gap stays; who has time now is told with the reason, and
/// what begins earlier too.
#[test]
fn a_gap_is_filled_or_left() {
    let mut base = published();
    let crew = busiest(&base);
    let stops: Vec<plan_stop::Model> = base.stops_of(&crew).cloned().collect();
    let off = &stops[0];
    // The plan had left it out.
    Arc::make_mut(&mut base.parts)
        .unplanned
        .push(plan_unplanned::Model {
            branch_id: "north".to_owned(),
            plan_id: base.plan.id.clone(),
            job_id: "extra".to_owned(),
            position: 0,
            job_display_name: "extra".to_owned(),
            reasons: Reasons::default(),
        });
    let mut inputs: DayInputs = inputs();
    inputs.jobs.retain(|job| job.id != off.job_id);
    inputs.jobs.push(job("extra", &off.site_id));
    inputs.base = Some((base, dawn()));
    inputs.take_stock(Disruptions::default());
    let ways = proposals(&inputs);
    differ(&ways);
    let (with, without): (Vec<&StoredPlan>, Vec<&StoredPlan>) =
        ways.iter().partition(|way| way.stop_of("extra").is_some());
    assert!(!with.is_empty() && !without.is_empty());
    let words = format!(
        "{} is called off, which gives {crew} time",
        off.site_display_name
    );
    told(&changes(&ways, PlanChangeKind::Added), &words);
    let without: Vec<StoredPlan> = without.into_iter().cloned().collect();
    let earlier = changes(&without, PlanChangeKind::Time);
    let words = format!("; {} before it is called off", off.site_display_name);
    told(&earlier, &words);
}

/// Guards weather: the work waits on the day, or for another.
#[test]
fn work_that_has_to_wait_waits_on_the_day_or_for_another() {
    let clock = inputs().clock;
    let new = Disruptions {
        work_stops: vec![WorkStop {
            kinds: vec![TaskKind::Mow],
            start_time: clock.instant(6 * 3_600),
            end_time: clock.instant(11 * 3_600),
        }],
        ..Disruptions::default()
    };
    let ways = proposals(&later(dawn(), |_| (), new.clone()));
    differ(&ways);
    let words = "; mowing has to wait until 11:00";
    for kind in [PlanChangeKind::Time, PlanChangeKind::Dropped] {
        told(&changes(&ways, kind), words);
    }
    // What was told before the plan gone on from is in it, and no cause of anything new.
    let next = DayInputs {
        base: Some((ways[0].clone(), dawn())),
        ..inputs()
    };
    let mut next = next;
    next.jobs.push(job("new", "oak"));
    next.take_stock(Disruptions::default());
    assert_eq!(next.disruptions.work_stops, new.work_stops);
    for change in proposals(&next).iter().flat_map(|way| &way.plan.changes.0) {
        assert!(!change.text.contains("has to wait"), "{change:?}");
    }
}
