//! Goal: old days go into files and nothing is lost; what is recent, and what is not over, is as it was.
//! Method: a yard with two old months and a recent day is archived under a later clock; rows are compared one by one with
//! those before, and the files are brought into an empty server. Runs are cut off anywhere and begun again.

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};
use std::time::Duration;

use chrono::{DateTime, NaiveDate, TimeDelta, Utc};
use forenoon_proto::v1;
use forenoon_proto::v1::case_service_client::CaseServiceClient;
use forenoon_proto::v1::transfer_service_client::TransferServiceClient;
use forenoon_server::work::archive::{ArchivedMonth, archive};
use forenoon_server::work::bench::settle;
use forenoon_store::entity::{job, photo, photo_subject};
use forenoon_store::rows;
use forenoon_store::sea_orm::{DatabaseBackend, EntityTrait, QueryOrder};
use futures::StreamExt;
use serde_json::Value;
use tempfile::TempDir;
use tonic::Code;

use crate::actors::{Api, asking};
use crate::house::{House, on_both};
use crate::mowing_yard::{BRANCH, CREWS, MOWERS, furnish, name};
use crate::rows::execute;

const ID: &str = "larkmoor";
const DAYS_KEPT: u32 = 401;
/// Tables whose rows go, or stay as they are.
const HISTORY: [&str; 13] = [
    "job",
    "plan",
    "plan_draft",
    "plan_crew_day",
    "plan_load_out",
    "plan_stop",
    "plan_unplanned",
    "visit",
    "crew_load",
    "site_case",
    "tag_out",
    "audit_entry",
    "outbox_event",
];

fn days() -> [NaiveDate; 4] {
    [(2027, 4, 20), (2027, 4, 21), (2027, 5, 4), (2028, 7, 10)]
        .map(|(year, month, day)| NaiveDate::from_ymd_opt(year, month, day).expect("a date"))
}

/// Late enough for April and May to be old, and the fourth day recent.
fn later() -> DateTime<Utc> {
    "2028-07-20T12:00:00Z".parse().expect("an instant")
}

/// Plans, publishes and works each day; the second has a case that stays open, the third a tag that is released.
async fn lived_in(house: &House) -> Vec<String> {
    furnish(&house.database, &days()).await;
    let mut api = Api::of(house);
    let mut plans = Vec::new();
    for (number, day) in days().into_iter().enumerate() {
        house.set_clock(&format!("{day}T11:00:00Z"));
        let plan = api.plan(day, 200).await.expect("a plan");
        api.publish(plan.name.clone()).await.expect("published");
        if number == 0 {
            api.plan(day, 200).await.expect("one that stays a draft");
        }
        let job = name("jobs", &format!("today-{number}"));
        let crew = plan
            .crew_days
            .iter()
            .find(|crew| crew.stops.iter().any(|stop| stop.job == job))
            .expect("the day's job is planned");
        house.set_clock(&format!("{day}T15:00:00Z"));
        api.start(&job, &crew.crew).await.expect("started");
        house.set_clock(&format!("{day}T16:00:00Z"));
        finish(&mut api, &job, &crew.crew, number).await;
        if number == 1 {
            open_case(house, &job).await;
        }
        if number == 2 {
            let tag = api.tag("m-7").await.expect("tagged");
            api.mend(&tag.name).await.expect("mended");
        }
        plans.push(plan.name);
    }
    house.set_clock("2028-07-20T12:00:00Z");
    plans
}

async fn finish(api: &mut Api, job: &str, crew: &str, number: usize) {
    let request = v1::FinishJobRequest {
        job: job.into(),
        crew: crew.into(),
        task_actuals: vec![v1::TaskActual {
            task_id: "mow".into(),
            duration: Some(prost_types::Duration {
                seconds: 3_600,
                nanos: 0,
            }),
            units: vec![name("units", MOWERS[number])],
        }],
        ..Default::default()
    };
    api.visits
        .finish_job(asking(request))
        .await
        .expect("finished");
}

