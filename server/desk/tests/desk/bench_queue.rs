//! How badly the bench is wanted.

use std::sync::Arc;

use forenoon_desk::bench_queue::{OpenJob, Want, queue};
use forenoon_desk::{DayInputs, StoredPlan};
use forenoon_store::entity::{plan_unplanned, tag_out, unit};
use forenoon_store::value::{
    Area, ForbiddenTasks, Reason, ReasonKind, Reasons, Remedy, Severity, TaskKind,
};

use crate::fixture::{inputs, tag};
use crate::planning::planned;

/// The wants at seven in the morning, before any crew leaves, with all jobs open.
fn wants(inputs: &DayInputs, tags: &[tag_out::Model], plans: &[StoredPlan]) -> Vec<Want> {
    let until = inputs.clock.instant(inputs.clock.length());
    let open: Vec<OpenJob<'_>> = inputs
        .jobs
        .iter()
        .map(|job| OpenJob {
            job,
            site: inputs.sites.get(&job.site_id),
            until,
        })
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

/// Guards plans that leave a job out for want of a tagged unit while another like it is out: the job counts for the unit, from
/// when the crews leave, and the weightier job comes first.
#[test]
fn what_a_plan_leaves_out_for_want_of_a_unit_counts_for_it() {
    let mut inputs = inputs();
    // One job for each of two mowers: they are told apart by their jobs' weight alone.
    inputs.jobs[1].priority = 5;
    let mut plan = planned(&inputs, 300);
    let leaves = plan
        .parts
        .crew_days
        .iter()
        .filter_map(|day| day.depart_time);
    let leaves = leaves.min();
    let left = |job: &str, unit: &str| plan_unplanned::Model {
        branch_id: "north".to_owned(),
        plan_id: plan.plan.id.clone(),
        job_id: job.to_owned(),
        position: 0,
        job_display_name: job.to_owned(),
        reasons: Reasons(vec![Reason {
            kind: ReasonKind::UnitTaggedOut,
            later_kind: None,
            remedy: Some(Remedy::AnyOne),
            text: format!("{unit} is tagged out"),
            subjects: vec![format!("branches/north/units/{unit}")],
        }]),
    };
    let rows = vec![left("elm-mow", "walk-21"), left("fir-mow", "blower-1")];
    let parts = Arc::make_mut(&mut plan.parts);
    parts.stops.retain(|stop| stop.job_id == "oak-mow");
    for stop in &mut parts.stops {
        for task in &mut stop.tasks.0 {
            task.unit_ids.clear();
        }
    }
    parts.unplanned = rows;
    // Other units could do either job.
    let spare = inputs.units.iter().find(|unit| unit.id == "blower-1");
    let spare = spare.expect("a blower").clone();
    inputs.units.push(unit::Model {
        id: "blower-2".to_owned(),
        ..spare
    });
    let tags = [
        numbered(1, "walk-21", Severity::Unsafe, &[]),
        numbered(2, "blower-1", Severity::Unsafe, &[]),
    ];
    let told = wants(&inputs, &tags, std::slice::from_ref(&plan));
    for (want, tag) in told.iter().zip(["t-2", "t-1"]) {
        assert_eq!(want.tag_id, tag, "the weightier job comes first");
        assert_eq!((want.jobs_without_substitute, want.jobs_left_out), (0, 1));
        assert_eq!((want.next_need, want.late), (leaves, true));
    }
    // Once a plan does the job after all, nothing is left out.
    let parts = Arc::make_mut(&mut plan.parts);
    let mut done = parts.stops[0].clone();
    done.job_id = "elm-mow".to_owned();
    parts.stops.push(done);
    let told = wants(&inputs, &tags, &[plan]);
    let of_mower = told.iter().find(|want| want.tag_id == "t-1");
    assert_eq!(
        of_mower.map(|want| (want.jobs_left_out, want.next_need)),
        Some((0, None))
    );
}

/// Guards gates and slopes: a unit that cannot go to a job is not wanted for it, and one that cannot stands in for none.
#[test]
fn a_unit_is_wanted_only_where_gate_and_slope_let_it_go() {
    let stuck = |tagged: &str, edit: &dyn Fn(&mut Area)| {
        let mut inputs = inputs();
        let site = inputs.sites.get_mut("elm").expect("a site");
        for area in &mut site.areas.0 {
            edit(area);
        }
        let tags = [numbered(1, tagged, Severity::Unsafe, &[])];
        wants(&inputs, &tags, &[])[0].jobs_without_substitute
    };
    // The walk-behind mower is 533 mm wide, the ride-on 1,524 mm; both may work on 25 %.
    let gate = |area: &mut Area| area.narrowest_gate_millimetres = Some(900.0);
    assert_eq!(stuck("walk-21", &|_| ()), 0, "the ride-on mows as well");
    assert_eq!(
        stuck("walk-21", &gate),
        1,
        "the ride-on does not pass the gate"
    );
    assert_eq!(stuck("ride-60", &gate), 0, "it could not go there");
    let narrow = |area: &mut Area| area.narrowest_gate_millimetres = Some(400.0);
    assert_eq!(stuck("walk-21", &narrow), 0, "nothing passes it");
    let steep = |area: &mut Area| area.slope_percent = 40.0;
    assert_eq!(stuck("walk-21", &steep), 0, "too steep for it as well");
}
