//! Goal: photographs are stored once, whole or not at all, and only when they are what they say.
//! Method: sound and faulty uploads over the wire; the rows of the database are counted behind them.

use forenoon_proto::v1;
use forenoon_proto::v1::upload_photo_request::Part;
use forenoon_store::entity::{photo, photo_part, photo_subject};
use forenoon_store::sea_orm::{
    ConnectionTrait, DatabaseBackend, DatabaseTransaction, EntityTrait, PaginatorTrait, Statement,
};
use forenoon_store::value::JobState;
use forenoon_store::{StoreError, Write};
use sha2::{Digest, Sha256};
use tokio::sync::Notify;
use tokio_stream::StreamExt;
use tonic::Status;

use crate::booking::job_client;
use crate::cluster::Cluster;
use crate::house::{House, on_both};
use crate::motion::{Word, at, cases, furnish, job_name, report, visits, why};
use crate::rows;
use crate::yard::NORTH;

/// A JPEG by its marks, of a size that takes three parts.
fn jpeg() -> Vec<u8> {
    let mut bytes = b"\xff\xd8\xff\xe0\0\x10JFIF\0".to_vec();
    bytes.extend((0..2_200_000_u32).map(|at| u8::try_from(at % 251).unwrap_or(0)));
    bytes.extend(b"\xff\xd9");
    bytes
}

fn header(bytes: &[u8]) -> v1::PhotoHeader {
    v1::PhotoHeader {
        parent: NORTH.into(),
        subject: job_name("j-1"),
        media_type: "image/jpeg".into(),
        size_bytes: i64::try_from(bytes.len()).expect("small"),
    }
}

fn parts(header: v1::PhotoHeader, bytes: &[u8]) -> Vec<Part> {
    std::iter::once(Part::Header(header))
        .chain(
            bytes
                .chunks(300_000)
                .map(|chunk| Part::Chunk(chunk.to_vec())),
        )
        .collect()
}

async fn upload(house: &House, parts: Vec<Part>) -> Result<String, Status> {
    let messages: Vec<_> = parts
        .into_iter()
        .map(|part| v1::UploadPhotoRequest { part: Some(part) })
        .collect();
    let answer = visits(house)
        .upload_photo(tokio_stream::iter(messages))
        .await?;
    Ok(answer.into_inner().sha256)
}

async fn download(house: &House, sha256: &str) -> Result<(String, Vec<u8>), Status> {
    let request = v1::DownloadPhotoRequest {
        parent: NORTH.into(),
        sha256: sha256.into(),
    };
    let mut stream = visits(house).download_photo(request).await?.into_inner();
    let (mut media_type, mut bytes) = (String::new(), Vec::new());
    while let Some(part) = stream.next().await {
        let part = part?;
        assert!(part.chunk.len() <= 1024 * 1024);
        media_type.push_str(&part.media_type);
        bytes.extend(part.chunk);
    }
    Ok((media_type, bytes))
}

async fn stored(house: &House) -> [u64; 3] {
    let read = house.database.read();
    [
        photo::Entity::find().count(read).await.expect("count"),
        photo_part::Entity::find().count(read).await.expect("count"),
        photo_subject::Entity::find()
            .count(read)
            .await
            .expect("count"),
    ]
}

#[tokio::test]
async fn a_photograph_comes_back_as_it_was_and_is_stored_once() {
    on_both(async |house: &House| {
        furnish(house).await;
        let bytes = jpeg();
        let sha256 = upload(house, parts(header(&bytes), &bytes))
            .await
            .expect("stored");
        // The digest as the published algorithm gives it, FIPS 180-4, by a library.
        let expected = format!("{:x}", Sha256::digest(&bytes));
        assert_eq!(sha256, expected);
        assert_eq!(
            download(house, &sha256).await.expect("read"),
            ("image/jpeg".to_owned(), bytes.clone())
        );
        assert_eq!(stored(house).await, [1, 3, 1]);

        // Again for the same job, and for another.
        let once = house.counts().await;
        upload(house, parts(header(&bytes), &bytes))
            .await
            .expect("heard");
        assert_eq!(house.counts().await, once);
        let other = v1::PhotoHeader {
            subject: job_name("j-2"),
            ..header(&bytes)
        };
        upload(house, parts(other, &bytes)).await.expect("linked");
        assert_eq!(stored(house).await, [1, 3, 2]);
        assert_eq!(why(download(house, &"0".repeat(64)).await), "NOT_FOUND");
        assert_eq!(why(download(house, "short").await), "sha256 MALFORMED");
    })
    .await;
}

