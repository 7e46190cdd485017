//! Goal: what goes wrong at a customer's is kept, and has the consequences it must have.
//! Method: cases of each kind; the site, the jobs and the sheets are read back.

use forenoon_proto::v1;
use forenoon_store::entity::{job, site};
use forenoon_store::sea_orm::EntityTrait;
use forenoon_store::value::JobState;
use tonic::Status;

use crate::house::{House, on_both};
use crate::motion::{PLAN, Word, at, cases, furnish, job_name, kinds_after, plans, report, why};
use crate::yard::NORTH;

/// Puts a fault into a sound case.
type Fault = fn(&mut v1::Case);

fn case(kind: v1::CaseKind) -> v1::Case {
    v1::Case {
        kind: kind.into(),
        job: job_name("j-1"),
        description: "line head broke the west window".into(),
        cause: "shield was off".into(),
        reported_by: "Ada".into(),
        ..v1::Case::default()
    }
}

async fn open(house: &House, case: v1::Case) -> Result<v1::Case, Status> {
    let request = v1::OpenCaseRequest {
        parent: NORTH.into(),
        case: Some(case),
        request_id: String::new(),
    };
    let answer = cases(house).open_case(request).await?.into_inner();
    Ok(answer.case.expect("a case"))
}

async fn close(
    house: &House,
    name: &str,
    resolution: &str,
    etag: &str,
) -> Result<v1::Case, Status> {
    let request = v1::CloseCaseRequest {
        name: name.into(),
        resolution: resolution.into(),
        etag: etag.into(),
        request_id: String::new(),
    };
    let answer = cases(house).close_case(request).await?.into_inner();
    Ok(answer.case.expect("a case"))
}

#[tokio::test]
async fn damage_becomes_a_hazard_that_the_next_sheet_shows() {
    on_both(async |house: &House| {
        furnish(house).await;
        let before = house.events().await.len();
        let opened = open(house, case(v1::CaseKind::Damage))
            .await
            .expect("opened");
        assert_eq!(opened.name, format!("{NORTH}/cases/c-1"));
        assert_eq!(opened.hazard_id, "damage-1");
        assert_eq!(
            kinds_after(house, before).await,
            ["site.changed", "case.opened"]
        );
        let row = site::Entity::find_by_id(("north".to_owned(), "mill".to_owned()))
            .one(house.database.read())
            .await
            .expect("read")
            .expect("the site");
        assert_eq!(row.hazards.0.len(), 2, "the earlier hazard stays");
        house.set_clock("2027-04-20T12:00:00Z");
        let second = v1::Case {
            description: "d".repeat(2_000),
            ..case(v1::CaseKind::Damage)
        };
        let second = open(house, second).await.expect("opened");
        assert_eq!(second.hazard_id, "damage-2");
        let row = site::Entity::find_by_id(("north".to_owned(), "mill".to_owned()))
            .one(house.database.read())
            .await
            .expect("read")
            .expect("the site");
        let longest = row.hazards.0[2].description.chars().count();
        assert_eq!(longest, 500, "as long as a hazard may be");
    })
    .await;
}

#[tokio::test]
async fn a_sheet_warns_of_damage_done_before() {
    let house = House::on_sqlite().await;
    furnish(&house).await;
    // A crew that goes out has a sheet.
    let depart = "UPDATE plan_crew_day SET depart_time = '2027-04-20 12:00:00+00:00'";
    crate::rows::execute(&house, "DROP TRIGGER plan_crew_day_update_guard").await;
    crate::rows::execute(&house, depart).await;
    let hazards = async || {
        let answer = plans(&house)
            .list_crew_sheets(v1::ListCrewSheetsRequest {
                plan: PLAN.into(),
                crew: String::new(),
            })
            .await
            .expect("sheets")
            .into_inner();
        format!("{:?}", answer.crew_sheets)
    };
    let words = "broke the west window";
    assert!(!hazards().await.contains(words));
    open(&house, case(v1::CaseKind::Damage))
        .await
        .expect("opened");
    let sheets = hazards().await;
    assert!(sheets.contains(words), "{sheets}");
}

#[tokio::test]
async fn a_callback_makes_a_return_job_at_no_charge() {
    on_both(async |house: &House| {
        furnish(house).await;
        house.set_clock("2027-04-20T14:00:00Z");
        let callback = case(v1::CaseKind::Callback);
        assert_eq!(why(open(house, callback.clone()).await), "NOT_FINISHED");
        for (word, time) in [(Word::Start, "12:00"), (Word::Finish, "13:00")] {
            report(house, "ash", "j-1", word, at(time))
                .await
                .expect("heard");
        }
        let opened = open(house, callback).await.expect("opened");
        assert_eq!(opened.return_job, job_name("return-1"));
        assert_eq!(opened.cause, "shield was off");
        let read = async |id: &str| {
            job::Entity::find_by_id(("north".to_owned(), id.to_owned()))
                .one(house.database.read())
                .await
                .expect("read")
                .expect("the job")
        };
        let (first, again) = (read("j-1").await, read("return-1").await);
        assert_eq!(again.state, JobState::Open);
        assert_eq!(again.price_minor, Some(0));
        assert_eq!(again.tasks, first.tasks);
        assert_eq!(again.site_id, first.site_id);
        assert!(again.note.contains("shield was off"), "{}", again.note);
        assert_eq!(again.first_day.to_string(), "2027-04-20");
        assert_eq!(again.last_day.to_string(), "2027-04-26");
        assert_eq!(first.state, JobState::Done, "what was done stays done");
    })
    .await;
}

