//! A call sent again is done once; an old etag overwrites nothing.

use forenoon_proto::v1::{
    CreateSiteRequest, DeleteSiteRequest, GetSiteRequest, PlanDayRequest, Site, UpdateSiteRequest,
};
use forenoon_tests::actors::{Api, request_id};
use forenoon_tests::contents::Contents;
use forenoon_tests::database::Database;
use forenoon_tests::on_both;
use forenoon_tests::refusal::refused;
use forenoon_tests::server::Server;
use forenoon_tests::small_branch::{BRANCH, day, sites};
use prost_types::FieldMask;
use tonic::Code;

use super::small_branch;

on_both!(
    a_call_sent_again_is_answered_the_same_and_done_once,
    a_retry_after_a_crash_is_answered_the_same,
    a_request_id_of_another_call_is_refused,
    an_old_etag_is_refused,
    unknown_names_are_told,
);

fn create_probe() -> CreateSiteRequest {
    CreateSiteRequest {
        parent: BRANCH.to_owned(),
        site_id: "probe".to_owned(),
        site: Some(sites().swap_remove(0)),
        request_id: request_id(),
    }
}

async fn create(api: &Api, request: &CreateSiteRequest) -> Site {
    api.sites()
        .create_site(request.clone())
        .await
        .expect("the site is created")
        .into_inner()
        .site
        .expect("the site as stored")
}

async fn a_call_sent_again_is_answered_the_same_and_done_once(database: Database) {
    let (_server, api) = small_branch(&database).await;
    let request = create_probe();
    let first = create(&api, &request).await;
    let once = Contents::of(&api, BRANCH).await;
    assert_eq!(create(&api, &request).await, first);
    assert_eq!(Contents::of(&api, BRANCH).await, once);

    // Also where the call makes something new each time it is really done.
    let plan = PlanDayRequest {
        confidence_percent: 0,
        meetings: false,
        parent: BRANCH.to_owned(),
        day: Some(day()),
        seed: 5,
        iterations: 200,
        time_limit: None,
        travel_matrix: None,
        heat: None,
        request_id: request_id(),
    };
    let first = api
        .plans()
        .plan_day(plan.clone())
        .await
        .expect("a plan")
        .into_inner();
    let again = api
        .plans()
        .plan_day(plan)
        .await
        .expect("the same plan")
        .into_inner();
    assert_eq!(first, again);
    assert_eq!(Contents::of(&api, BRANCH).await.plans.len(), 1);
}

async fn a_retry_after_a_crash_is_answered_the_same(database: Database) {
    let (server, api) = small_branch(&database).await;
    let request = create_probe();
    let first = create(&api, &request).await;
    server.kill();
    let server = Server::start(&database).await;
    let api = Api::of(&server);
    let before = Contents::of(&api, BRANCH).await;
    assert_eq!(create(&api, &request).await, first);
    assert_eq!(Contents::of(&api, BRANCH).await, before);
}

async fn a_request_id_of_another_call_is_refused(database: Database) {
    let (_server, api) = small_branch(&database).await;
    let request = create_probe();
    create(&api, &request).await;
    let before = Contents::of(&api, BRANCH).await;

    let mut other = request.clone();
    other.site.as_mut().expect("a site").display_name = "Another name".to_owned();
    let refusal = refused(
        api.sites().create_site(other).await,
        "another site, same id",
    );
    assert_eq!(refusal.code, Code::FailedPrecondition, "{refusal:?}");
    assert_eq!(refusal.reason, "REQUEST_ID_REUSED");

    let delete = DeleteSiteRequest {
        name: format!("{BRANCH}/sites/probe"),
        etag: String::new(),
        request_id: request.request_id,
    };
    let refusal = refused(
        api.sites().delete_site(delete).await,
        "another verb, same id",
    );
    assert_eq!(refusal.reason, "REQUEST_ID_REUSED", "{refusal:?}");
    assert_eq!(Contents::of(&api, BRANCH).await, before);
}

async fn an_old_etag_is_refused(database: Database) {
    let (_server, api) = small_branch(&database).await;
    let read = create(&api, &create_probe()).await;
    let renamed = |name: &str| UpdateSiteRequest {
        site: Some(Site {
            display_name: name.to_owned(),
            ..read.clone()
        }),
        update_mask: Some(FieldMask {
            paths: vec!["display_name".to_owned()],
        }),
        request_id: request_id(),
    };
    api.sites()
        .update_site(renamed("First"))
        .await
        .expect("the etag is fresh");
    let before = Contents::of(&api, BRANCH).await;

    let refusal = refused(
        api.sites().update_site(renamed("Second")).await,
        "an old etag",
    );
    assert_eq!(refusal.code, Code::Aborted, "{refusal:?}");
    assert_eq!(refusal.reason, "STALE_ETAG");
    let delete = DeleteSiteRequest {
        name: read.name.clone(),
        etag: read.etag.clone(),
        request_id: request_id(),
    };
    let refusal = refused(api.sites().delete_site(delete).await, "an old etag");
    assert_eq!(refusal.code, Code::Aborted, "{refusal:?}");
    assert_eq!(Contents::of(&api, BRANCH).await, before);

    let mut unknown = renamed("Third");
    unknown.update_mask = Some(FieldMask {
        paths: vec!["colour".to_owned()],
    });
    let refusal = refused(api.sites().update_site(unknown).await, "an unknown field");
    assert_eq!(refusal.code, Code::InvalidArgument, "{refusal:?}");
    assert_eq!(refusal.faults[0].reason, "UNKNOWN_FIELD", "{refusal:?}");
}

async fn unknown_names_are_told(database: Database) {
    let (_server, api) = small_branch(&database).await;
    let before = Contents::of(&api, BRANCH).await;
    let get = GetSiteRequest {
        name: format!("{BRANCH}/sites/moon"),
    };
    let refusal = refused(api.sites().get_site(get).await, "a site that is not there");
    assert_eq!(refusal.code, Code::NotFound, "{refusal:?}");

    let mut elsewhere = create_probe();
    elsewhere.parent = "branches/elsewhere".to_owned();
    let refusal = refused(
        api.sites().create_site(elsewhere).await,
        "a branch that is not there",
    );
    assert_eq!(refusal.code, Code::NotFound, "{refusal:?}");

    let mut nameless = create_probe();
    nameless.parent = "elsewhere".to_owned();
    let refusal = refused(
        api.sites().create_site(nameless).await,
        "a name that is none",
    );
    assert_eq!(refusal.code, Code::InvalidArgument, "{refusal:?}");
    assert_eq!(refusal.faults[0].field, "parent", "{refusal:?}");
    assert_eq!(Contents::of(&api, BRANCH).await, before);
}
