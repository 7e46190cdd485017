//! The calls of a day, so that every statement of the server is seen.

use chrono::{Datelike, Days, Utc, Weekday};
use forenoon_proto::v1::{
    Case, CaseKind, CloseCaseRequest, ConfirmLoadRequest, DownloadPhotoRequest, EstimateJobRequest,
    GetJobRequest, GetUnitHistoryRequest, Job, JobState, ListBenchQueueRequest, ListCasesRequest,
    ListJobsRequest, ListPhotosRequest, ListPlansRequest, ListTagOutsRequest, ListVisitsRequest,
    OpenCaseRequest, PhotoHeader, Plan, PlanState, RecordServiceRequest, RecordWalkthroughRequest,
    Stop, Symptom, UploadPhotoRequest, Walkthrough, WalkthroughOutcome, WatchDayRequest,
    upload_photo_request,
};
use forenoon_tests::actors::{Api, CrewLead, Dispatcher, Mechanic};
use forenoon_tests::contents::Contents;
use forenoon_tests::make::{date, job_record, on};
use forenoon_tests::small_branch::{
    ASH, BRANCH, BRANCH_ID, LEAD, MECHANIC, branch, day, jobs, records, unit_name, unsafe_tag,
};

/// What tells that bytes are a picture: how a PNG begins and ends. W3C, Portable Network Graphics, 5.2 and 11.2.
const PICTURE: &[u8] = b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR\0\0\0\0IEND\xAE\x42\x60\x82";

/// Lists with every filter, and the commands of a day.
pub(super) async fn work_a_day(api: &Api) {
    api.create_branch(BRANCH_ID, branch()).await;
    api.import(BRANCH, records()).await;
    let dispatcher = Dispatcher::new(api, BRANCH);
    let first = dispatcher.plan(day(), 1, 200).await;
    dispatcher.publish(&first).await;
    let published = dispatcher.published(day()).await;
    dispatcher.sheets(&published).await;
    let lead = CrewLead::new(api, BRANCH, ASH);
    let spare = unsafe_tag(&unit_name("truck-3"), Symptom::Leak);
    let tag = lead.tag_out(spare).await.tag_out.expect("a tag");
    let proposals = dispatcher.propose(day(), "a truck leaks").await;
    let proposal = proposals[0].plan.as_ref().expect("a plan");
    dispatcher.accept(proposal).await;
    Mechanic::new(api, MECHANIC).bring_back(&tag).await;
    let published = dispatcher.published(day()).await;
    let stop = published
        .crew_days
        .iter()
        .find(|day| day.crew == ASH)
        .and_then(|day| day.stops.first())
        .expect("a stop");
    let visits = ListVisitsRequest {
        plan: published.name.clone(),
    };
    api.visits().list_visits(visits).await.expect("a list");
    work_last_week(api).await;
    keep_the_bench(api, &tag.unit).await;
    Contents::of(api, BRANCH).await;
    lists(api, stop).await;
}

/// Plans a Tuesday that is over, since nobody may report what is still to come, and works on it.
async fn work_last_week(api: &Api) {
    let today = Utc::now().date_naive();
    let monday = today.week(Weekday::Mon).first_day();
    let tuesday = monday - Days::new(6);
    let part = |value: u32| i32::try_from(value).expect("small");
    let tuesday = date(tuesday.year(), part(tuesday.month()), part(tuesday.day()));
    let again = jobs().into_iter().map(|job| Job {
        name: format!("{}-before", job.name),
        windows: vec![on(tuesday, Vec::new())],
        promise: None,
        ..job
    });
    api.import(BRANCH, again.map(job_record).collect()).await;
    let dispatcher = Dispatcher::new(api, BRANCH);
    let plan = dispatcher.plan(tuesday, 1, 200).await;
    dispatcher.publish(&plan).await;
    let of_ash = plan.crew_days.iter().find(|day| day.crew == ASH);
    let stop = of_ash.and_then(|day| day.stops.first());
    work_at(api, &plan, stop.expect("a stop")).await;
}

