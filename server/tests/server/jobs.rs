//! Goal: jobs hold what the contract says, on both databases, and stay while plans have them.
//! Method: a client per test; plans and states are put in past the service; counts are compared
//! after refusals.

use forenoon_proto::v1;
use forenoon_store::sea_orm::Set;
use forenoon_store::value::Severity;
use tonic::Code;

use crate::booking::{
    JOB, SITE, add_job, bare, cancel_job, change_job, day, job, job_client, open_with_site,
    read_job, remove_job, task, wall, window,
};
use crate::house::{House, on_both, reason};
use crate::rows::{self, execute, store};
use crate::yard::{NORTH, add_crew, add_site, add_unit, crew, mower, obstacles, refused_for, site};

#[tokio::test]
async fn what_is_created_reads_back_the_same() {
    on_both(async |house| {
        open_with_site(house).await;
        let stored = add_job(house, "mow", job()).await.expect("created");
        let now = Some("2027-04-20T11:45:00Z".parse().expect("an instant"));
        let expected = v1::Job {
            name: JOB.into(),
            state: v1::JobState::Open.into(),
            etag: stored.etag.clone(),
            create_time: now,
            update_time: now,
            ..job()
        };
        assert_eq!(stored, expected);
        assert_eq!(read_job(house, JOB).await.expect("read"), expected);
        let kinds: Vec<_> = house.events().await.into_iter().map(|e| e.kind).collect();
        assert_eq!(kinds, ["branch.created", "site.created", "job.created"]);
    })
    .await;
}

/// The order of work is the trade's: walk, edge, trim, mow, collect, walk; on a sensitive site the
/// collecting comes before the mowing.
#[tokio::test]
async fn tasks_left_out_are_composed_from_the_site() {
    let house = House::on_sqlite().await;
    open_with_site(&house).await;
    let stored = add_job(&house, "mow", bare(day(4, 20), day(4, 20)))
        .await
        .expect("created");
    let kinds: Vec<_> = stored.tasks.iter().map(v1::Task::kind).collect();
    assert_eq!(
        kinds,
        [
            v1::TaskKind::WalkBefore,
            v1::TaskKind::Edge,
            v1::TaskKind::Trim,
            v1::TaskKind::Trim,
            v1::TaskKind::Collect,
            v1::TaskKind::Mow,
            v1::TaskKind::WalkAfter,
        ]
    );
    assert_eq!(stored.priority, 3);
    // Only the areas named.
    let narrowed = v1::Job {
        area_ids: vec!["walk".into()],
        ..bare(day(4, 20), day(4, 20))
    };
    let stored = add_job(&house, "edges", narrowed).await.expect("created");
    assert!(
        stored
            .tasks
            .iter()
            .all(|task| ["", "walk"].contains(&task.area_id.as_str())),
        "{:?}",
        stored.tasks
    );
    // Emptied by an update, they are composed anew from the condition as it is then.
    let mut grown = stored.clone();
    grown.tasks.clear();
    grown.condition = Some(v1::SiteCondition {
        edge_overgrowth: crate::yard::length(v1::length::Value::Inches(8.0)),
        ..v1::SiteCondition::default()
    });
    let stored = change_job(&house, grown, &["tasks", "condition"])
        .await
        .expect("changed");
    let with: Vec<_> = stored.tasks[1].capabilities().collect();
    assert_eq!(with, [v1::Capability::FlatShovel]);
}

/// Stems of 17.8 mm want eleven passes of a line: what the rules compose may be written again.
#[tokio::test]
async fn as_many_passes_as_the_rules_compose_may_be_written() {
    let house = House::on_sqlite().await;
    open_with_site(&house).await;
    let woody = v1::Job {
        condition: Some(v1::SiteCondition {
            stem_thickness: crate::yard::length(v1::length::Value::Millimetres(17.8)),
            ..v1::SiteCondition::default()
        }),
        ..bare(day(4, 20), day(4, 20))
    };
    let stored = add_job(&house, "woody", woody).await.expect("created");
    let most = stored.tasks.iter().map(|task| task.passes).max();
    assert_eq!(most, Some(11), "{:?}", stored.tasks);
    let noted = v1::Job {
        note: "Ring first".into(),
        ..stored
    };
    change_job(&house, noted, &["note", "tasks"])
        .await
        .expect("changed");
}

