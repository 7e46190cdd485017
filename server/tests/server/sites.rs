//! Goal: sites hold what the contract says, in the branch's measures, and stay while work is tied to them.
//! Method: jobs and plans are put in past the services; counts are compared after refusals.

use forenoon_proto::v1;
use forenoon_proto::v1::length::Value as Long;
use forenoon_proto::v1::surface::Value as Wide;
use forenoon_store::value::JobState;
use tonic::Code;

use crate::house::{House, on_both, reason};
use crate::rows::{self, store};
use crate::yard::{
    NORTH, add_crew, add_site, at, change_site, crew, length, obstacles, open, open_branch,
    open_with, read_site, refused_for, remove_site, site, site_client, surface,
};

const NAME: &str = "branches/north/sites/mill-lane";

#[tokio::test]
async fn what_is_created_reads_back_the_same() {
    on_both(async |house| {
        open(house).await;
        let stored = add_site(house, "mill-lane", site()).await.expect("created");
        let now = Some("2027-04-20T11:45:00Z".parse().expect("an instant"));
        let expected = v1::Site {
            name: NAME.into(),
            etag: stored.etag.clone(),
            create_time: now,
            update_time: now,
            ..site()
        };
        assert_eq!(stored, expected);
        assert_eq!(read_site(house, NAME).await.expect("read"), expected);
    })
    .await;
}

/// Lengths and surfaces: NIST Special Publication 811, appendix B.8.
#[tokio::test]
async fn a_branch_in_si_answers_in_si() {
    let house = House::on_sqlite().await;
    open_with(&house, v1::UnitSystem::Si).await;
    let stored = add_site(&house, "mill-lane", site())
        .await
        .expect("created");
    let [lawn, walk, bed] = stored.areas.as_slice() else {
        unreachable!("three areas were given");
    };
    assert_eq!(lawn.surface, surface(Wide::SquareMetres(390.192_768)));
    assert_eq!(lawn.narrowest_gate, length(Long::Millimetres(1_066.8)));
    assert_eq!(walk.length, length(Long::Metres(76.2)));
    assert_eq!(bed.length, length(Long::Metres(12.192)));
}

#[tokio::test]
async fn what_is_not_said_is_taken_as_the_contract_says() {
    let house = House::on_sqlite().await;
    open(&house).await;
    let bare = v1::Site {
        display_name: "Bare".into(),
        location: at(41.52, -93.61),
        areas: vec![v1::Area {
            area_id: "turf".into(),
            kind: v1::AreaKind::Turf.into(),
            surface: surface(Wide::Acres(0.25)),
            ..v1::Area::default()
        }],
        ..v1::Site::default()
    };
    let stored = add_site(&house, "bare", bare).await.expect("created");
    assert_eq!(stored.clippings(), v1::Clippings::MayLie);
    assert_eq!(stored.areas[0].obstacles(), v1::Obstacles::Few);
    assert_eq!(stored.areas[0].shape(), v1::AreaShape::Ordinary);
    assert_eq!(stored.areas[0].surface, surface(Wide::SquareFeet(10_890.0)));
    assert_eq!((stored.quiet_until, stored.contact), (None, None));
}

#[tokio::test]
async fn the_request_itself_is_checked_too() {
    let house = House::on_sqlite().await;
    open(&house).await;
    let before = house.counts().await;
    let mut client = site_client(&house);
    let request = |parent: &str, site_id: &str, site| v1::CreateSiteRequest {
        parent: parent.into(),
        site_id: site_id.into(),
        site,
        request_id: "again".into(),
    };
    refused_for(
        client.create_site(request("north", "Mill", None)).await,
        "all but the parent's branch",
        &[
            ("parent", "MALFORMED"),
            ("request_id", "MALFORMED"),
            ("site", "REQUIRED"),
            ("site_id", "MALFORMED"),
        ],
    );
    let nowhere = v1::CreateSiteRequest {
        request_id: String::new(),
        ..request("branches/south", "mill-lane", Some(site()))
    };
    let refused = client.create_site(nowhere).await.expect_err("no branch");
    assert_eq!(reason(&refused), (Code::NotFound, "NOT_FOUND".into()));
    let listed = client
        .list_sites(v1::ListSitesRequest {
            parent: "branches/south".into(),
            ..v1::ListSitesRequest::default()
        })
        .await;
    assert_eq!(listed.expect_err("no branch").code(), Code::NotFound);
    refused_for(
        change_site(&house, v1::Site::default(), &["etag", "areas.surface"]).await,
        "no name, and a mask of fields that cannot be named",
        &[
            ("site.name", "REQUIRED"),
            ("update_mask.paths[0]", "IMMUTABLE"),
            ("update_mask.paths[1]", "UNKNOWN_FIELD"),
        ],
    );
    assert_eq!(house.counts().await, before);
}