#[tokio::test]
async fn uploads_that_are_wrong_leave_nothing() {
    let house = House::on_sqlite().await;
    furnish(&house).await;
    let before = house.counts().await;
    let bytes = jpeg();
    let with = |change: fn(&mut v1::PhotoHeader)| {
        let mut header = header(&bytes);
        change(&mut header);
        parts(header, &bytes)
    };
    let mut text = bytes.clone();
    text[0] = b'<';
    let mut cut = bytes.clone();
    cut.truncate(1_000);
    let mut twice = parts(header(&bytes), &bytes);
    twice.insert(2, Part::Header(header(&bytes)));
    let cases = [
        (vec![], "header REQUIRED"),
        (vec![Part::Chunk(bytes.clone())], "header REQUIRED"),
        (
            with(|header| header.parent.clear()),
            "header.parent REQUIRED, header.subject UNKNOWN_REFERENCE",
        ),
        (
            with(|header| header.subject.clear()),
            "header.subject REQUIRED",
        ),
        (
            with(|header| header.subject = "branches/north/sites/mill".into()),
            "header.subject MALFORMED",
        ),
        (
            with(|header| header.subject = job_name("j-99")),
            "header.subject UNKNOWN_REFERENCE",
        ),
        (
            with(|header| header.media_type = "image/gif".into()),
            "header.media_type OUT_OF_RANGE",
        ),
        (
            with(|header| header.media_type = "image/png".into()),
            "header.media_type CONFLICT",
        ),
        (parts(header(&text), &text), "header.media_type CONFLICT"),
        (parts(header(&cut), &cut), "header.media_type CONFLICT"),
        (
            with(|header| header.size_bytes = 20 * 1024 * 1024 + 1),
            "header.size_bytes OUT_OF_RANGE",
        ),
        (
            with(|header| header.size_bytes = 0),
            "header.size_bytes OUT_OF_RANGE",
        ),
        (
            with(|header| header.size_bytes += 1),
            "header.size_bytes OUT_OF_RANGE",
        ),
        (
            with(|header| header.size_bytes -= 1),
            "header.size_bytes OUT_OF_RANGE",
        ),
        (
            vec![Part::Header(header(&bytes)), Part::Chunk(bytes.clone())],
            "chunk TOO_LONG",
        ),
        (twice, "header DUPLICATE"),
        (
            vec![Part::Header(header(&bytes)), Part::Chunk(Vec::new())],
            "chunk REQUIRED",
        ),
    ];
    for (parts, blamed) in cases {
        assert_eq!(why(upload(&house, parts).await), blamed);
    }

    // One that breaks off in the middle.
    let mut begun = parts(header(&bytes), &bytes);
    begun.truncate(4);
    let messages = tokio_stream::iter(begun)
        .map(|part| v1::UploadPhotoRequest { part: Some(part) })
        .chain(tokio_stream::pending());
    let mut client = visits(&house);
    let cut_off = tokio::time::timeout(
        std::time::Duration::from_millis(300),
        client.upload_photo(messages),
    )
    .await;
    assert!(cut_off.is_err(), "it was to wait for more");
    assert_eq!(stored(&house).await, [0, 0, 0]);
    assert_eq!(house.counts().await, before);
}

