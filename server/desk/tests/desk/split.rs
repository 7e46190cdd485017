//! The rest of a job that is split over two days.

use forenoon_desk::split::is_first_service;
use forenoon_store::value::{SplitJob, Task, TaskKind};

use crate::fixture::job;

/// Guards the rest of a first service: edges that nobody has cut yet, and areas where nobody works today, are as they were.
#[test]
fn the_rest_is_a_first_service_where_nobody_has_begun() {
    let mut job = job("elm-mow", "elm");
    job.condition.first_service = true;
    let task = |id: &str, kind, area: Option<&str>| Task {
        task_id: id.to_owned(),
        kind,
        area_id: area.map(str::to_owned),
        capabilities: Vec::new(),
        passes: 1,
        agreed_minutes: None,
        composed: false,
    };
    job.tasks.0 = vec![
        task("look", TaskKind::WalkBefore, None),
        task("trim", TaskKind::Trim, Some("lawn")),
        task("mow", TaskKind::Mow, Some("lawn")),
        task("edge", TaskKind::Edge, Some("drive")),
        task("back", TaskKind::Mow, Some("back")),
        task("blow", TaskKind::BlowOff, None),
    ];
    let rest = |today: &[&str], later: &[&str]| {
        let owned = |ids: &[&str]| ids.iter().map(|id| (*id).to_owned()).collect();
        SplitJob {
            job_id: "elm-mow".to_owned(),
            today: owned(today),
            later: owned(later),
        }
    };
    let today = ["look", "trim", "blow"];
    assert!(!is_first_service(
        &job,
        &rest(&today, &["look", "mow", "blow"])
    ));
    assert!(is_first_service(
        &job,
        &rest(&today, &["look", "edge", "blow"])
    ));
    assert!(is_first_service(
        &job,
        &rest(&today, &["look", "back", "blow"])
    ));
    assert!(is_first_service(
        &job,
        &rest(&["look", "trim", "edge"], &["look", "mow", "back"])
    ));
    job.condition.first_service = false;
    assert!(!is_first_service(
        &job,
        &rest(&today, &["look", "edge", "blow"])
    ));
}