async fn open_case(house: &House, job: &str) {
    let request = v1::OpenCaseRequest {
        parent: BRANCH.into(),
        case: Some(v1::Case {
            kind: v1::CaseKind::Complaint.into(),
            job: job.into(),
            description: "grass on the drive".into(),
            ..Default::default()
        }),
        ..Default::default()
    };
    CaseServiceClient::new(house.channel())
        .open_case(asking(request))
        .await
        .expect("opened");
}

async fn close_case(house: &House) {
    let mut cases = CaseServiceClient::new(house.channel());
    let request = v1::ListCasesRequest {
        parent: BRANCH.into(),
        ..Default::default()
    };
    let all = cases
        .list_cases(request)
        .await
        .expect("a list")
        .into_inner();
    let request = v1::CloseCaseRequest {
        name: all.cases[0].name.clone(),
        resolution: "blown off".into(),
        ..Default::default()
    };
    cases.close_case(asking(request)).await.expect("closed");
}

async fn run(house: &House, folder: &Path) -> Vec<ArchivedMonth> {
    archive(&house.database, &later, ID, DAYS_KEPT, folder)
        .await
        .expect("archived")
}

/// A run on April in which nothing goes, for these days stay.
fn stays(held: &[(NaiveDate, String)]) -> ArchivedMonth {
    ArchivedMonth {
        first: NaiveDate::from_ymd_opt(2027, 4, 1).expect("a date"),
        file: None,
        filed: 0,
        removed: 0,
        held: held.to_vec(),
    }
}

/// Every row of the history, as text, by table.
async fn history(house: &House) -> BTreeSet<(String, String)> {
    let read = house.database.begin_read().await.expect("a transaction");
    let mut all = BTreeSet::new();
    for table in HISTORY {
        let mut rows = rows::rows(&read, table, ID, None).await.expect("rows");
        while let Some(row) = rows.next().await {
            all.insert((table.to_owned(), row.expect("a row").to_string()));
        }
    }
    all
}

/// Every row of whole files, as text, by table.
fn filed(folder: &Path) -> BTreeSet<(String, String)> {
    let mut all = BTreeSet::new();
    for file in files(folder) {
        let text = std::fs::read_to_string(file).expect("a file");
        let lines: Vec<Value> = text
            .lines()
            .filter_map(|line| serde_json::from_str(line).ok())
            .collect();
        if lines.last().is_none_or(|last| last.get("end").is_none()) {
            continue;
        }
        for line in &lines {
            if let Some(table) = line["table"].as_str() {
                all.insert((table.to_owned(), line["row"].to_string()));
            }
        }
    }
    all
}

fn files(folder: &Path) -> Vec<PathBuf> {
    let mut files: Vec<PathBuf> = std::fs::read_dir(folder)
        .expect("the folder")
        .map(|entry| entry.expect("an entry").path())
        .collect();
    files.sort();
    files
}

/// What the bench knows of each mower: hours of its life, and since its service.
async fn hours(api: &mut Api) -> BTreeMap<String, (f64, f64)> {
    let mut all = BTreeMap::new();
    for mower in MOWERS {
        let unit = name("units", mower);
        let request = v1::GetUnitHistoryRequest { unit };
        let told = api.bench.get_unit_history(request).await;
        let told = told.expect("a history").into_inner();
        let since = told.hours_since_service;
        all.insert(mower.to_owned(), (told.effective_hours, since));
    }
    all
}

/// What is asked every morning: the recent day, the bench, an estimate from what was learnt, all cases and tags.
async fn recent(house: &House, plan: &str) -> String {
    let mut api = Api::of(house);
    let plan = plan.to_owned();
    let get = v1::GetPlanRequest { name: plan.clone() };
    let get = api.plans.get_plan(get).await.expect("a plan");
    let sheets = v1::ListCrewSheetsRequest {
        plan: plan.clone(),
        crew: String::new(),
    };
    let sheets = api.plans.list_crew_sheets(sheets).await.expect("sheets");
    let visits = v1::ListVisitsRequest { plan };
    let visits = api.visits.list_visits(visits).await.expect("visits");
    let queue = v1::ListBenchQueueRequest {
        parent: BRANCH.into(),
    };
    let queue = api.bench.list_bench_queue(queue).await.expect("a queue");
    let tags = v1::ListTagOutsRequest {
        parent: BRANCH.into(),
        ..Default::default()
    };
    let tags = api.tags.list_tag_outs(tags).await.expect("tags");
    let cases = v1::ListCasesRequest {
        parent: BRANCH.into(),
        ..Default::default()
    };
    let cases = CaseServiceClient::new(house.channel())
        .list_cases(cases)
        .await
        .expect("cases");
    format!(
        "{:#?}",
        (
            get.into_inner(),
            sheets.into_inner(),
            visits.into_inner(),
            queue.into_inner(),
            tags.into_inner(),
            cases.into_inner(),
        )
    )
}