/// The first job's crew is there. A photograph that was stored as being of another job.
async fn of_another_job(house: &House) -> String {
    furnish(house).await;
    house.set_clock("2027-04-20T14:00:00Z");
    let bytes = jpeg();
    let header = v1::PhotoHeader {
        subject: job_name("j-2"),
        ..header(&bytes)
    };
    let sha256 = upload(house, parts(header, &bytes)).await.expect("stored");
    report(house, "ash", "j-1", Word::Arrive, at("12:05"))
        .await
        .expect("there");
    sha256
}

async fn is_of_the_first_job(house: &House, sha256: String) -> bool {
    let key = ("north".to_owned(), job_name("j-1"), sha256);
    let read = house.database.read();
    let link = photo_subject::Entity::find_by_id(key).one(read).await;
    link.expect("read").is_some()
}

/// Guards a photograph that a walk names: it is of that job too, whatever it was stored as, and goes when both have gone.
#[tokio::test]
async fn a_walk_makes_its_photographs_the_jobs_own() {
    on_both(async |house: &House| {
        let sha256 = of_another_job(house).await;
        let walk = v1::RecordWalkthroughRequest {
            job: job_name("j-1"),
            crew: format!("{NORTH}/crews/ash"),
            walkthrough: Some(v1::Walkthrough {
                before_work: true,
                outcome: v1::WalkthroughOutcome::NotHome.into(),
                photos: vec![sha256.clone()],
                ..Default::default()
            }),
            request_id: String::new(),
        };
        for _ in 0..2 {
            let answer = visits(house).record_walkthrough(walk.clone()).await;
            answer.expect("recorded");
        }
        assert!(is_of_the_first_job(house, sha256).await);
        assert_eq!(stored(house).await[2], 2);
    })
    .await;
}

/// Guards photographs of a walk that is told late: the walk stays as it was at the later time, and the job has them.
#[tokio::test]
async fn a_walk_told_late_leaves_its_photographs_with_the_job() {
    on_both(async |house: &House| {
        let sha256 = of_another_job(house).await;
        let met = v1::Walkthrough {
            before_work: true,
            outcome: v1::WalkthroughOutcome::Met.into(),
            walk_time: at("12:12"),
            note: "tall by the fence".into(),
            photos: vec![],
        };
        let earlier = v1::Walkthrough {
            outcome: v1::WalkthroughOutcome::NotHome.into(),
            walk_time: at("12:11"),
            note: String::new(),
            photos: vec![sha256.clone()],
            ..met.clone()
        };
        for walk in [met.clone(), earlier] {
            let request = v1::RecordWalkthroughRequest {
                job: job_name("j-1"),
                crew: format!("{NORTH}/crews/ash"),
                walkthrough: Some(walk),
                request_id: String::new(),
            };
            let answer = visits(house).record_walkthrough(request).await;
            let visit = answer.expect("heard").into_inner().visit;
            assert_eq!(
                visit.expect("a visit").walkthroughs,
                std::slice::from_ref(&met)
            );
        }
        assert!(is_of_the_first_job(house, sha256).await);
    })
    .await;
}

/// Guards whoever reads a photograph while it goes: what ends well is whole.
#[tokio::test]
async fn a_photograph_that_goes_while_it_is_read_is_told() {
    on_both(async |house: &House| {
        furnish(house).await;
        let bytes = jpeg();
        let sha256 = upload(house, parts(header(&bytes), &bytes)).await;
        let sha256 = sha256.expect("stored");
        rows::execute(house, "DELETE FROM photo_part WHERE position = 2").await;
        assert_eq!(why(download(house, &sha256).await), "NOT_FOUND");
    })
    .await;
}

async fn delete_job(house: &House, job: &str) {
    let request = v1::DeleteJobRequest {
        name: job_name(job),
        ..Default::default()
    };
    job_client(house)
        .delete_job(request)
        .await
        .expect("deleted");
}

