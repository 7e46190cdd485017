//! How badly the bench is wanted.

use forenoon_desk::bench_queue::{OpenJob, Want, queue};
use forenoon_desk::{DayInputs, StoredPlan};
use forenoon_store::entity::tag_out;
use forenoon_store::value::{ForbiddenTasks, Severity, TaskKind};

use crate::fixture::{inputs, tag};
use crate::planning::planned;

/// The wants at seven in the morning, before any crew leaves, with all jobs open.
fn wants(inputs: &DayInputs, tags: &[tag_out::Model], plans: &[StoredPlan]) -> Vec<Want> {
    let until = inputs.clock.instant(inputs.clock.length());
    let open: Vec<OpenJob<'_>> = inputs
        .jobs
        .iter()
        .map(|job| OpenJob { job, until })
        .collect();
    queue(
        inputs.clock.instant(6 * 3_600),
        tags,
        &inputs.units,
        plans,
        &open,
    )
}

fn numbered(number: i64, unit: &str, severity: Severity, forbidden: &[TaskKind]) -> tag_out::Model {
    tag_out::Model {
        id: format!("t-{number}"),
        number,
        forbidden_tasks: ForbiddenTasks(forbidden.to_vec()),
        ..tag(unit, severity).1
    }
}

/// Guards carriers: a trailer that a crew is to leave with is wanted when it leaves, at all its stops, and before a machine that
/// no plan has, though that was tagged first.
#[test]
fn a_trailer_is_wanted_when_its_crew_leaves() {
    let mut inputs = inputs();
    inputs.crews.retain(|crew| crew.id == "crew-1");
    let plan = planned(&inputs, 300);
    let leaves = plan.day_of("crew-1").expect("a day").depart_time;
    let stops = plan.stops_of("crew-1").count();
    assert!(stops > 0 && leaves.is_some());
    let tags = [
        numbered(1, "truck-2", Severity::Unsafe, &[]),
        numbered(2, "trailer-1", Severity::Unsafe, &[]),
    ];
    let wants = wants(&inputs, &tags, &[plan]);
    let of_trailer = &wants[0];
    assert_eq!(of_trailer.tag_id, "t-2");
    assert_eq!(of_trailer.planned_stops, stops);
    assert_eq!(of_trailer.next_need, leaves);
    assert!(of_trailer.late, "nobody has said when it will be back");
    assert_eq!((wants[1].planned_stops, wants[1].next_need), (0, None));
}

/// Guards limits: a mower that may mow stands in for one that is out, and one that must not mow does not.
#[test]
fn a_limited_unit_stands_in_for_what_it_may_do() {
    let inputs = inputs();
    let stuck = |forbidden: &[TaskKind]| -> Vec<(String, usize)> {
        let tags = [
            numbered(1, "ride-60", Severity::Unsafe, &[]),
            numbered(2, "walk-21", Severity::Reduced, forbidden),
        ];
        let wants = wants(&inputs, &tags, &[]);
        let told = wants.into_iter();
        told.map(|want| (want.tag_id, want.jobs_without_substitute))
            .collect()
    };
    let told =
        |first: usize, second: usize| [("t-1".to_owned(), first), ("t-2".to_owned(), second)];
    assert_eq!(stuck(&[TaskKind::CutBrush]), told(0, 0));
    assert_eq!(stuck(&[TaskKind::Mow]), told(3, 3));
}