/// A crew's reports, a photograph, cases, an estimate, and somebody who watches.
async fn work_at(api: &Api, plan: &Plan, stop: &Stop) {
    let loaded = ConfirmLoadRequest {
        plan: plan.name.clone(),
        crew: ASH.to_owned(),
        ..Default::default()
    };
    api.visits().confirm_load(loaded).await.expect("loaded");
    let lead = CrewLead::new(api, BRANCH, ASH);
    let begun = lead.start(&stop.job, stop.start_time).await;
    lead.finish(&stop.job, begun.start_time).await;
    let walk = RecordWalkthroughRequest {
        job: stop.job.clone(),
        crew: ASH.to_owned(),
        walkthrough: Some(Walkthrough {
            outcome: WalkthroughOutcome::Met.into(),
            ..Default::default()
        }),
        ..Default::default()
    };
    api.visits().record_walkthrough(walk).await.expect("walked");
    let header = upload_photo_request::Part::Header(PhotoHeader {
        parent: BRANCH.to_owned(),
        subject: stop.job.clone(),
        media_type: "image/png".to_owned(),
        size_bytes: PICTURE.len().try_into().expect("small"),
    });
    let parts = [header, upload_photo_request::Part::Chunk(PICTURE.to_vec())];
    let parts = parts.map(|part| UploadPhotoRequest { part: Some(part) });
    let stored = api.visits().upload_photo(tokio_stream::iter(parts)).await;
    let download = DownloadPhotoRequest {
        parent: BRANCH.to_owned(),
        sha256: stored.expect("stored").into_inner().sha256,
    };
    let parts = api.visits().download_photo(download).await;
    let mut parts = parts.expect("a photograph").into_inner();
    while parts.message().await.expect("a part").is_some() {}
    let photos = ListPhotosRequest {
        parent: BRANCH.to_owned(),
        subjects: vec![stop.job.clone()],
        ..Default::default()
    };
    let photos = api.visits().list_photos(photos).await.expect("a list");
    assert_eq!(photos.into_inner().photos.len(), 1);
    for kind in [CaseKind::Damage, CaseKind::Callback] {
        let case = Case {
            kind: kind.into(),
            job: stop.job.clone(),
            description: "a bent edge".to_owned(),
            cause: "too near".to_owned(),
            reported_by: LEAD.to_owned(),
            ..Default::default()
        };
        let request = OpenCaseRequest {
            parent: BRANCH.to_owned(),
            case: Some(case),
            ..Default::default()
        };
        let opened = api.cases().open_case(request).await.expect("opened");
        let request = CloseCaseRequest {
            name: opened.into_inner().case.expect("a case").name,
            resolution: "put right".to_owned(),
            ..Default::default()
        };
        api.cases().close_case(request).await.expect("closed");
    }
    let job = GetJobRequest {
        name: stop.job.clone(),
    };
    let job = api.jobs().get_job(job).await.expect("the job");
    let estimate = EstimateJobRequest {
        parent: BRANCH.to_owned(),
        job: job.into_inner().job,
        crew: ASH.to_owned(),
        ..Default::default()
    };
    api.jobs().estimate_job(estimate).await.expect("estimated");
    let watch = WatchDayRequest {
        parent: BRANCH.to_owned(),
        day: Some(day()),
        ..Default::default()
    };
    let told = api.days().watch_day(watch).await.expect("watched");
    let first = told.into_inner().message().await.expect("told");
    assert!(first.is_some());
}

/// What a mechanic asks and records.
async fn keep_the_bench(api: &Api, unit: &str) {
    let parent = BRANCH.to_owned();
    let queue = ListBenchQueueRequest { parent };
    api.bench().list_bench_queue(queue).await.expect("a queue");
    let service = RecordServiceRequest {
        unit: unit.to_owned(),
        mechanic: MECHANIC.to_owned(),
        work: "oil".to_owned(),
        ..Default::default()
    };
    api.bench().record_service(service).await.expect("recorded");
    let history = GetUnitHistoryRequest {
        unit: unit.to_owned(),
    };
    api.bench()
        .get_unit_history(history)
        .await
        .expect("a history");
}

/// Lists with every filter.
async fn lists(api: &Api, stop: &Stop) {
    let parent = || BRANCH.to_owned();
    for open_only in [false, true] {
        let request = ListCasesRequest {
            parent: parent(),
            open_only,
            page_size: 1,
            ..Default::default()
        };
        let page = api.cases().list_cases(request.clone()).await;
        let request = ListCasesRequest {
            page_token: page.expect("a list").into_inner().next_page_token,
            ..request
        };
        api.cases().list_cases(request).await.expect("a list");
    }
    for (state, site, day) in [
        (JobState::Open, String::new(), None),
        (JobState::Unspecified, stop.site.clone(), None),
        (JobState::Unspecified, String::new(), Some(day())),
        (JobState::Open, String::new(), Some(day())),
    ] {
        let request = ListJobsRequest {
            parent: parent(),
            page_size: 3,
            state: state.into(),
            site,
            day,
            ..Default::default()
        };
        let page = api.jobs().list_jobs(request.clone()).await.expect("a list");
        let request = ListJobsRequest {
            page_token: page.into_inner().next_page_token,
            ..request
        };
        api.jobs().list_jobs(request).await.expect("a list");
    }
    for (day, state) in [
        (Some(day()), PlanState::Unspecified),
        (None, PlanState::Published),
    ] {
        let request = ListPlansRequest {
            parent: parent(),
            day,
            state: state.into(),
            ..Default::default()
        };
        api.plans().list_plans(request).await.expect("a list");
    }
    for (open_only, unit) in [(true, String::new()), (false, unit_name("truck-3"))] {
        let request = ListTagOutsRequest {
            parent: parent(),
            open_only,
            unit,
            ..Default::default()
        };
        api.tag_outs().list_tag_outs(request).await.expect("a list");
    }
}
