//! Tag-outs that cannot be.

use forenoon_proto::v1::{ReleaseTagOutRequest, Symptom, TagOut, TagOutRequest};
use forenoon_tests::actors::{CrewLead, request_id};
use forenoon_tests::contents::Contents;
use forenoon_tests::database::Database;
use forenoon_tests::on_both;
use forenoon_tests::refusal::refused;
use forenoon_tests::small_branch::{ASH, BRANCH, LEAD, MECHANIC, unit_name, unsafe_tag};
use tonic::Code;

use super::{Case, check, small_branch};

on_both!(
    faulty_tag_outs_are_refused,
    only_a_mechanic_releases_and_only_after_an_inspection,
);

const CASES: &[Case<TagOutRequest>] = &[
    Case::new("no unit", &[("tag_out.unit", "REQUIRED")], |request| {
        of(request).unit.clear();
    }),
    Case::new(
        "a unit that is not there",
        &[("tag_out.unit", "UNKNOWN_REFERENCE")],
        |request| {
            of(request).unit = unit_name("walk-99");
        },
    ),
    Case::new(
        "no symptom",
        &[("tag_out.symptom", "REQUIRED")],
        |request| of(request).symptom = 0,
    ),
    Case::new(
        "another symptom without words",
        &[("tag_out.description", "REQUIRED")],
        |request| {
            of(request).symptom = Symptom::Other.into();
        },
    ),
    Case::new(
        "too many words",
        &[("tag_out.description", "TOO_LONG")],
        |request| {
            of(request).description = "d".repeat(1_001);
        },
    ),
    Case::new(
        "no severity",
        &[("tag_out.severity", "REQUIRED")],
        |request| of(request).severity = 0,
    ),
    Case::new(
        "nobody to ask",
        &[("tag_out.contact", "REQUIRED")],
        |request| {
            of(request).found_by.clear();
        },
    ),
    Case::new(
        "a stranger found it",
        &[("tag_out.found_by", "UNKNOWN_REFERENCE")],
        |request| {
            of(request).found_by = format!("{BRANCH}/workers/nobody");
        },
    ),
    Case::new(
        "at a job that is not there",
        &[("tag_out.job", "UNKNOWN_REFERENCE")],
        |request| {
            of(request).job = format!("{BRANCH}/jobs/none");
        },
    ),
];

fn of(request: &mut TagOutRequest) -> &mut TagOut {
    request.tag_out.as_mut().expect("a tag")
}

fn tag() -> TagOut {
    unsafe_tag(&unit_name("walk-21"), Symptom::Leak)
}

async fn faulty_tag_outs_are_refused(database: Database) {
    let (_server, api) = small_branch(&database).await;
    let sound = TagOutRequest {
        parent: BRANCH.to_owned(),
        tag_out: Some(tag()),
        request_id: request_id(),
    };
    check(&api, &sound, CASES, async |request| {
        api.tag_outs().tag_out(request).await
    })
    .await;

    // A unit has one open tag.
    let before = Contents::of(&api, BRANCH).await;
    let again = TagOutRequest {
        request_id: request_id(),
        ..sound
    };
    let refusal = refused(api.tag_outs().tag_out(again).await, "a second tag");
    assert_eq!(refusal.code, Code::FailedPrecondition, "{refusal:?}");
    assert_eq!(Contents::of(&api, BRANCH).await, before);
}

async fn only_a_mechanic_releases_and_only_after_an_inspection(database: Database) {
    let (_server, api) = small_branch(&database).await;
    let tagged = CrewLead::new(&api, BRANCH, ASH).tag_out(tag()).await;
    let name = tagged.tag_out.expect("the tag").name;
    let before = Contents::of(&api, BRANCH).await;
    for (who, code) in [
        (MECHANIC, Code::FailedPrecondition),
        (LEAD, Code::PermissionDenied),
    ] {
        let release = ReleaseTagOutRequest {
            name: name.clone(),
            mechanic: who.to_owned(),
            etag: String::new(),
            request_id: request_id(),
        };
        let refusal = refused(api.tag_outs().release_tag_out(release).await, who);
        assert_eq!(refusal.code, code, "{who}: {refusal:?}");
        assert_eq!(Contents::of(&api, BRANCH).await, before, "{who}");
    }
}
