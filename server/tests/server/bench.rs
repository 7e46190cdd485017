//! The bench as mechanics and crews meet it: limits, reopening, the printed tag, the queue, services and history.

use forenoon_proto::v1;
use forenoon_proto::v1::crew_service_client::CrewServiceClient;
use forenoon_proto::v1::unit_service_client::UnitServiceClient;
use forenoon_server::work::bench::BenchRules;
use tonic::Code;

use crate::actors::{Api, asking, date};
use crate::house::{House, faults, on_both, reason};
use crate::mowing_yard::{BRANCH, MOWERS, first_day, furnish, name};
use crate::yard::obstacles;

async fn limited(
    api: &mut Api,
    unit: &str,
    severity: v1::Severity,
    forbidden: &[v1::TaskKind],
) -> Result<v1::TagOut, tonic::Status> {
    let request = v1::TagOutRequest {
        parent: BRANCH.into(),
        tag_out: Some(v1::TagOut {
            unit: name("units", unit),
            symptom: v1::Symptom::PowerLoss.into(),
            severity: severity.into(),
            forbidden_tasks: forbidden.iter().map(|kind| (*kind).into()).collect(),
            found_by: name("workers", "lead-ash"),
            ..Default::default()
        }),
        ..Default::default()
    };
    let answer = api.tags.tag_out(asking(request)).await?;
    Ok(answer.into_inner().tag_out.expect("a tag"))
}

async fn reopen(api: &mut Api, tag: &str) -> Result<v1::ReopenTagOutResponse, tonic::Status> {
    let request = v1::ReopenTagOutRequest {
        name: tag.into(),
        reopened_by: name("workers", "hand-ash"),
        description: "shakes again under load".into(),
        ..Default::default()
    };
    Ok(api.tags.reopen_tag_out(asking(request)).await?.into_inner())
}

async fn queue(api: &mut Api) -> v1::ListBenchQueueResponse {
    let request = v1::ListBenchQueueRequest {
        parent: BRANCH.into(),
    };
    let answer = api.bench.list_bench_queue(asking(request)).await;
    answer.expect("the queue").into_inner()
}

/// Guards limits: what a reduced unit must not do is demanded and kept, an unsafe one has none, and a draft made before
/// the tag that wants the unit for it is not published after.
#[tokio::test]
async fn a_limited_unit_goes_out_and_not_for_what_its_tag_forbids() {
    on_both(async |house| {
        furnish(&house.database, &[]).await;
        let mut api = Api::of(house);
        let (mow, brush) = (v1::TaskKind::Mow, v1::TaskKind::CutBrush);
        for (severity, kinds, fault) in [
            (v1::Severity::Reduced, &[][..], "REQUIRED"),
            (v1::Severity::Unsafe, &[mow], "CONFLICT"),
            (v1::Severity::Reduced, &[mow, mow], "DUPLICATE"),
        ] {
            let refused = limited(&mut api, "m-1", severity, kinds).await;
            let field = "tag_out.forbidden_tasks".to_owned();
            assert_eq!(
                faults(&refused.expect_err("refused")),
                [(field, fault.to_owned())]
            );
        }
        let draft = api.plan(first_day(), 300).await.expect("a plan");
        for mower in MOWERS {
            limited(&mut api, mower, v1::Severity::Reduced, &[brush])
                .await
                .expect("tagged");
        }
        api.publish(draft.name).await.expect("mowing is allowed");
        let published = api.plan(first_day(), 300).await.expect("a plan");
        assert!(
            published
                .crew_days
                .iter()
                .any(|crew| !crew.stops.is_empty()),
            "limited mowers still mow"
        );
    })
    .await;
}

/// The other way round: mowing is what they must not do.
#[tokio::test]
async fn a_draft_that_wants_a_forbidden_use_is_refused() {
    on_both(async |house| {
        furnish(&house.database, &[]).await;
        let mut api = Api::of(house);
        let draft = api.plan(first_day(), 300).await.expect("a plan");
        for mower in MOWERS {
            limited(&mut api, mower, v1::Severity::Reduced, &[v1::TaskKind::Mow])
                .await
                .expect("tagged");
        }
        let refused = api.publish(draft.name).await.expect_err("refused");
        assert_eq!(
            reason(&refused),
            (Code::FailedPrecondition, "UNIT_LIMITED".into())
        );
        let none = api.plan(first_day(), 300).await.expect("a plan");
        assert_eq!(none.totals.expect("totals").planned_jobs, 0);
    })
    .await;
}