#[tokio::test]
async fn a_site_without_areas_has_nothing_to_compose_from() {
    let house = House::on_sqlite().await;
    open_with_site(&house).await;
    let empty = v1::Site {
        areas: vec![],
        hazards: vec![],
        ..site()
    };
    add_site(&house, "empty", empty).await.expect("created");
    let before = house.counts().await;
    let at_empty = v1::Job {
        site: "branches/north/sites/empty".into(),
        ..bare(day(4, 20), day(4, 20))
    };
    refused_for(
        add_job(&house, "mow", at_empty.clone()).await,
        "no areas",
        &[("job.tasks", "REQUIRED")],
    );
    assert_eq!(house.counts().await, before);
    let told = v1::Job {
        tasks: vec![task("look", v1::TaskKind::WalkBefore, "", &[])],
        ..at_empty
    };
    add_job(&house, "mow", told).await.expect("created");
}

/// Guards large sites: what could never be changed again is not made, and areas can be named.
#[tokio::test]
async fn a_site_of_many_areas_wants_jobs_of_some() {
    let house = House::on_sqlite().await;
    open_with_site(&house).await;
    let one = site().areas.remove(0);
    let areas = (0..60).map(|n| v1::Area {
        area_id: format!("area-{n}"),
        ..one.clone()
    });
    let wide = v1::Site {
        areas: areas.collect(),
        hazards: vec![],
        ..site()
    };
    add_site(&house, "wide", wide).await.expect("created");
    let before = house.counts().await;
    let whole = v1::Job {
        site: "branches/north/sites/wide".into(),
        ..bare(day(4, 20), day(4, 20))
    };
    refused_for(
        add_job(&house, "mow", whole.clone()).await,
        "sixty areas",
        &[("job.area_ids", "TOO_MANY")],
    );
    assert_eq!(house.counts().await, before);
    let part = v1::Job {
        area_ids: (0..12).map(|n| format!("area-{n}")).collect(),
        ..whole
    };
    let stored = add_job(&house, "mow", part).await.expect("created");
    assert!((25..=100).contains(&stored.tasks.len()), "{stored:?}");
}

#[tokio::test]
async fn an_update_changes_the_fields_of_its_mask() {
    on_both(async |house| {
        open_with_site(house).await;
        let before = add_job(house, "mow", job()).await.expect("created");
        house.set_clock("2027-04-20T12:00:00Z");
        let change = v1::Job {
            name: JOB.into(),
            priority: 5,
            note: "Ring first".into(),
            etag: before.etag.clone(),
            // Not named by the mask: left as they are, though they are wrong.
            site: "nowhere".into(),
            ..v1::Job::default()
        };
        let after = change_job(house, change.clone(), &["priority", "note"])
            .await
            .expect("changed");
        let expected = v1::Job {
            priority: 5,
            note: "Ring first".into(),
            etag: after.etag.clone(),
            update_time: Some("2027-04-20T12:00:00Z".parse().expect("an instant")),
            ..before.clone()
        };
        assert_eq!(after, expected);
        assert_ne!(after.etag, before.etag);
        let counts = house.counts().await;
        let stale = change_job(house, change, &["priority"])
            .await
            .expect_err("stale");
        assert_eq!(reason(&stale), (Code::Aborted, "STALE_ETAG".into()));
        // The same again changes nothing and tells nobody.
        change_job(house, after.clone(), &[]).await.expect("same");
        assert_eq!(house.counts().await, counts);
        assert_eq!(read_job(house, JOB).await.expect("read"), after);
        for path in ["state", "cancel_reason", "name", "etag"] {
            refused_for(
                change_job(house, after.clone(), &[path]).await,
                path,
                &[("update_mask.paths[0]", "IMMUTABLE")],
            );
        }
    })
    .await;
}

