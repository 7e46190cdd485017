//! Pages stay true while others write: what is there all the time comes exactly once, in order.

use std::collections::BTreeSet;

use forenoon_proto::v1::{
    CreateSiteRequest, DeleteSiteRequest, DiscardPlanRequest, ImportRecord, ListPlansRequest,
    ListSitesRequest, ListTagOutsRequest, ListTagOutsResponse, Site, Symptom, TagOut,
    TagOutRequest, import_record,
};
use forenoon_tests::actors::{Api, Dispatcher, Mechanic, last_part, request_id};
use forenoon_tests::database::Database;
use forenoon_tests::on_both;
use forenoon_tests::server::Server;
use forenoon_tests::small_branch::{
    BRANCH, BRANCH_ID, MECHANIC, branch, day, records, sites, unsafe_tag,
};

on_both!(
    what_stays_comes_once_while_others_come_and_go,
    plans_come_once_while_others_are_made_and_discarded,
    open_tags_come_once_while_others_come_and_are_released,
);

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

/// Plans come newest first: what is made meanwhile comes before the reader.
async fn plans_come_once_while_others_are_made_and_discarded(database: Database) {
    let server = Server::start(&database).await;
    let api = Api::of(&server);
    api.create_branch(BRANCH_ID, branch()).await;
    api.import(BRANCH, records()).await;
    let dispatcher = Dispatcher::new(&api, BRANCH);
    let mut drafts = Vec::new();
    for seed in 1..=16 {
        drafts.push(dispatcher.plan(day(), seed, 1).await.name);
    }
    let (mut seen, mut discarded) = (Vec::new(), BTreeSet::new());
    let mut page_token = String::new();
    for page in 0.. {
        let request = ListPlansRequest {
            parent: BRANCH.to_owned(),
            page_size: 3,
            page_token,
            ..Default::default()
        };
        let answer = api.plans().list_plans(request).await.expect("a page");
        let answer = answer.into_inner();
        seen.extend(answer.plans.into_iter().map(|plan| plan.name));
        page_token = answer.next_page_token;
        if page_token.is_empty() {
            break;
        }
        dispatcher.plan(day(), 100 + page, 1).await;
        // One that was read, the one at which the token stands, and one that is still to come.
        let last = seen.last().expect("a row");
        for name in [&seen[0], last, &drafts[usize::from(page == 1)]] {
            if discarded.insert(name.clone()) {
                let request = DiscardPlanRequest {
                    name: name.clone(),
                    ..Default::default()
                };
                let answer = api.plans().discard_plan(request).await;
                answer.expect("discarded");
            }
        }
    }
    // Discarded ones stay in the list, as such.
    drafts.reverse();
    assert_eq!(seen, drafts);
}

async fn open_tags_come_once_while_others_come_and_are_released(database: Database) {
    let server = Server::start(&database).await;
    let api = Api::of(&server);
    api.create_branch(BRANCH_ID, branch()).await;
    api.import(BRANCH, records()).await;
    let mechanic = Mechanic::new(&api, MECHANIC);
    let units: Vec<String> = records().iter().filter_map(unit_of).collect();
    assert!(units.len() > 8, "{units:?}");
    let (early, late) = units.split_at(units.len() - 2);
    for unit in early {
        tag(&api, unit).await;
    }
    let names =
        |tags: &[TagOut]| -> Vec<String> { tags.iter().map(|tag| tag.name.clone()).collect() };
    let before = names(&open_tags(&api, 100, String::new()).await.tag_outs);
    let (mut seen, mut released) = (Vec::new(), BTreeSet::new());
    let mut page_token = String::new();
    for page in 0.. {
        let answer = open_tags(&api, 2, page_token).await;
        seen.extend(names(&answer.tag_outs));
        page_token = answer.next_page_token;
        if page_token.is_empty() {
            break;
        }
        if let Some(unit) = late.get(page) {
            tag(&api, unit).await;
        }
        // The one at which the token stands is released.
        let last = answer.tag_outs.last().expect("a row");
        mechanic.bring_back(last).await;
        released.insert(last.name.clone());
    }
    assert!(released.len() > 2, "{released:?}");
    let distinct: BTreeSet<_> = seen.iter().collect();
    assert_eq!(distinct.len(), seen.len(), "something came twice");
    let early: Vec<_> = seen.iter().filter(|name| before.contains(name)).collect();
    assert_eq!(early, before.iter().collect::<Vec<_>>());
}

/// The resource name of a unit that is imported.
fn unit_of(record: &ImportRecord) -> Option<String> {
    match record.record.as_ref()? {
        import_record::Record::Unit(unit) => Some(unit.name.clone()),
        _ => None,
    }
}

async fn tag(api: &Api, unit: &str) -> TagOut {
    let request = TagOutRequest {
        parent: BRANCH.to_owned(),
        tag_out: Some(unsafe_tag(unit, Symptom::Vibration)),
        request_id: request_id(),
    };
    let answer = api.tag_outs().tag_out(request).await.expect("tagged out");
    answer.into_inner().tag_out.expect("a tag")
}

async fn open_tags(api: &Api, page_size: i32, page_token: String) -> ListTagOutsResponse {
    let request = ListTagOutsRequest {
        parent: BRANCH.to_owned(),
        page_size,
        page_token,
        open_only: true,
        ..Default::default()
    };
    let answer = api.tag_outs().list_tag_outs(request).await;
    answer.expect("a page").into_inner()
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