/// Guards reopening: a released tag stays as it was, a new one takes it up once, and the unit is out at once.
#[tokio::test]
async fn a_release_is_taken_back_by_a_new_tag() {
    on_both(async |house| {
        furnish(&house.database, &[]).await;
        let mut api = Api::of(house);
        let tag = api.tag("m-1").await.expect("tagged");
        let early = reopen(&mut api, &tag.name).await.expect_err("it is open");
        assert_eq!(
            reason(&early),
            (Code::FailedPrecondition, "TAG_OUT_STATE".into())
        );
        api.mend(&tag.name).await.expect("mended");
        let again = reopen(&mut api, &tag.name).await.expect("reopened");
        let again = again.tag_out.expect("a tag");
        assert_eq!(again.reopens, tag.name);
        assert_ne!(again.name, tag.name);
        assert_eq!(again.unit, tag.unit);
        assert_eq!(again.state(), v1::TagOutState::Tagged);
        assert!(again.repair.is_empty() && again.release_time.is_none());
        let request = v1::GetTagOutRequest {
            name: tag.name.clone(),
        };
        let first = api.tags.get_tag_out(asking(request)).await.expect("read");
        let first = first.into_inner().tag_out.expect("a tag");
        assert_eq!(first.state(), v1::TagOutState::Released);
        assert_eq!(first.repair, "new blade");
        let plan = api.plan(first_day(), 300).await.expect("a plan");
        let aboard = plan.crew_days.iter().flat_map(|crew| &crew.load_out);
        assert!(aboard.into_iter().all(|unit| *unit != tag.unit));
        let twice = reopen(&mut api, &tag.name)
            .await
            .expect_err("it is open again");
        assert_eq!(
            reason(&twice),
            (Code::FailedPrecondition, "ALREADY_TAGGED_OUT".into())
        );
        api.mend(&again.name).await.expect("mended");
        let stale = reopen(&mut api, &tag.name)
            .await
            .expect_err("taken up once");
        assert_eq!(stale.code(), Code::AlreadyExists, "{stale:?}");
    })
    .await;
}

/// Guards the setting: where the company wants another inspector, the repairer is refused and another mechanic is not.
#[tokio::test]
async fn the_inspector_differs_where_the_company_wants_it() {
    for (inspector_differs, may) in [(false, true), (true, false)] {
        let house = House::with_rules(BenchRules {
            inspector_differs,
            ..BenchRules::default()
        })
        .await;
        furnish(&house.database, &[]).await;
        let mut api = Api::of(&house);
        let tag = api.tag("m-1").await.expect("tagged").name;
        let moss = name("workers", "moss");
        api.tags
            .record_diagnosis(asking(v1::RecordDiagnosisRequest {
                name: tag.clone(),
                mechanic: moss.clone(),
                diagnosis: "bent blade".into(),
                ..Default::default()
            }))
            .await
            .expect("diagnosed");
        api.tags
            .record_repair(asking(v1::RecordRepairRequest {
                name: tag.clone(),
                mechanic: moss.clone(),
                repair: "new blade".into(),
                ..Default::default()
            }))
            .await
            .expect("repaired");
        let own = api
            .tags
            .record_inspection(asking(v1::RecordInspectionRequest {
                name: tag.clone(),
                mechanic: moss,
                inspection: "runs true".into(),
                passed: true,
                ..Default::default()
            }))
            .await;
        match own {
            Ok(_) => assert!(may),
            Err(status) => {
                assert!(!may);
                assert_eq!(
                    reason(&status),
                    (Code::FailedPrecondition, "OWN_REPAIR".into())
                );
            }
        }
    }
}