#[tokio::test]
async fn a_mask_changes_its_fields_and_no_other() {
    on_both(async |house| {
        open_with(house, v1::UnitSystem::Si).await;
        let mut sound = site();
        // Odd in feet: it must not move when something else is changed.
        sound.areas[0].narrowest_gate = length(Long::Millimetres(1_000.0));
        let before = add_site(house, "mill-lane", sound).await.expect("created");
        house.set_clock("2027-04-20T12:00:00Z");
        let change = v1::Site {
            name: NAME.into(),
            access_note: "By the back lane".into(),
            display_name: "Not named by the mask".into(),
            ..v1::Site::default()
        };
        let after = change_site(house, change, &["access_note", "quiet_until"])
            .await
            .expect("changed");
        let expected = v1::Site {
            access_note: "By the back lane".into(),
            quiet_until: None,
            etag: after.etag.clone(),
            update_time: Some("2027-04-20T12:00:00Z".parse().expect("an instant")),
            ..before.clone()
        };
        assert_eq!(after, expected);
        assert_ne!(after.etag, before.etag);

        let stale = v1::Site {
            display_name: "Stale".into(),
            ..before
        };
        let counts = house.counts().await;
        let refused = change_site(house, stale, &[]).await.expect_err("stale");
        assert_eq!(reason(&refused), (Code::Aborted, "STALE_ETAG".into()));
        assert_eq!(house.counts().await, counts);
        assert_eq!(read_site(house, NAME).await.expect("read"), after);
    })
    .await;
}

#[tokio::test]
async fn an_id_is_taken_once_and_a_retry_is_answered_the_same() {
    on_both(async |house| {
        open(house).await;
        let request = v1::CreateSiteRequest {
            parent: NORTH.into(),
            site_id: "mill-lane".into(),
            site: Some(site()),
            request_id: "7f3c1f0e-52a4-4a53-9a5e-2f3b6f1f8c01".into(),
        };
        let mut client = site_client(house);
        let first = client.create_site(request.clone()).await.expect("created");
        let before = house.counts().await;
        let again = client.create_site(request).await.expect("answered");
        assert_eq!(again.into_inner(), first.into_inner());
        let refused = add_site(house, "mill-lane", site())
            .await
            .expect_err("there");
        assert_eq!(
            reason(&refused),
            (Code::AlreadyExists, "ALREADY_EXISTS".into())
        );
        assert_eq!(house.counts().await, before);
    })
    .await;
}

#[tokio::test]
async fn pages_go_through_one_branch_in_order() {
    let house = House::on_sqlite().await;
    open(&house).await;
    for id in ["delta", "alpha", "charlie"] {
        add_site(&house, id, site()).await.expect("created");
    }
    let mut client = site_client(&house);
    let mut pages = Vec::new();
    let mut page_token = String::new();
    loop {
        let request = v1::ListSitesRequest {
            parent: NORTH.into(),
            page_size: 2,
            page_token,
        };
        let page = client
            .list_sites(request)
            .await
            .expect("a page")
            .into_inner();
        let names = page.sites.into_iter().map(|site| site.name);
        pages.push(names.collect::<Vec<_>>());
        page_token = page.next_page_token;
        if page_token.is_empty() {
            break;
        }
    }
    let name = |id: &str| format!("{NORTH}/sites/{id}");
    assert_eq!(
        pages,
        [vec![name("alpha"), name("charlie")], vec![name("delta")]]
    );
}

