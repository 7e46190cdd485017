//! Every kind of record can be read, listed in pages, changed field by field and deleted, the same way.

use forenoon_proto::v1::{
    Crew, DeleteCrewRequest, DeleteJobRequest, DeleteSiteRequest, DeleteUnitRequest,
    DeleteWorkerRequest, GetCrewRequest, GetJobRequest, GetSiteRequest, GetUnitRequest,
    GetWorkerRequest, Job, ListCrewsRequest, ListJobsRequest, ListSitesRequest, ListUnitsRequest,
    ListWorkersRequest, Site, Unit, UpdateCrewRequest, UpdateJobRequest, UpdateSiteRequest,
    UpdateUnitRequest, UpdateWorkerRequest, Worker,
};
use forenoon_tests::actors::{Api, request_id};
use forenoon_tests::database::Database;
use forenoon_tests::on_both;
use forenoon_tests::refusal::refused;
use forenoon_tests::server::Server;
use forenoon_tests::small_branch::{BRANCH, BRANCH_ID, branch, records};
use prost_types::FieldMask;
use tonic::Code;

on_both!(
    sites_follow_the_standard,
    crews_follow_the_standard,
    workers_follow_the_standard,
    units_follow_the_standard,
    jobs_follow_the_standard,
);

/// Small, so that every list has several pages and a last one that is not full.
const PAGE_SIZE: i32 = 4;

async fn small_branch(database: &Database) -> (Server, Api) {
    let server = Server::start(database).await;
    let api = Api::of(&server);
    api.create_branch(BRANCH_ID, branch()).await;
    api.create_all(BRANCH, records()).await;
    (server, api)
}

/// Makes the test of one kind. `probe` is one that nothing refers to.
macro_rules! standard {
    (
        $test:ident: $client:ident, $kind:ident, $one:ident, $all:ident, probe $probe:literal,
        $get:ident $get_request:ident, $list:ident $list_request:ident,
        $update:ident $update_request:ident, $delete:ident $delete_request:ident
    ) => {
        #[allow(
            clippy::needless_update,
            reason = "some kinds can be filtered, some not"
        )]
        async fn $test(database: Database) {
            let (_server, api) = small_branch(&database).await;
            let mut client = api.$client();

            // Pages put together are the whole list, by name, each item once.
            let whole = client
                .$list($list_request {
                    parent: BRANCH.to_owned(),
                    page_size: 1_000,
                    ..Default::default()
                })
                .await
                .expect("a list")
                .into_inner();
            assert_eq!(whole.next_page_token, "");
            let mut paged: Vec<$kind> = Vec::new();
            let mut page_token = String::new();
            loop {
                let page = client
                    .$list($list_request {
                        parent: BRANCH.to_owned(),
                        page_size: PAGE_SIZE,
                        page_token,
                        ..Default::default()
                    })
                    .await
                    .expect("a page")
                    .into_inner();
                assert!(page.$all.len() <= 4, "{} on a page", page.$all.len());
                paged.extend(page.$all);
                page_token = page.next_page_token;
                if page_token.is_empty() {
                    break;
                }
            }
            assert_eq!(paged, whole.$all);
            assert!(paged.is_sorted_by(|one, next| one.name < next.name));
            let expected = records()
                .iter()
                .filter_map(|record| record.record.as_ref())
                .filter(|record| format!("{record:?}").starts_with(stringify!($kind)))
                .count();
            assert_eq!(paged.len(), expected);

            let faulty_token = $list_request {
                parent: BRANCH.to_owned(),
                page_token: "page two".to_owned(),
                ..Default::default()
            };
            let refusal = refused(client.$list(faulty_token).await, "a token that is none");
            assert_eq!(refusal.code, Code::InvalidArgument, "{refusal:?}");
            assert_eq!(refusal.faults[0].field, "page_token", "{refusal:?}");

            // Read alone, an item is as it is in the list.
            let name = format!("{BRANCH}/{}", $probe);
            let listed = paged
                .iter()
                .find(|item| item.name == name)
                .expect("the probe");
            let get = || $get_request { name: name.clone() };
            let read = client
                .$get(get())
                .await
                .expect("the probe")
                .into_inner()
                .$one;
            assert_eq!(read.as_ref(), Some(listed));

            // A change of one field leaves the others, and changes etag and time.
            let mut changed = listed.clone();
            changed.display_name = "Another name".to_owned();
            let answer = client
                .$update($update_request {
                    $one: Some($kind {
                        name: name.clone(),
                        display_name: "Another name".to_owned(),
                        ..Default::default()
                    }),
                    update_mask: Some(FieldMask {
                        paths: vec!["display_name".to_owned()],
                    }),
                    request_id: request_id(),
                })
                .await
                .expect("the change")
                .into_inner()
                .$one
                .expect("as stored");
            assert_ne!(answer.etag, listed.etag);
            changed.etag = answer.etag.clone();
            changed.update_time = answer.update_time;
            assert_eq!(answer, changed);

            // Deleted, it is gone.
            let delete = $delete_request {
                name: name.clone(),
                etag: answer.etag,
                request_id: request_id(),
            };
            client.$delete(delete.clone()).await.expect("deleted");
            client
                .$delete(delete)
                .await
                .expect("sent again, answered the same");
            let refusal = refused(client.$get(get()).await, "one that was deleted");
            assert_eq!(refusal.code, Code::NotFound, "{refusal:?}");
        }
    };
}

standard!(
    sites_follow_the_standard: sites, Site, site, sites, probe "sites/spare",
    get_site GetSiteRequest, list_sites ListSitesRequest,
    update_site UpdateSiteRequest, delete_site DeleteSiteRequest
);
standard!(
    crews_follow_the_standard: crews, Crew, crew, crews, probe "crews/spare",
    get_crew GetCrewRequest, list_crews ListCrewsRequest,
    update_crew UpdateCrewRequest, delete_crew DeleteCrewRequest
);
standard!(
    workers_follow_the_standard: crews, Worker, worker, workers, probe "workers/ivy",
    get_worker GetWorkerRequest, list_workers ListWorkersRequest,
    update_worker UpdateWorkerRequest, delete_worker DeleteWorkerRequest
);
standard!(
    units_follow_the_standard: units, Unit, unit, units, probe "units/rake-1",
    get_unit GetUnitRequest, list_units ListUnitsRequest,
    update_unit UpdateUnitRequest, delete_unit DeleteUnitRequest
);
standard!(
    jobs_follow_the_standard: jobs, Job, job, jobs, probe "jobs/later-mow",
    get_job GetJobRequest, list_jobs ListJobsRequest,
    update_job UpdateJobRequest, delete_job DeleteJobRequest
);