/// Guards a repair that is found bad: its own mechanic says so, by a failed inspection or by another diagnosis, and a unit that
/// was passed and is diagnosed again is not released by the inspection of before.
#[tokio::test]
async fn a_bad_repair_is_told_by_its_repairer_and_voids_the_inspection() {
    let house = House::with_rules(BenchRules {
        inspector_differs: true,
        ..BenchRules::default()
    })
    .await;
    furnish(&house.database, &[]).await;
    let mut api = Api::of(&house);
    let tag = api.tag("m-1").await.expect("tagged").name;
    let (moss, fern) = (name("workers", "moss"), name("workers", "fern"));
    let diagnose = v1::RecordDiagnosisRequest {
        name: tag.clone(),
        mechanic: moss.clone(),
        diagnosis: "the new blade is bent".into(),
        ..Default::default()
    };
    let repair = v1::RecordRepairRequest {
        name: tag.clone(),
        mechanic: moss.clone(),
        repair: "new blade".into(),
        ..Default::default()
    };
    let inspect = |mechanic: &str, passed| v1::RecordInspectionRequest {
        name: tag.clone(),
        mechanic: mechanic.into(),
        inspection: "run up".into(),
        passed,
        ..Default::default()
    };
    let release = v1::ReleaseTagOutRequest {
        name: tag.clone(),
        mechanic: fern.clone(),
        ..Default::default()
    };
    let state = |tag: Option<v1::TagOut>| tag.expect("a tag").state();
    macro_rules! step {
        ($call:ident, $request:expr) => {
            api.tags.$call(asking($request)).await
        };
    }
    step!(record_diagnosis, diagnose.clone()).expect("diagnosed");
    step!(record_repair, repair.clone()).expect("repaired");
    let failed = step!(record_inspection, inspect(&moss, false)).expect("their own, failed");
    let diagnosed = v1::TagOutState::Diagnosed;
    assert_eq!(state(failed.into_inner().tag_out), diagnosed);
    step!(record_repair, repair).expect("repaired");
    let own = step!(record_inspection, inspect(&moss, true)).expect_err("their own, passed");
    assert_eq!(reason(&own).1, "OWN_REPAIR");
    let again = step!(record_diagnosis, diagnose.clone()).expect("diagnosed again");
    assert_eq!(state(again.into_inner().tag_out), diagnosed);
    let own = step!(record_inspection, inspect(&moss, true)).expect_err("still their own");
    assert_eq!(reason(&own).1, "OWN_REPAIR");
    step!(record_inspection, inspect(&fern, true)).expect("passed");
    let void = step!(record_diagnosis, diagnose).expect("diagnosed once more");
    let void = void.into_inner().tag_out.expect("a tag");
    assert_eq!((void.state(), void.inspected_by.as_str()), (diagnosed, ""));
    let refused = step!(release_tag_out, release.clone()).expect_err("refused");
    assert_eq!(reason(&refused).1, "TAG_OUT_STATE");
    step!(record_inspection, inspect(&fern, true)).expect("passed");
    step!(release_tag_out, release).expect("released");
}

/// Guards the printed tag: it is the tag's own.
#[tokio::test]
async fn a_tag_is_drawn_with_its_number_and_contact() {
    let house = House::on_sqlite().await;
    furnish(&house.database, &[]).await;
    let mut api = Api::of(&house);
    let tag = api.tag("m-1").await.expect("tagged");
    let request = v1::RenderTagOutRequest { name: tag.name };
    let answer = api.tags.render_tag_out(asking(request)).await;
    let svg = answer.expect("drawn").into_inner().svg;
    for words in [
        "<svg",
        ">t-1<",
        ">LG-m-1<",
        "lead-ash, 555-0100",
        "DO NOT OPERATE",
    ] {
        assert!(svg.contains(words), "missing {words:?}");
    }
    let request = v1::RenderTagOutRequest {
        name: name("tagOuts", "t-9"),
    };
    let missing = api.tags.render_tag_out(asking(request)).await;
    assert_eq!(missing.expect_err("none").code(), Code::NotFound);
    // A unit that may go out again must not carry "do not operate".
    let tag = name("tagOuts", "t-1");
    api.mend(&tag).await.expect("mended");
    let request = v1::RenderTagOutRequest { name: tag };
    let released = api.tags.render_tag_out(asking(request)).await;
    assert_eq!(
        reason(&released.expect_err("released")),
        (Code::FailedPrecondition, "TAG_OUT_STATE".into())
    );
}