/// Guards what is typed again because nobody saw the answer: it is the case that is open, with one return job or one hazard.
/// Other words, another photograph, and what comes again after the case was closed, are cases of their own.
#[tokio::test]
async fn a_case_told_again_is_the_one_that_is_open() {
    on_both(async |house: &House| {
        furnish(house).await;
        house.set_clock("2027-04-20T14:00:00Z");
        for (word, time) in [(Word::Start, "12:00"), (Word::Finish, "13:00")] {
            report(house, "ash", "j-1", word, at(time))
                .await
                .expect("heard");
        }
        let jobs = async || {
            let all = job::Entity::find().all(house.database.read()).await;
            all.expect("jobs").len()
        };
        for kind in [
            v1::CaseKind::Callback,
            v1::CaseKind::Damage,
            v1::CaseKind::Complaint,
        ] {
            let first = open(house, case(kind)).await.expect("opened");
            let (once, made) = (house.counts().await, jobs().await);
            house.set_clock("2027-04-20T14:20:00Z");
            let again = open(house, case(kind)).await.expect("heard");
            assert_eq!(again, first);
            assert_eq!(house.counts().await, once, "{kind:?}");
            assert_eq!(jobs().await, made, "{kind:?}");

            let otherwise = v1::Case {
                cause: "line head was loose".into(),
                ..case(kind)
            };
            let other = open(house, otherwise).await.expect("opened");
            assert_ne!(other.name, first.name, "{kind:?}");
            close(house, &first.name, "mended", "")
                .await
                .expect("closed");
            let later = open(house, case(kind)).await.expect("opened");
            assert_ne!(later.name, first.name, "{kind:?}");
        }
        let row = site::Entity::find_by_id(("north".to_owned(), "mill".to_owned()))
            .one(house.database.read())
            .await
            .expect("read")
            .expect("the site");
        let hazards = row.hazards.0.iter();
        let added = hazards.filter(|hazard| hazard.hazard_id.starts_with("damage"));
        assert_eq!(added.count(), 3, "{:?}", row.hazards);
    })
    .await;
}

#[tokio::test]
async fn a_case_is_listed_until_it_is_closed() {
    on_both(async |house: &House| {
        furnish(house).await;
        let listed = async |open_only, page_size, page_token: &str| {
            cases(house)
                .list_cases(v1::ListCasesRequest {
                    parent: NORTH.into(),
                    page_size,
                    page_token: page_token.into(),
                    open_only,
                })
                .await
                .expect("a list")
                .into_inner()
        };
        for number in 0..3 {
            let complaint = v1::Case {
                description: format!("clippings on the drive, {number}"),
                ..case(v1::CaseKind::Complaint)
            };
            open(house, complaint).await.expect("opened");
        }
        let first = listed(true, 2, "").await;
        let names: Vec<_> = first.cases.iter().map(|case| case.name.as_str()).collect();
        assert_eq!(
            names,
            ["branches/north/cases/c-3", "branches/north/cases/c-2"]
        );
        let rest = listed(true, 2, &first.next_page_token).await;
        assert_eq!(rest.cases[0].name, "branches/north/cases/c-1");
        assert_eq!(rest.next_page_token, "");

        let (name, etag) = (&first.cases[0].name, &first.cases[0].etag);
        assert_eq!(why(close(house, name, "", "").await), "resolution REQUIRED");
        assert_eq!(why(close(house, name, "done", "7-7").await), "STALE_ETAG");
        let closed = close(house, name, "mown again", etag)
            .await
            .expect("closed");
        assert!(closed.closed);
        let once = house.counts().await;
        close(house, name, "mown again", etag).await.expect("heard");
        assert_eq!(house.counts().await, once);
        assert_eq!(
            why(close(house, name, "otherwise", "").await),
            "CASE_CLOSED"
        );
        assert_eq!(listed(true, 0, "").await.cases.len(), 2);
        assert_eq!(listed(false, 0, "").await.cases.len(), 3);
        let read = cases(house)
            .get_case(v1::GetCaseRequest { name: name.clone() })
            .await
            .expect("read")
            .into_inner();
        assert_eq!(read.case, Some(closed));
    })
    .await;
}

#[tokio::test]
async fn faulty_cases_are_refused_and_write_nothing() {
    let house = House::on_sqlite().await;
    furnish(&house).await;
    let before = house.counts().await;
    let wrong: [(Fault, &str); 9] = [
        (|case| case.kind = 0, "case.kind REQUIRED"),
        (|case| case.kind = 99, "case.kind OUT_OF_RANGE"),
        (|case| case.job.clear(), "case.job REQUIRED"),
        (
            |case| case.job = job_name("none"),
            "case.job UNKNOWN_REFERENCE",
        ),
        (|case| case.description.clear(), "case.description REQUIRED"),
        (
            |case| case.description = "d".repeat(2_001),
            "case.description TOO_LONG",
        ),
        (
            |case| {
                case.kind = v1::CaseKind::Callback.into();
                case.cause.clear();
            },
            "case.cause REQUIRED",
        ),
        (
            |case| case.reported_by = "r".repeat(201),
            "case.reported_by TOO_LONG",
        ),
        (
            |case| case.photos = vec!["f".repeat(64)],
            "case.photos[0] UNKNOWN_REFERENCE",
        ),
    ];
    for (fault, blamed) in wrong {
        let mut told = case(v1::CaseKind::Damage);
        fault(&mut told);
        assert_eq!(why(open(&house, told).await), blamed);
    }
    assert_eq!(house.counts().await, before);
    open(&house, case(v1::CaseKind::Damage))
        .await
        .expect("the sound one is taken");
}
