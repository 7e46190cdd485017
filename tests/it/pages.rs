//! Pages stay true while others write: what is there all the time comes exactly once, in order.

use std::collections::BTreeSet;

use forenoon_proto::v1::{CreateSiteRequest, DeleteSiteRequest, ListSitesRequest, Site};
use forenoon_tests::actors::{Api, last_part, request_id};
use forenoon_tests::database::Database;
use forenoon_tests::on_both;
use forenoon_tests::server::Server;
use forenoon_tests::small_branch::{BRANCH, BRANCH_ID, branch, sites};

on_both!(what_stays_comes_once_while_others_come_and_go);

/// Sites that stay; as many others come and go.
const STAY: usize = 60;
const PAGE: i32 = 7;

async fn what_stays_comes_once_while_others_come_and_go(database: Database) {
    let server = Server::start(&database).await;
    let api = Api::of(&server);
    api.create_branch(BRANCH_ID, branch()).await;
    let mut stay = BTreeSet::new();
    for number in 0..STAY {
        stay.insert(create(&api, &format!("site-{number:03}-stays")).await);
    }
    for number in (0..STAY).step_by(2) {
        create(&api, &format!("site-{number:03}-goes")).await;
    }

    let mut seen = Vec::new();
    let mut page_token = String::new();
    let mut page = 0;
    loop {
        let request = ListSitesRequest {
            parent: BRANCH.to_owned(),
            page_size: PAGE,
            page_token,
        };
        let answer = api.sites().list_sites(request).await.expect("a page");
        let answer = answer.into_inner();
        assert!(answer.sites.len() <= usize::try_from(PAGE).expect("small"));
        seen.extend(answer.sites.into_iter().map(|site| site.name));
        page_token = answer.next_page_token;
        if page_token.is_empty() {
            break;
        }
        // Before and behind the reader something goes and something comes; so does the row the token ends on.
        for number in [page, page + STAY / 2] {
            create(&api, &format!("site-{number:03}-came")).await;
        }
        let last = seen.last().expect("a row").clone();
        if last.ends_with("-goes") {
            delete(&api, &last).await;
        }
        delete_if_there(
            &api,
            &format!("{BRANCH}/sites/site-{:03}-goes", STAY - 2 - page),
        )
        .await;
        page += 1;
    }
    assert!(page > 8, "{page} pages");
    let distinct: BTreeSet<_> = seen.iter().cloned().collect();
    assert_eq!(distinct.len(), seen.len(), "something came twice");
    assert!(seen.is_sorted());
    let found: BTreeSet<_> = distinct.intersection(&stay).cloned().collect();
    assert_eq!(found, stay);
}

async fn create(api: &Api, id: &str) -> String {
    let request = CreateSiteRequest {
        parent: BRANCH.to_owned(),
        site_id: id.to_owned(),
        site: Some(Site {
            name: String::new(),
            ..sites().swap_remove(0)
        }),
        request_id: request_id(),
    };
    let answer = api.sites().create_site(request).await.expect("created");
    let name = answer.into_inner().site.expect("a site").name;
    assert_eq!(last_part(&name), id);
    name
}

async fn delete(api: &Api, name: &str) {
    assert!(delete_if_there(api, name).await, "{name}");
}

async fn delete_if_there(api: &Api, name: &str) -> bool {
    let request = DeleteSiteRequest {
        name: name.to_owned(),
        etag: String::new(),
        request_id: request_id(),
    };
    api.sites().delete_site(request).await.is_ok()
}