/// Guards the order: with every blower out the jobs are stuck and blowers come first; a mower that the published day
/// works with comes before one that nobody wants, though that one was tagged first.
#[tokio::test]
async fn the_queue_goes_by_who_is_wanted_when() {
    on_both(async |house| {
        furnish(&house.database, &[]).await;
        let mut api = Api::of(house);
        let plan = api.plan(first_day(), 300).await.expect("a plan");
        api.publish(plan.name.clone()).await.expect("published");
        let used: Vec<&String> = plan
            .crew_days
            .iter()
            .flat_map(|crew| &crew.load_out)
            .collect();
        let idle = MOWERS
            .iter()
            .find(|id| !used.contains(&&name("units", id)))
            .expect("a spare mower");
        let busy = MOWERS
            .iter()
            .find(|id| used.contains(&&name("units", id)))
            .expect("a mower at work");
        api.tag(idle).await.expect("tagged");
        api.tag(busy).await.expect("tagged");
        let units = |queue: &v1::ListBenchQueueResponse| -> Vec<String> {
            let tags = queue.items.iter().filter_map(|item| item.tag_out.as_ref());
            tags.map(|tag| tag.unit.clone()).collect()
        };
        let both = queue(&mut api).await;
        assert_eq!(units(&both)[0], name("units", busy));
        assert!(both.items[0].planned_stops > 0 && both.items[0].late);
        let soon = both.items[0].next_need_time.expect("wanted");
        assert!(
            both.items[1]
                .next_need_time
                .is_none_or(|later| soon.seconds < later.seconds)
        );
        assert_eq!(both.items[1].planned_stops, 0);
        for blower in ["b-1", "b-2", "b-3", "b-4"] {
            api.tag(blower).await.expect("tagged");
        }
        let stuck = queue(&mut api).await;
        assert!(units(&stuck)[..4].iter().all(|unit| unit.contains("/b-")));
        assert!(
            stuck.items[..4]
                .iter()
                .all(|item| item.jobs_without_substitute == 9)
        );
    })
    .await;
}

/// Guards services: 100 hours run with one due every 50 is overdue; where the company wants it the unit stays in until a
/// mechanic has serviced it. Nobody else services.
#[tokio::test]
async fn a_service_that_is_due_warns_or_keeps_in() {
    for keeps_in in [false, true] {
        let house = House::with_rules(BenchRules {
            service_due_keeps_in: keeps_in,
            ..BenchRules::default()
        })
        .await;
        furnish(&house.database, &[]).await;
        let mut api = Api::of(&house);
        let due = queue(&mut api).await.services_due;
        assert_eq!(due.len(), MOWERS.len() + 4);
        assert!(due.iter().all(|one| (one.hours_left + 50.0).abs() < 1e-9));
        assert!(due.iter().all(|one| one.kept_in == keeps_in));
        let plan = api.plan(first_day(), 300).await.expect("a plan");
        let planned = plan.totals.expect("totals").planned_jobs;
        assert_eq!(planned == 0, keeps_in, "{planned} jobs");
        let service = |unit: &str, mechanic: &str| v1::RecordServiceRequest {
            unit: name("units", unit),
            mechanic: name("workers", mechanic),
            work: "oil, blades ground".into(),
            ..Default::default()
        };
        let refused = api
            .bench
            .record_service(asking(service("m-1", "lead-ash")))
            .await;
        assert_eq!(
            refused.expect_err("no mechanic").code(),
            Code::PermissionDenied
        );
        for unit in ["m-1", "b-1"] {
            let done = api
                .bench
                .record_service(asking(service(unit, "moss")))
                .await;
            let done = done.expect("serviced").into_inner().service.expect("one");
            assert!((done.effective_hours - 100.0).abs() < 1e-9);
        }
        assert_eq!(queue(&mut api).await.services_due.len(), MOWERS.len() + 2);
        let plan = api.plan(first_day(), 300).await.expect("a plan");
        assert!(plan.totals.expect("totals").planned_jobs > 0);
        let request = v1::GetUnitHistoryRequest {
            unit: name("units", "m-1"),
        };
        let history = api.bench.get_unit_history(asking(request)).await;
        let history = history.expect("a history").into_inner();
        assert_eq!(history.services.len(), 1);
        assert!(history.hours_since_service.abs() < 1e-9);
    }
}

/// Guards history: hours of visits count by their severity, two failures halve the hours between them, a tag taken up
/// again is no new failure, and the time out is told.
#[tokio::test]
async fn a_history_counts_hours_failures_and_time_out() {
    let house = House::on_sqlite().await;
    furnish(&house.database, &[]).await;
    let mut api = Api::of(&house);
    let first = api.tag("m-1").await.expect("tagged").name;
    house.set_clock("2027-04-20T13:45:00Z");
    api.mend(&first).await.expect("mended");
    let again = reopen(&mut api, &first).await.expect("reopened");
    house.set_clock("2027-04-20T17:45:00Z");
    api.mend(&again.tag_out.expect("a tag").name)
        .await
        .expect("mended");
    house.set_clock("2027-04-21T11:45:00Z");
    let second = api.tag("m-1").await.expect("tagged").name;
    house.set_clock("2027-04-21T20:45:00Z");
    api.mend(&second).await.expect("mended");
    let request = v1::GetUnitHistoryRequest {
        unit: name("units", "m-1"),
    };
    let history = api.bench.get_unit_history(asking(request)).await;
    let history = history.expect("a history").into_inner();
    assert_eq!(history.tag_outs.len(), 3);
    assert_eq!(history.failures, 2);
    // The hours it came with were run before anybody here counted failures.
    assert!(history.mean_hours_between_failures.abs() < 1e-9);
    assert!((history.effective_hours - 100.0).abs() < 1e-9);
    // Out 2, 4 and 9 hours.
    assert_eq!(
        history.mean_time_to_repair.expect("a mean").seconds,
        5 * 3_600
    );
}