/// Guards the database against photographs that nothing leads to any more: they go with the last that they are of.
#[tokio::test]
async fn photographs_of_a_deleted_job_go_with_it() {
    on_both(async |house: &House| {
        furnish(house).await;
        for job in ["x-1", "x-2"] {
            rows::store(house, rows::job(job, "mill", "back-lawn", JobState::Open)).await;
        }
        let shared = jpeg();
        let mut named = jpeg();
        named[20] = 0;
        let mut own = jpeg();
        own[20] = 1;
        let mut sha256s = Vec::new();
        for (job, bytes) in [
            ("x-1", &shared),
            ("x-2", &shared),
            ("x-1", &named),
            ("x-1", &own),
        ] {
            let header = v1::PhotoHeader {
                subject: job_name(job),
                ..header(bytes)
            };
            let sha256 = upload(house, parts(header, bytes)).await.expect("stored");
            sha256s.push(sha256);
        }
        assert_eq!(stored(house).await, [3, 9, 4]);
        let case = v1::OpenCaseRequest {
            parent: NORTH.into(),
            case: Some(v1::Case {
                kind: v1::CaseKind::Complaint.into(),
                job: job_name("j-1"),
                description: "a rut in the lawn".into(),
                photos: vec![sha256s[2].clone()],
                ..Default::default()
            }),
            request_id: String::new(),
        };
        cases(house).open_case(case).await.expect("opened");

        // What another job has, and what a case names, stays.
        delete_job(house, "x-1").await;
        assert_eq!(stored(house).await, [2, 6, 1]);
        for sha256 in &sha256s[..3] {
            download(house, sha256).await.expect("kept");
        }
        assert_eq!(why(download(house, &sha256s[3]).await), "NOT_FOUND");
        delete_job(house, "x-2").await;
        assert_eq!(stored(house).await, [1, 3, 0]);
        download(house, &sha256s[2]).await.expect("kept");
    })
    .await;
}

async fn listed(
    house: &House,
    subjects: &[String],
    page_size: i32,
    page_token: &str,
) -> Result<v1::ListPhotosResponse, Status> {
    let request = v1::ListPhotosRequest {
        parent: NORTH.into(),
        subjects: subjects.to_vec(),
        page_size,
        page_token: page_token.into(),
    };
    Ok(visits(house).list_photos(request).await?.into_inner())
}

#[tokio::test]
async fn photographs_are_found_again_by_what_they_are_of() {
    on_both(async |house: &House| {
        furnish(house).await;
        let mut names = Vec::new();
        for (job, length) in [("j-2", 900), ("j-1", 700), ("j-1", 800)] {
            let mut bytes = jpeg();
            bytes.truncate(length);
            bytes.extend(b"\xff\xd9");
            let header = v1::PhotoHeader {
                subject: job_name(job),
                ..header(&bytes)
            };
            let sha256 = upload(house, parts(header, &bytes)).await.expect("stored");
            let size = i64::try_from(bytes.len()).expect("small");
            names.push((job_name(job), sha256, size));
        }
        names.sort_unstable();
        let subjects = ["j-1", "j-2", "j-3"].map(job_name);
        let all = listed(house, &subjects, 0, "").await.expect("a list");
        assert_eq!(all.next_page_token, "");
        let told: Vec<_> = all
            .photos
            .iter()
            .map(|photo| {
                (
                    photo.subject.clone(),
                    photo.sha256.clone(),
                    photo.size_bytes,
                )
            })
            .collect();
        assert_eq!(told, names);
        assert!(
            all.photos
                .iter()
                .all(|photo| photo.media_type == "image/jpeg")
        );
        assert!(all.photos.iter().all(|photo| photo.create_time.is_some()));

        // Page by page they are the same.
        let (mut paged, mut token) = (Vec::new(), String::new());
        loop {
            let page = listed(house, &subjects, 1, &token).await.expect("a page");
            paged.extend(page.photos);
            token = page.next_page_token;
            if token.is_empty() {
                break;
            }
        }
        assert_eq!(paged, all.photos);

        let of_one = listed(house, &subjects[1..2], 0, "").await.expect("a list");
        assert_eq!(of_one.photos.len(), 1);
        let none = listed(house, &subjects[2..], 0, "").await.expect("a list");
        assert_eq!(none.photos, []);
    })
    .await;
}