#[tokio::test]
async fn a_site_with_work_stays_with_the_areas_it_is_on() {
    on_both(async |house| {
        open(house).await;
        let before = add_site(house, "mill-lane", site()).await.expect("created");
        add_site(house, "old-place", site()).await.expect("created");
        add_crew(house, "elm", crew("Elm")).await.expect("created");
        store(
            house,
            rows::job("open", "mill-lane", "walk", JobState::Open),
        )
        .await;
        store(
            house,
            rows::job("done", "mill-lane", "rose-bed", JobState::Done),
        )
        .await;
        // Planned at the old place, and moved since.
        store(house, rows::plan("2027-04-21")).await;
        store(house, rows::crew_day("2027-04-21-1", "elm")).await;
        store(
            house,
            rows::stop("2027-04-21-1", "elm", "open", "old-place"),
        )
        .await;

        let counts = house.counts().await;
        let mut fewer = before.clone();
        fewer.areas.retain(|area| area.area_id == "back-lawn");
        let lost = obstacles(change_site(house, fewer, &["areas"]).await);
        let job = |id: &str| format!("{NORTH}/jobs/{id}");
        assert_eq!(lost, [("AREA_IN_USE".into(), job("open"))]);
        let tied = obstacles(remove_site(house, NAME, "").await);
        let still = "STILL_REFERRED_TO".to_owned();
        assert_eq!(
            tied,
            [(still.clone(), job("done")), (still.clone(), job("open"))]
        );
        let tied = obstacles(remove_site(house, "branches/north/sites/old-place", "").await);
        assert_eq!(tied, [(still, format!("{NORTH}/plans/2027-04-21-1"))]);
        assert_eq!(house.counts().await, counts);
        assert_eq!(read_site(house, NAME).await.expect("read"), before);

        // A finished job keeps no area.
        let mut fewer = before;
        fewer.areas.retain(|area| area.area_id != "rose-bed");
        change_site(house, fewer, &["areas"])
            .await
            .expect("changed");
    })
    .await;
}

#[tokio::test]
async fn a_site_without_work_goes() {
    on_both(async |house| {
        open(house).await;
        let stored = add_site(house, "mill-lane", site()).await.expect("created");
        let refused = remove_site(house, NAME, "1-0").await.expect_err("stale");
        assert_eq!(reason(&refused), (Code::Aborted, "STALE_ETAG".into()));
        remove_site(house, NAME, &stored.etag)
            .await
            .expect("deleted");
        let gone = read_site(house, NAME).await.expect_err("gone");
        assert_eq!(reason(&gone), (Code::NotFound, "NOT_FOUND".into()));
        let gone = remove_site(house, NAME, "").await.expect_err("gone");
        assert_eq!(reason(&gone), (Code::NotFound, "NOT_FOUND".into()));
        let kinds: Vec<_> = house
            .audit()
            .await
            .into_iter()
            .map(|entry| entry.kind)
            .collect();
        assert_eq!(kinds, ["branch.created", "site.created", "site.deleted"]);
    })
    .await;
}

/// Guards what goes to the database together: each of many that ask at once is told what it asked for.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn who_asks_at_once_is_told_what_was_asked_for() {
    const SITES: usize = 12;
    on_both(async |house| {
        open(house).await;
        open_branch(house, "south", "South yard", v1::UnitSystem::Si).await;
        for branch in ["north", "south"] {
            for number in 0..SITES {
                let request = v1::CreateSiteRequest {
                    parent: format!("branches/{branch}"),
                    site_id: format!("site-{number}"),
                    site: Some(v1::Site {
                        display_name: format!("{branch} {number}"),
                        ..site()
                    }),
                    request_id: String::new(),
                };
                let created = site_client(house).create_site(request).await;
                created.expect("created");
            }
        }
        let names = ["north", "south", "west"]
            .into_iter()
            .flat_map(|branch| (0..2 * SITES).map(move |number| (branch, number)));
        let asked = names.map(async |(branch, number)| {
            let name = format!("branches/{branch}/sites/site-{number}");
            let found = read_site(house, &name).await;
            if branch == "west" || number >= SITES {
                let gone = found.expect_err("nothing of that name");
                assert_eq!(reason(&gone), (Code::NotFound, "NOT_FOUND".into()));
                let missing = if branch == "west" {
                    "branches/west"
                } else {
                    &name
                };
                assert!(gone.message().contains(missing), "{gone:?}");
                return;
            }
            let found = found.expect("read");
            assert_eq!(found.display_name, format!("{branch} {number}"));
            // Its own branch's measures.
            let (feet, metres) = (length(Long::Feet(250.0)), length(Long::Metres(76.2)));
            let expected = if branch == "north" { feet } else { metres };
            assert_eq!(found.areas[1].length, expected);
        });
        futures::future::join_all(asked).await;
    })
    .await;
}
