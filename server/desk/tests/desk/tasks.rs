//! Tasks that the rules compose, as jobs store them.

use forenoon_desk::compose::{CannotCompose, composed, is_composed, keep_ids};
use forenoon_store::value::{AreaKind, Capability, Clippings, TaskKind, Tasks};

use crate::fixture::{area, inputs, job};

fn kinds(tasks: &[forenoon_store::value::Task]) -> Vec<TaskKind> {
    tasks.iter().map(|task| task.kind).collect()
}

/// Guards the order of an ordinary visit, and that an edge is edged by an edger and nothing else.
#[test]
fn a_kept_lawn_is_edged_mown_and_left_clean() {
    let inputs = inputs();
    let composed = composed(&job("a", "elm"), &inputs.sites["elm"]).expect("tasks");
    let kinds = kinds(&composed.tasks);
    let at = |kind| kinds.iter().position(|known| *known == kind);
    assert!(at(TaskKind::Edge) < at(TaskKind::Mow), "{kinds:?}");
    assert_eq!(kinds.last(), Some(&TaskKind::WalkAfter));
    let edge = composed
        .tasks
        .iter()
        .find(|task| task.kind == TaskKind::Edge)
        .expect("an edge");
    assert_eq!(edge.capabilities, [Capability::Edger]);
}

/// Guards the overgrown first cut: knocked down before the mower, mown twice, and told that a third is exceeded.
#[test]
fn an_overgrown_lawn_is_knocked_down_first_and_mown_twice() {
    let inputs = inputs();
    let mut job = job("a", "elm");
    job.condition.turf_height_millimetres = Some(1_000.0);
    job.condition.first_service = true;
    job.deadline = Some(inputs.clock.instant(15 * 3_600));
    let composed = composed(&job, &inputs.sites["elm"]).expect("tasks");
    let kinds = kinds(&composed.tasks);
    let at = |kind| {
        kinds
            .iter()
            .position(|known| *known == kind)
            .expect("the task")
    };
    assert_eq!(at(TaskKind::WalkBefore), 0);
    assert!(at(TaskKind::KnockDown) < at(TaskKind::Mow));
    assert!(at(TaskKind::Mow) < at(TaskKind::SecondPass));
    assert!(!composed.notices.is_empty());
}

/// Guards the clippings rule: what may not lie is mown by a collecting mower.
#[test]
fn clippings_that_may_not_lie_are_collected() {
    let mut inputs = inputs();
    let site = inputs.sites.get_mut("elm").expect("the site");
    site.clippings = Clippings::TakeAway;
    let composed = composed(&job("a", "elm"), site).expect("tasks");
    let mow = composed
        .tasks
        .iter()
        .find(|task| task.kind == TaskKind::Mow)
        .expect("mowing");
    assert_eq!(mow.capabilities, [Capability::CollectingMower]);
}

/// Guards what is told where nothing can be composed.
#[test]
fn a_site_that_says_nothing_has_no_tasks() {
    let mut inputs = inputs();
    let site = inputs.sites.get_mut("elm").expect("the site");
    site.areas.0.clear();
    assert_eq!(
        composed(&job("a", "fir"), site),
        Err(vec![CannotCompose::NoAreas])
    );
    site.areas.0.push(forenoon_store::value::Area {
        surface_square_metres: None,
        ..area("lawn", AreaKind::Turf)
    });
    let faults = composed(&job("a", "fir"), site).expect_err("a lawn without a size");
    assert!(
        matches!(
            faults[..],
            [CannotCompose::Misdescribed { area: Some(0), .. }]
        ),
        "{faults:?}"
    );
}

/// Guards jobs of before it was kept who wrote their tasks: the ids that a change has left them do not make them somebody's own,
/// and minutes that somebody agreed do.
#[test]
fn ids_do_not_tell_who_wrote_the_tasks() {
    let inputs = inputs();
    let site = &inputs.sites["elm"];
    let mut job = job("a", "elm");
    job.tasks = Tasks(composed(&job, site).expect("tasks").tasks);
    job.condition.turf_height_millimetres = Some(1_000.0);
    let mut grown = Tasks(composed(&job, site).expect("tasks").tasks);
    let numbered = grown.clone();
    keep_ids(&job.tasks, &mut grown);
    assert!(!grown.is_same_work(&numbered), "one came in the middle");
    job.tasks = grown.written();
    assert!(is_composed(&job, Some(site)));
    job.tasks.0[1].agreed_minutes = Some(20.0);
    assert!(!is_composed(&job, Some(site)));
}