async fn bring_in(house: &House, file: &Path) -> v1::ImportBranchResponse {
    let bytes = std::fs::read(file).expect("the file");
    let header = v1::ImportBranchHeader {
        branch_id: ID.into(),
        request_id: String::new(),
    };
    let mut parts = vec![v1::ImportBranchRequest {
        part: Some(v1::import_branch_request::Part::Header(header)),
    }];
    parts.extend(bytes.chunks(500_000).map(|chunk| v1::ImportBranchRequest {
        part: Some(v1::import_branch_request::Part::Chunk(chunk.to_vec())),
    }));
    TransferServiceClient::new(house.channel())
        .import_branch(futures::stream::iter(parts))
        .await
        .expect("brought in")
        .into_inner()
}

#[tokio::test]
async fn old_days_go_whole_and_the_rest_is_as_it_was() {
    on_both(async |house| {
        let folder = TempDir::new().expect("a folder");
        let plans = lived_in(house).await;
        let mut api = Api::of(house);
        let before = history(house).await;
        let known = (recent(house, &plans[3]).await, hours(&mut api).await);
        assert!(known.1["m-1"].0 > 100.5, "a visit's hours: {:?}", known.1);
        let archived = run(house, folder.path()).await;

        // April and May, but for the day with the open case.
        let months: Vec<String> = archived
            .iter()
            .map(|month| month.first.to_string())
            .collect();
        assert_eq!(months, ["2027-04-01", "2027-05-01"]);
        let held: Vec<NaiveDate> = archived
            .iter()
            .flat_map(|month| month.held.iter().map(|(day, _)| *day))
            .collect();
        assert_eq!(held, [days()[1]]);
        assert!(archived[0].held[0].1.contains("is open"), "{archived:?}");
        for (number, there) in [(0, false), (1, true), (2, false), (3, true)] {
            let plan = v1::GetPlanRequest {
                name: plans[number].clone(),
            };
            let found = api.plans.get_plan(plan).await;
            assert_eq!(found.is_ok(), there, "{}", plans[number]);
        }

        // The files have the customers' data, and are nobody else's to read.
        #[cfg(unix)]
        for file in files(folder.path()) {
            let metadata = std::fs::metadata(file).expect("the file");
            let mode = std::os::unix::fs::PermissionsExt::mode(&metadata.permissions());
            assert_eq!(mode & 0o777, 0o600);
        }

        // What is asked every morning has not changed, and no row is lost.
        assert_eq!(recent(house, &plans[3]).await, known.0);
        assert_eq!(hours(&mut api).await, known.1);
        let after = history(house).await;
        let in_files = filed(folder.path());
        for row in &before {
            assert!(after.contains(row) || in_files.contains(row), "{row:?}");
        }
        let gone = |table: &str| {
            let of = |rows: &BTreeSet<(String, String)>| {
                rows.iter().filter(|(of, _)| of == table).count()
            };
            of(&before) - of(&after)
        };
        // Each day's own job has gone but the third's, which the season's jobs, cases and tags do not name either.
        assert_eq!((gone("plan"), gone("visit"), gone("job")), (3, 2, 2));
        assert_eq!(gone("plan_draft"), 1);
        assert!(gone("plan_stop") > 0);
        assert_eq!((gone("tag_out"), gone("site_case")), (0, 0));
        let removed: u64 = archived.iter().map(|month| month.removed).sum();
        assert!(removed > 50, "{archived:?}");

        // A second run finds nothing more, and tells the day that stays and why; once the case is closed the day goes, into a
        // file of its own.
        assert_eq!(run(house, folder.path()).await, [stays(&archived[0].held)]);
        close_case(house).await;
        let again = run(house, folder.path()).await;
        assert_eq!(again.len(), 1);
        let file = again[0].file.as_ref().expect("a file");
        assert!(file.ends_with("larkmoor-2027-04-2.jsonl"), "{again:?}");
        assert_eq!(hours(&mut api).await, known.1);
        let plan = v1::GetPlanRequest {
            name: plans[1].clone(),
        };
        let gone = api.plans.get_plan(plan).await.expect_err("gone");
        assert_eq!(gone.code(), Code::NotFound);

        // The yard works on, and the numbering goes on.
        let last = house.events().await.last().map(|event| event.seq);
        api.tag("m-6").await.expect("tagged");
        let next = house.events().await.last().map(|event| event.seq);
        assert_eq!(next, last.map(|seq| seq + 1));
    })
    .await;
}