/// A crew's first stop, done from 8 to 9 with an hour of work for each task; the unit of its first task.
async fn work_an_hour(house: &House, api: &mut Api) -> String {
    let plan = api.plan(first_day(), 300).await.expect("a plan");
    api.publish(plan.name.clone()).await.expect("published");
    let busy = plan.crew_days.iter().find(|crew| !crew.stops.is_empty());
    let busy = busy.expect("a crew at work");
    let stop = &busy.stops[0];
    house.set_clock("2027-04-20T13:00:00Z");
    api.start(&stop.job, &busy.crew).await.expect("started");
    house.set_clock("2027-04-20T14:00:00Z");
    let actuals = stop.tasks.iter().map(|task| v1::TaskActual {
        task_id: task.task_id.clone(),
        duration: Some(prost_types::Duration {
            seconds: 3_600,
            nanos: 0,
        }),
        units: task.units.clone(),
    });
    let request = v1::FinishJobRequest {
        job: stop.job.clone(),
        crew: busy.crew.clone(),
        task_actuals: actuals.collect(),
        ..Default::default()
    };
    api.visits
        .finish_job(asking(request))
        .await
        .expect("finished");
    stop.tasks[0].units[0].clone()
}

async fn history(api: &mut Api, unit: &str) -> v1::GetUnitHistoryResponse {
    let request = v1::GetUnitHistoryRequest { unit: unit.into() };
    let answer = api.bench.get_unit_history(asking(request)).await;
    answer.expect("a history").into_inner()
}

/// Guards the mean: failures since records began are set against the hours since then, and not against those that the unit
/// came with.
#[tokio::test]
async fn hours_before_the_records_keep_no_failures_apart() {
    let house = House::on_sqlite().await;
    furnish(&house.database, &[]).await;
    let mut api = Api::of(&house);
    let unit = work_an_hour(&house, &mut api).await;
    let id = unit.rsplit('/').next().expect("an id");
    for _ in 0..2 {
        let tag = api.tag(id).await.expect("tagged").name;
        api.mend(&tag).await.expect("mended");
    }
    let told = history(&mut api, &unit).await;
    let run = told.effective_hours - 100.0;
    assert!(run > 0.5, "{told:?}");
    assert!((told.mean_hours_between_failures - run / 2.0).abs() < 1e-9);
}

/// Guards services told late: one of yesterday evening has none of this morning's hours, and one of now has them.
#[tokio::test]
async fn a_service_told_late_is_stored_with_the_hours_of_its_time() {
    on_both(async |house| {
        furnish(&house.database, &[]).await;
        let mut api = Api::of(house);
        let unit = work_an_hour(house, &mut api).await;
        let run = history(&mut api, &unit).await.effective_hours;
        for (time, hours) in [
            (Some("2027-04-19T22:00:00Z"), 100.0),
            (None, run),
            (Some("2027-04-20T12:30:00Z"), 100.0),
        ] {
            let request = v1::RecordServiceRequest {
                unit: unit.clone(),
                mechanic: name("workers", "moss"),
                work: "oil".into(),
                service_time: time.map(|time| time.parse().expect("an instant")),
                ..Default::default()
            };
            let done = api.bench.record_service(asking(request)).await;
            let done = done.expect("serviced").into_inner().service.expect("one");
            assert!(
                (done.effective_hours - hours).abs() < 1e-9,
                "{time:?} {done:?}"
            );
        }
    })
    .await;
}