/// Deletes a photograph between the two reads of a list: the second is kept waiting until it has gone.
struct DeleteMeanwhile {
    sha256: String,
    kept_waiting: Notify,
}

impl Write for DeleteMeanwhile {
    type Output = ();
    type Error = StoreError;

    async fn run(&self, transaction: &DatabaseTransaction) -> Result<(), StoreError> {
        let lock = "LOCK TABLE photo IN ACCESS EXCLUSIVE MODE";
        transaction.execute_unprepared(lock).await?;
        self.kept_waiting.notify_one();
        let waiting = "SELECT 1 FROM pg_locks WHERE relation = 'photo'::regclass AND NOT granted";
        loop {
            let waiting = Statement::from_string(DatabaseBackend::Postgres, waiting);
            if transaction.query_one_raw(waiting).await?.is_some() {
                break;
            }
            tokio::time::sleep(std::time::Duration::from_millis(5)).await;
        }
        let key = ("north".to_owned(), self.sha256.clone());
        photo::Entity::delete_by_id(key).exec(transaction).await?;
        Ok(())
    }
}

/// Guards a list against a photograph that goes while it is read: a page that is not full would be taken for the last.
#[tokio::test]
async fn a_photograph_that_goes_meanwhile_does_not_end_the_list() {
    let house = House::on(Cluster::start().expect("PostgreSQL is installed")).await;
    furnish(&house).await;
    let mut sha256s = Vec::new();
    for (job, length) in [("j-1", 700), ("j-2", 800), ("j-3", 900)] {
        let mut bytes = jpeg();
        bytes.truncate(length);
        bytes.extend(b"\xff\xd9");
        let header = v1::PhotoHeader {
            subject: job_name(job),
            ..header(&bytes)
        };
        sha256s.push(upload(&house, parts(header, &bytes)).await.expect("stored"));
    }
    let delete = DeleteMeanwhile {
        sha256: sha256s[0].clone(),
        kept_waiting: Notify::new(),
    };
    let subjects = ["j-1", "j-2", "j-3"].map(job_name);
    let page = async {
        delete.kept_waiting.notified().await;
        listed(&house, &subjects, 1, "").await
    };
    let (deleted, page) = tokio::join!(house.database.write("north", &delete), page);
    deleted.expect("deleted");
    let page = page.expect("a page");
    assert_eq!(page.photos[0].sha256, sha256s[0]);
    let rest = listed(&house, &subjects, 0, &page.next_page_token).await;
    let rest: Vec<String> = rest
        .expect("the rest")
        .photos
        .into_iter()
        .map(|photo| photo.sha256)
        .collect();
    assert_eq!(rest, sha256s[1..]);
}

#[tokio::test]
async fn lists_of_photographs_that_cannot_be_are_refused() {
    let house = House::on_sqlite().await;
    furnish(&house).await;
    let many: Vec<String> = (0..101).map(|at| job_name(&format!("j-{at}"))).collect();
    for (subjects, blamed) in [
        (vec![], "subjects REQUIRED"),
        (vec![String::new()], "subjects[0] REQUIRED"),
        (
            vec!["branches/north/sites/mill".to_owned()],
            "subjects[0] MALFORMED",
        ),
        (
            vec!["branches/south/jobs/j-1".to_owned()],
            "subjects[0] UNKNOWN_REFERENCE",
        ),
        (
            vec![job_name("j-1"), job_name("j-1")],
            "subjects[1] DUPLICATE",
        ),
        (many, "subjects TOO_MANY"),
    ] {
        assert_eq!(why(listed(&house, &subjects, 0, "").await), blamed);
    }
    let subjects = [job_name("j-1")];
    assert_eq!(
        why(listed(&house, &subjects, 0, "nonsense").await),
        "page_token MALFORMED"
    );
}