#[tokio::test]
async fn an_archived_month_is_read_by_an_empty_server() {
    on_both(async |house| {
        let folder = TempDir::new().expect("a folder");
        let plans = lived_in(house).await;
        let mut api = Api::of(house);
        let told = async |api: &mut Api| {
            let name = plans[2].clone();
            let plan = api.plans.get_plan(v1::GetPlanRequest { name }).await;
            let plan = plan.expect("a plan").into_inner();
            let sheets = v1::ListCrewSheetsRequest {
                plan: plans[2].clone(),
                crew: name_of_crew(),
            };
            let sheets = api.plans.list_crew_sheets(sheets).await;
            let visits = v1::ListVisitsRequest {
                plan: plans[2].clone(),
            };
            let visits = api.visits.list_visits(visits).await.expect("visits");
            (
                plan,
                sheets.expect("sheets").into_inner(),
                visits.into_inner(),
            )
        };
        let before = told(&mut api).await;
        let archived = run(house, folder.path()).await;
        let empty = House::on_sqlite().await;
        let answer = bring_in(&empty, archived[1].file.as_ref().expect("a file")).await;
        assert_eq!(u64::try_from(answer.rows), Ok(archived[1].filed));
        assert_eq!(told(&mut Api::of(&empty)).await, before);
        assert_eq!(before.2.visits.len(), 1);
    })
    .await;
}

fn name_of_crew() -> String {
    name("crews", CREWS[0])
}

#[tokio::test]
async fn a_run_that_is_cut_off_anywhere_loses_nothing() {
    on_both(async |house| {
        let folder = TempDir::new().expect("a folder");
        let plans = lived_in(house).await;
        let before = history(house).await;
        let known = (
            recent(house, &plans[3]).await,
            hours(&mut Api::of(house)).await,
        );
        let mut cut = 0;
        let mut held = Vec::new();
        for attempt in 1.. {
            let limit = Duration::from_millis(attempt * 3);
            let whole = tokio::time::timeout(limit, run(house, folder.path())).await;
            let (after, in_files) = (history(house).await, filed(folder.path()));
            for row in &before {
                assert!(after.contains(row) || in_files.contains(row), "{row:?}");
            }
            assert_eq!(hours(&mut Api::of(house)).await, known.1);
            if let Ok(months) = whole {
                held.extend(months.into_iter().flat_map(|month| month.held));
                break;
            }
            cut += 1;
        }
        assert!(cut > 2, "{cut} runs were cut off");
        assert_eq!(recent(house, &plans[3]).await, known.0);
        assert_eq!(held.len(), 1, "{held:?}");
        assert_eq!(run(house, folder.path()).await, [stays(&held)]);
        let gone = before.difference(&history(house).await).count();
        assert!(gone > 50, "{gone} rows went");
    })
    .await;
}

/// Stores a photograph of a job, and answers with its SHA-256.
async fn photograph(house: &House, job: &str, own: u8) -> String {
    let bytes = [b"\xff\xd8\xff\xe0", &[own][..], b"\xff\xd9"].concat();
    let header = v1::PhotoHeader {
        parent: BRANCH.into(),
        subject: name("jobs", job),
        media_type: "image/jpeg".into(),
        size_bytes: i64::try_from(bytes.len()).expect("small"),
    };
    let parts = [
        v1::upload_photo_request::Part::Header(header),
        v1::upload_photo_request::Part::Chunk(bytes),
    ];
    let parts = parts.map(|part| v1::UploadPhotoRequest { part: Some(part) });
    let answer = Api::of(house)
        .visits
        .upload_photo(futures::stream::iter(parts))
        .await;
    answer.expect("stored").into_inner().sha256
}