/// Guards deletes: a unit, and the mechanic who serviced it, are kept with the service, which is named.
#[tokio::test]
async fn who_serviced_what_is_kept_and_named() {
    on_both(async |house| {
        furnish(&house.database, &[]).await;
        let mut api = Api::of(house);
        let unit = name("units", "m-1");
        let request = v1::RecordServiceRequest {
            unit: unit.clone(),
            mechanic: name("workers", "moss"),
            work: "oil".into(),
            ..Default::default()
        };
        let done = api.bench.record_service(asking(request)).await;
        done.expect("serviced");
        let still = [("STILL_REFERRED_TO".to_owned(), unit.clone())];
        let mut crews = CrewServiceClient::new(house.channel());
        let request = v1::DeleteWorkerRequest {
            name: name("workers", "moss"),
            ..Default::default()
        };
        let refused = crews.delete_worker(asking(request)).await;
        assert_eq!(obstacles(refused.map(drop)), still);
        let mut units = UnitServiceClient::new(house.channel());
        let request = v1::DeleteUnitRequest {
            name: unit,
            ..Default::default()
        };
        let refused = units.delete_unit(asking(request)).await;
        assert_eq!(obstacles(refused.map(drop)), still);
    })
    .await;
}

/// Guards a re-plan with what no record tells: an absent crew gets nothing, the choice is told, and what happened is
/// refused where it names what is not there.
#[tokio::test]
async fn a_replan_takes_what_happened_into_account() {
    let house = House::on_sqlite().await;
    furnish(&house.database, &[]).await;
    let mut api = Api::of(&house);
    let plan = api.plan(first_day(), 300).await.expect("a plan");
    api.publish(plan.name.clone()).await.expect("published");
    let busy = plan
        .crew_days
        .iter()
        .find(|crew| !crew.stops.is_empty())
        .expect("a crew at work");
    let ask = |disruption| v1::ProposeReplanRequest {
        parent: BRANCH.into(),
        day: Some(date(first_day())),
        cause: "it is so".into(),
        seed: 1,
        iterations: 200,
        disruptions: vec![v1::Disruption {
            disruption: Some(disruption),
        }],
        ..Default::default()
    };
    let absent = v1::disruption::Disruption::AbsentCrew(busy.crew.clone());
    let answer = api.plans.propose_replan(asking(ask(absent))).await;
    let proposals = answer.expect("proposals").into_inner().proposals;
    assert!(!proposals.is_empty());
    for proposal in &proposals {
        let plan = proposal.plan.as_ref().expect("its plan");
        let crew = plan.crew_days.iter().find(|crew| crew.crew == busy.crew);
        assert!(crew.is_none_or(|crew| crew.stops.is_empty()));
        assert!(!proposal.title.is_empty());
        assert_eq!(
            proposal.extra_cost.as_ref().expect("a cost").currency_code,
            "USD"
        );
        assert_eq!(proposal.calls.len(), proposal.sites_to_phone.len());
    }
    let unknown = v1::disruption::Disruption::AbsentCrew(name("crews", "nobody"));
    let refused = api.plans.propose_replan(asking(ask(unknown))).await;
    assert_eq!(
        faults(&refused.expect_err("refused")),
        [("disruptions".to_owned(), "UNKNOWN_REFERENCE".to_owned())]
    );
    let backwards = v1::disruption::Disruption::WorkStop(v1::WorkStop {
        kinds: vec![v1::TaskKind::Mow.into()],
        start_time: Some("2027-04-20T15:00:00Z".parse().expect("an instant")),
        end_time: Some("2027-04-20T14:00:00Z".parse().expect("an instant")),
    });
    let refused = api.plans.propose_replan(asking(ask(backwards))).await;
    assert_eq!(
        faults(&refused.expect_err("refused")),
        [(
            "disruptions[0].work_stop.end_time".to_owned(),
            "END_BEFORE_START".to_owned()
        )]
    );
}

/// Guards whom the mechanic asks: a contact of empty words is nobody.
#[tokio::test]
async fn a_tag_with_nobody_to_ask_is_refused() {
    on_both(async |house| {
        furnish(&house.database, &[]).await;
        let mut api = Api::of(house);
        let found_by_nobody = |contact: v1::Contact| v1::TagOutRequest {
            parent: BRANCH.into(),
            tag_out: Some(v1::TagOut {
                unit: name("units", MOWERS[0]),
                symptom: v1::Symptom::Leak.into(),
                severity: v1::Severity::Unsafe.into(),
                contact: Some(contact),
                ..Default::default()
            }),
            ..Default::default()
        };
        let nobody = found_by_nobody(v1::Contact::default());
        let refused = api.tags.tag_out(asking(nobody)).await.expect_err("refused");
        assert_eq!(
            faults(&refused),
            [("tag_out.contact".to_owned(), "REQUIRED".to_owned())]
        );
        let somebody = found_by_nobody(v1::Contact {
            phone: "555-0101".into(),
            ..Default::default()
        });
        api.tags.tag_out(asking(somebody)).await.expect("tagged");
    })
    .await;
}