#[tokio::test]
async fn the_list_is_by_state_site_and_day() {
    on_both(async |house| {
        open_with_site(house).await;
        add_site(house, "other", site()).await.expect("created");
        let gap = v1::Job {
            windows: vec![
                window(day(4, 20), day(4, 20)),
                window(day(4, 24), day(4, 25)),
            ],
            ..bare(day(4, 20), day(4, 20))
        };
        let elsewhere = v1::Job {
            site: "branches/north/sites/other".into(),
            ..bare(day(4, 22), day(4, 30))
        };
        add_job(house, "a-gap", gap).await.expect("created");
        add_job(house, "b-other", elsewhere).await.expect("created");
        add_job(house, "mow", bare(day(4, 21), day(4, 22)))
            .await
            .expect("created");
        cancel_job(house, "Moved away", "").await.expect("off");
        let list = async |filter: v1::ListJobsRequest| -> Vec<String> {
            let mut names = Vec::new();
            let mut token = String::new();
            loop {
                let request = v1::ListJobsRequest {
                    parent: NORTH.into(),
                    page_size: 1,
                    page_token: token,
                    ..filter.clone()
                };
                let page = job_client(house).list_jobs(request).await.expect("a page");
                let page = page.into_inner();
                assert!(page.jobs.len() <= 1);
                names.extend(page.jobs.into_iter().map(|job| {
                    let id = job.name.rsplit('/').next().expect("an id");
                    id.to_owned()
                }));
                token = page.next_page_token;
                if token.is_empty() {
                    return names;
                }
            }
        };
        let all = v1::ListJobsRequest::default();
        let on = |month, date| v1::ListJobsRequest {
            day: Some(day(month, date)),
            ..all.clone()
        };
        assert_eq!(list(all.clone()).await, ["a-gap", "b-other", "mow"]);
        assert_eq!(list(on(4, 20)).await, ["a-gap"]);
        assert_eq!(list(on(4, 21)).await, ["mow"]);
        assert_eq!(list(on(4, 22)).await, ["b-other", "mow"]);
        assert_eq!(list(on(4, 23)).await, ["b-other"]);
        assert_eq!(list(on(4, 24)).await, ["a-gap", "b-other"]);
        assert!(list(on(5, 1)).await.is_empty());
        let at_site = v1::ListJobsRequest {
            site: SITE.into(),
            ..all.clone()
        };
        assert_eq!(list(at_site).await, ["a-gap", "mow"]);
        let open_on = v1::ListJobsRequest {
            state: v1::JobState::Open.into(),
            ..on(4, 22)
        };
        assert_eq!(list(open_on).await, ["b-other"]);
        let off = v1::ListJobsRequest {
            state: v1::JobState::Cancelled.into(),
            ..all
        };
        assert_eq!(list(off).await, ["mow"]);
    })
    .await;
}

#[tokio::test]
async fn a_list_by_what_cannot_be_is_refused() {
    let house = House::on_sqlite().await;
    open_with_site(&house).await;
    let request = v1::ListJobsRequest {
        parent: NORTH.into(),
        page_size: -1,
        page_token: "x".into(),
        state: 9,
        site: "branches/south/sites/a".into(),
        day: Some(day(2, 29)),
    };
    refused_for(
        job_client(&house).list_jobs(request).await,
        "every part",
        &[
            ("page_size", "OUT_OF_RANGE"),
            ("page_token", "MALFORMED"),
            ("state", "OUT_OF_RANGE"),
            ("site", "UNKNOWN_REFERENCE"),
            ("day", "OUT_OF_RANGE"),
        ],
    );
}

#[tokio::test]
async fn an_open_job_is_called_off_once() {
    on_both(async |house| {
        open_with_site(house).await;
        let before = add_job(house, "mow", job()).await.expect("created");
        let counts = house.counts().await;
        refused_for(
            cancel_job(house, "", "").await,
            "no reason",
            &[("reason", "REQUIRED")],
        );
        refused_for(
            cancel_job(house, &"n".repeat(501), "x").await,
            "long",
            &[("reason", "TOO_LONG"), ("etag", "MALFORMED")],
        );
        let stale = cancel_job(house, "Sold", "1-1").await.expect_err("stale");
        assert_eq!(reason(&stale), (Code::Aborted, "STALE_ETAG".into()));
        assert_eq!(house.counts().await, counts);

        let request = v1::CancelJobRequest {
            name: JOB.into(),
            reason: "Sold".into(),
            etag: before.etag.clone(),
            request_id: "7f3c1f0e-52a4-4a53-9a5e-2f3b6f1f8c02".into(),
        };
        let first = job_client(house).cancel_job(request.clone()).await;
        let first = first.expect("off").into_inner();
        let counts = house.counts().await;
        let again = job_client(house).cancel_job(request).await;
        assert_eq!(again.expect("replayed").into_inner(), first);
        let after = first.job.expect("a job");
        assert_eq!(after.state(), v1::JobState::Cancelled);
        assert_eq!(after.cancel_reason, "Sold");
        let kind = house.events().await.pop().map(|event| event.kind);
        assert_eq!(kind.as_deref(), Some("job.cancelled"));

        let twice = obstacles(cancel_job(house, "Sold", "").await);
        assert_eq!(twice, [("NOT_OPEN".into(), JOB.into())]);
        let changed = obstacles(change_job(house, after, &["note"]).await);
        assert_eq!(changed, [("NOT_OPEN".into(), JOB.into())]);
        assert_eq!(house.counts().await, counts);
    })
    .await;
}