/// What photographs there are of which job, and all that are kept.
async fn photographs(house: &House) -> (Vec<(String, String)>, Vec<String>) {
    let read = house.database.read();
    let of_jobs = photo_subject::Entity::find()
        .order_by_asc(photo_subject::Column::Subject)
        .order_by_asc(photo_subject::Column::Sha256)
        .all(read)
        .await
        .expect("read");
    let of_jobs = of_jobs
        .into_iter()
        .map(|link| (link.subject, link.sha256))
        .collect();
    let kept = photo::Entity::find()
        .order_by_asc(photo::Column::Sha256)
        .all(read)
        .await
        .expect("read");
    let kept = kept.into_iter().map(|photo| photo.sha256).collect();
    (of_jobs, kept)
}

/// Has the database do something when the visit to the first day's job goes, which is after its file was written.
async fn meanwhile(house: &House, what: &str) {
    const WHEN: &str =
        "CREATE TRIGGER meanwhile AFTER DELETE ON visit FOR EACH ROW WHEN (OLD.job_id = 'today-0')";
    let of_sqlite = house.database.read().get_database_backend() == DatabaseBackend::Sqlite;
    let sql = if of_sqlite {
        format!("{WHEN} BEGIN {what}; END")
    } else {
        format!(
            "CREATE FUNCTION meanwhile() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN {what}; RETURN NULL; END $$; \
             {WHEN} EXECUTE FUNCTION meanwhile()"
        )
    };
    execute(house, &sql).await;
}

/// The first day's job stays with all its photographs where the database does something meanwhile, and the next run takes
/// them. `late` says whether the last day's photograph is one of the first's then.
async fn keeps_its_job(house: &House, what: &str, late: bool) {
    let folder = TempDir::new().expect("a folder");
    lived_in(house).await;
    let [first, last] = ["today-0", "today-3"].map(|id| name("jobs", id));
    let own = photograph(house, "today-0", 1).await;
    let other = photograph(house, "today-3", 2).await;
    let (_, kept) = photographs(house).await;
    let job_is_there = async || {
        let key = (ID.to_owned(), "today-0".to_owned());
        let job = job::Entity::find_by_id(key).one(house.database.read());
        job.await.expect("read").is_some()
    };
    meanwhile(house, what).await;

    run(house, folder.path()).await;
    let mut of_jobs = vec![(first.clone(), own.clone()), (last.clone(), other.clone())];
    if late {
        of_jobs.push((first.clone(), other.clone()));
    }
    of_jobs.sort();
    assert_eq!(photographs(house).await, (of_jobs.clone(), kept));
    assert!(job_is_there().await);

    house.drop_trigger("meanwhile", "visit").await;
    run(house, folder.path()).await;
    assert!(!job_is_there().await);
    let left = (vec![(last, other.clone())], vec![other]);
    assert_eq!(photographs(house).await, left);
    let filed = filed(folder.path());
    let has = |table: &str, words: [&str; 2]| {
        let mut rows = filed.iter().filter(|(of, _)| of == table);
        rows.any(|(_, row)| words.iter().all(|word| row.contains(word)))
    };
    for (_, sha256) in of_jobs.iter().filter(|(subject, _)| *subject == first) {
        assert!(has("photo_subject", [&first, sha256]), "{sha256}");
    }
    assert!(has("photo_part", [&own, &own]));
}

/// Guards a photograph that is stored while the file of its job's month is written.
#[tokio::test]
async fn a_photograph_stored_meanwhile_keeps_its_job() {
    on_both(async |house| {
        let stored = "INSERT INTO photo_subject (branch_id, subject, sha256, create_time) \
                      SELECT branch_id, replace(subject, 'today-3', 'today-0'), sha256, create_time \
                      FROM photo_subject WHERE subject LIKE '%today-3'";
        keeps_its_job(house, stored, true).await;
    })
    .await;
}