#[tokio::test]
async fn a_job_begun_or_done_is_not_called_off() {
    let house = House::on_sqlite().await;
    open_with_site(&house).await;
    add_site(&house, "other", site()).await.expect("created");
    let sound = add_job(&house, "mow", job()).await.expect("created");
    for (state, may_change) in [("running", true), ("done", false)] {
        execute(&house, &format!("UPDATE job SET state = '{state}'")).await;
        let counts = house.counts().await;
        let refused = obstacles(cancel_job(&house, "Sold", "").await);
        assert_eq!(refused, [("NOT_OPEN".into(), JOB.into())], "{state}");
        let moved = v1::Job {
            site: "branches/north/sites/other".into(),
            ..sound.clone()
        };
        let moved = change_job(
            &house,
            v1::Job {
                etag: String::new(),
                ..moved
            },
            &["site"],
        )
        .await;
        assert_eq!(
            obstacles(moved),
            [("NOT_OPEN".into(), JOB.into())],
            "{state}"
        );
        assert_eq!(house.counts().await, counts);
        let noted = v1::Job {
            name: JOB.into(),
            note: state.into(),
            ..v1::Job::default()
        };
        let noted = change_job(&house, noted, &["note"]).await;
        assert_eq!(noted.is_ok(), may_change, "{state}");
    }
}

/// Guards what is known of a failure: the job at which a unit failed is kept with its tag, and the tag is named.
#[tokio::test]
async fn a_job_at_which_a_unit_failed_stays() {
    on_both(async |house| {
        open_with_site(house).await;
        add_job(house, "mow", job()).await.expect("created");
        add_unit(house, "mower", mower("LG-1"))
            .await
            .expect("created");
        let mut tag = rows::tag(1, "mower", Severity::Reduced);
        tag.job_id = Set(Some("mow".into()));
        store(house, tag).await;
        let refused = obstacles(remove_job(house, JOB, "").await);
        let tag = format!("{NORTH}/tagOuts/t-1");
        assert_eq!(refused, [("STILL_REFERRED_TO".into(), tag)]);
    })
    .await;
}

#[tokio::test]
async fn a_job_that_a_plan_has_stays() {
    on_both(async |house| {
        open_with_site(house).await;
        let stored = add_job(house, "mow", job()).await.expect("created");
        add_job(house, "spare", job()).await.expect("created");
        add_crew(house, "a", crew("A")).await.expect("created");
        store(house, rows::plan("2027-04-20")).await;
        store(house, rows::crew_day("2027-04-20-1", "a")).await;
        store(house, rows::stop("2027-04-20-1", "a", "mow", "mill-lane")).await;
        let counts = house.counts().await;
        let refused = obstacles(remove_job(house, JOB, &stored.etag).await);
        let plan = "branches/north/plans/2027-04-20-1".to_owned();
        assert_eq!(refused, [("STILL_REFERRED_TO".into(), plan)]);
        assert_eq!(house.counts().await, counts);
        let stale = remove_job(house, "branches/north/jobs/spare", "1-1").await;
        let stale = stale.expect_err("stale");
        assert_eq!(reason(&stale), (Code::Aborted, "STALE_ETAG".into()));
        assert_eq!(house.counts().await, counts);
        remove_job(house, "branches/north/jobs/spare", "")
            .await
            .expect("deleted");
        let gone = read_job(house, "branches/north/jobs/spare").await;
        assert_eq!(
            reason(&gone.expect_err("gone")),
            (Code::NotFound, "NOT_FOUND".into())
        );
        let kind = house.events().await.pop().map(|event| event.kind);
        assert_eq!(kind.as_deref(), Some("job.deleted"));
    })
    .await;
}

#[tokio::test]
async fn an_id_is_given_once_and_what_is_not_there_is_not_found() {
    let house = House::on_sqlite().await;
    open_with_site(&house).await;
    add_job(&house, "mow", job()).await.expect("created");
    let counts = house.counts().await;
    let twice = add_job(&house, "mow", job()).await.expect_err("twice");
    assert_eq!(
        reason(&twice),
        (Code::AlreadyExists, "ALREADY_EXISTS".into())
    );
    let nowhere = v1::Job {
        name: "branches/north/jobs/none".into(),
        ..job()
    };
    for refused in [
        change_job(&house, nowhere.clone(), &[]).await.map(|_| ()),
        remove_job(&house, &nowhere.name, "").await,
    ] {
        let refused = refused.expect_err("missing");
        assert_eq!(reason(&refused), (Code::NotFound, "NOT_FOUND".into()));
    }
    assert_eq!(house.counts().await, counts);
}

/// Clocks jump from 2:00 to 3:00 on March 14 and fall back from 2:00 to 1:00 on November 7 of 2027
/// (IANA time zone database).
#[tokio::test]
async fn a_time_that_comes_twice_is_told_apart_by_its_offset() {
    let house = House::on_sqlite().await;
    open_with_site(&house).await;
    for (id, offset) in [("first", -5), ("second", -6)] {
        let deadline = wall(day(11, 7), 1, 30, Some(offset));
        let due = v1::Job {
            deadline: deadline.clone(),
            ..bare(day(11, 1), day(11, 7))
        };
        let stored = add_job(&house, id, due).await.expect("created");
        assert_eq!(stored.deadline, deadline, "{id}");
    }
}