/// Guards a photograph whose row is in the file as it was before.
#[tokio::test]
async fn a_photograph_that_changed_meanwhile_keeps_its_job() {
    let changed = "UPDATE photo SET media_type = 'image/png' WHERE EXISTS (SELECT 1 FROM photo_subject s \
                   WHERE s.sha256 = photo.sha256 AND s.subject LIKE '%today-0')";
    keeps_its_job(&House::on_sqlite().await, changed, false).await;
}

/// Guards a run against a row that no server would take back: the reason names it, nothing goes, and no run leaves a file.
#[tokio::test]
async fn a_row_too_long_for_a_file_is_told_and_leaves_none() {
    let house = House::on_sqlite().await;
    let folder = TempDir::new().expect("a folder");
    lived_in(&house).await;
    execute(
        &house,
        "UPDATE outbox_event SET body = json_object('note', printf('%.*c', 40000000, 'x')) WHERE seq = 1",
    )
    .await;
    let before = history(&house).await;
    for _ in 0..2 {
        let refused = archive(&house.database, &later, ID, DAYS_KEPT, folder.path()).await;
        let refused = refused.expect_err("too long").to_string();
        assert!(refused.contains("outbox_event with seq 1,"), "{refused}");
        assert_eq!(files(folder.path()), Vec::<PathBuf>::new());
    }
    assert_eq!(history(&house).await, before);
}

#[tokio::test]
async fn fewer_days_than_estimates_need_are_refused() {
    let house = House::on_sqlite().await;
    lived_in(&house).await;
    let before = history(&house).await;
    let folder = TempDir::new().expect("a folder");
    let refused = archive(&house.database, &later, ID, 400, folder.path()).await;
    let refused = refused.expect_err("too few").to_string();
    assert!(refused.contains("401"), "{refused}");
    let unknown = archive(&house.database, &later, "south", 401, folder.path()).await;
    assert!(unknown.is_err());
    let nowhere = folder.path().join("missing");
    let refused = archive(&house.database, &later, ID, 401, &nowhere).await;
    let refused = refused.expect_err("no folder").to_string();
    assert!(refused.contains("missing"), "{refused}");
    assert_eq!(history(&house).await, before);
    assert_eq!(files(folder.path()), Vec::<PathBuf>::new());
}

/// Hours are the same summed or read one by one: with a service told in time, one told late for a time that is summed,
/// and a visit whose end is told after its time was summed.
#[tokio::test]
async fn summed_hours_are_those_of_the_visits() {
    on_both(async |house| {
        lived_in(house).await;
        let mut api = Api::of(house);
        let service = async |unit: &str, at: &str| {
            let request = v1::RecordServiceRequest {
                unit: name("units", unit),
                mechanic: name("workers", "moss"),
                work: "oil and blade".into(),
                service_time: Some(at.parse().expect("an instant")),
                request_id: String::new(),
            };
            Api::of(house)
                .bench
                .record_service(asking(request))
                .await
                .expect("serviced");
        };
        service("m-3", "2027-05-04T12:00:00Z").await;
        let one_by_one = hours(&mut api).await;
        let now: DateTime<Utc> = "2027-04-21T15:30:00Z".parse().expect("an instant");
        for days in [2, 3, 15, 40, 500] {
            let then = now + TimeDelta::days(days);
            settle(&house.database, ID, then).await.expect("settled");
            assert_eq!(hours(&mut api).await, one_by_one, "after {days} days");
        }
        // The first mower ran once, in April; the second's service is told late, from before its only visit.
        service("m-1", "2028-01-01T12:00:00Z").await;
        service("m-2", "2027-04-01T12:00:00Z").await;
        let told = hours(&mut api).await;
        let ran = one_by_one["m-2"].0 - 100.0;
        assert!((told["m-1"].1).abs() < 1e-9, "{told:?}");
        assert!((told["m-2"].1 - ran).abs() < 1e-9, "{told:?}");
        settle(&house.database, ID, later() + TimeDelta::days(30))
            .await
            .expect("settled");
        assert_eq!(hours(&mut api).await, told);
    })
    .await;
}
