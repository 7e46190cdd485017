//! Goal: sites hold what the contract says; bad ones are refused with every fault, and leave nothing.
//! Method: one table of spoilt sites, each tried as a new one and as a change of a sound one.

use forenoon_proto::v1;
use forenoon_proto::v1::length::Value as Long;
use forenoon_proto::v1::surface::Value as Wide;
use forenoon_store::value::JobState;
use tonic::Code;

use crate::house::{House, on_both, reason};
use crate::rows::{self, store};
use crate::yard::{
    NORTH, add_crew, add_site, at, change_site, clock, crew, length, obstacles, open, open_with,
    read_site, refused_for, remove_site, site, site_client, surface,
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

type Spoil = fn(&mut v1::Site);
type Faults = &'static [(&'static str, &'static str)];

const SPOILT: &[(&str, Spoil, Faults)] = &[
    (
        "no name",
        |site| site.display_name.clear(),
        &[("site.display_name", "REQUIRED")],
    ),
    (
        "a blank name",
        |site| site.display_name = "  ".into(),
        &[("site.display_name", "REQUIRED")],
    ),
    (
        "texts too long",
        |site| {
            site.display_name = "n".repeat(201);
            site.customer = "n".repeat(201);
            site.address = "n".repeat(501);
            site.clippings_note = "n".repeat(501);
            site.access_note = "n".repeat(2_001);
            site.areas[0].display_name = "n".repeat(201);
            site.hazards[0].description = "n".repeat(501);
            site.contact = Some(v1::Contact {
                display_name: "n".repeat(201),
                phone: "5".repeat(41),
                email: "n".repeat(255),
            });
        },
        &[
            ("site.display_name", "TOO_LONG"),
            ("site.customer", "TOO_LONG"),
            ("site.address", "TOO_LONG"),
            ("site.clippings_note", "TOO_LONG"),
            ("site.access_note", "TOO_LONG"),
            ("site.areas[0].display_name", "TOO_LONG"),
            ("site.hazards[0].description", "TOO_LONG"),
            ("site.contact.display_name", "TOO_LONG"),
            ("site.contact.phone", "TOO_LONG"),
            ("site.contact.email", "TOO_LONG"),
        ],
    ),
    (
        "an address of two lines",
        |site| site.address = "a\nb".into(),
        &[("site.address", "MALFORMED")],
    ),
    (
        "no place",
        |site| site.location = None,
        &[("site.location", "REQUIRED")],
    ),
    (
        "open sea",
        |site| site.location = at(0.0, 0.0),
        &[("site.location", "OUT_OF_RANGE")],
    ),
    (
        "off the globe",
        |site| site.location = at(90.1, 180.1),
        &[
            ("site.location.latitude", "OUT_OF_RANGE"),
            ("site.location.longitude", "OUT_OF_RANGE"),
        ],
    ),
    (
        "no numbers",
        |site| site.location = at(f64::NAN, f64::NEG_INFINITY),
        &[
            ("site.location.latitude", "OUT_OF_RANGE"),
            ("site.location.longitude", "OUT_OF_RANGE"),
        ],
    ),
    (
        "areas with one id",
        |site| site.areas[2].area_id = "back-lawn".into(),
        &[("site.areas[2].area_id", "DUPLICATE")],
    ),
    (
        "ids of another form",
        |site| {
            site.areas[1].area_id = "The Walk".into();
            site.areas[2].area_id.clear();
            site.hazards[0].hazard_id = "1".into();
        },
        &[
            ("site.areas[1].area_id", "MALFORMED"),
            ("site.areas[2].area_id", "REQUIRED"),
            ("site.hazards[0].hazard_id", "MALFORMED"),
        ],
    ),
    (
        "sizes missing",
        |site| {
            site.areas[0].surface = None;
            site.areas[1].length = None;
            site.areas[2].surface = Some(v1::Surface { value: None });
        },
        &[
            ("site.areas[0].surface", "REQUIRED"),
            ("site.areas[1].length", "REQUIRED"),
            ("site.areas[2].surface", "REQUIRED"),
        ],
    ),
    (
        "sizes that do not belong to the kind",
        |site| {
            site.areas[0].length = length(Long::Feet(10.0));
            site.areas[1].surface = surface(Wide::SquareFeet(10.0));
        },
        &[
            ("site.areas[0].length", "CONFLICT"),
            ("site.areas[1].surface", "CONFLICT"),
        ],
    ),
    (
        "negative sizes",
        |site| {
            site.areas[0].surface = surface(Wide::SquareFeet(-4_200.0));
            site.areas[0].narrowest_gate = length(Long::Inches(-42.0));
            site.areas[0].slope_percent = -1.0;
            site.areas[1].length = length(Long::Feet(-250.0));
        },
        &[
            ("site.areas[0].surface", "OUT_OF_RANGE"),
            ("site.areas[0].narrowest_gate", "OUT_OF_RANGE"),
            ("site.areas[0].slope_percent", "OUT_OF_RANGE"),
            ("site.areas[1].length", "OUT_OF_RANGE"),
        ],
    ),
    (
        "absurdly small",
        |site| {
            site.areas[0].surface = surface(Wide::SquareFeet(0.0));
            site.areas[0].narrowest_gate = length(Long::Inches(7.0));
            site.areas[1].length = length(Long::Inches(3.9));
        },
        &[
            ("site.areas[0].surface", "OUT_OF_RANGE"),
            ("site.areas[0].narrowest_gate", "OUT_OF_RANGE"),
            ("site.areas[1].length", "OUT_OF_RANGE"),
        ],
    ),
    (
        "absurdly large",
        |site| {
            site.areas[0].surface = surface(Wide::Acres(2_472.0));
            site.areas[0].narrowest_gate = length(Long::Feet(98.5));
            site.areas[0].slope_percent = 200.1;
            site.areas[1].length = length(Long::Metres(100_001.0));
        },
        &[
            ("site.areas[0].surface", "OUT_OF_RANGE"),
            ("site.areas[0].narrowest_gate", "OUT_OF_RANGE"),
            ("site.areas[0].slope_percent", "OUT_OF_RANGE"),
            ("site.areas[1].length", "OUT_OF_RANGE"),
        ],
    ),
    (
        "no numbers for sizes",
        |site| {
            site.areas[0].surface = surface(Wide::Acres(f64::NAN));
            site.areas[0].slope_percent = f64::NAN;
            site.areas[1].length = length(Long::Metres(f64::INFINITY));
        },
        &[
            ("site.areas[0].surface", "OUT_OF_RANGE"),
            ("site.areas[0].slope_percent", "OUT_OF_RANGE"),
            ("site.areas[1].length", "OUT_OF_RANGE"),
        ],
    ),
    (
        "words there are not",
        |site| {
            site.clippings = 9;
            site.areas[0].kind = 0;
            site.areas[1].kind = 9;
            site.areas[2].obstacles = -1;
            site.areas[2].shape = 9;
        },
        &[
            ("site.clippings", "OUT_OF_RANGE"),
            ("site.areas[0].kind", "REQUIRED"),
            ("site.areas[1].kind", "OUT_OF_RANGE"),
            ("site.areas[2].obstacles", "OUT_OF_RANGE"),
            ("site.areas[2].shape", "OUT_OF_RANGE"),
        ],
    ),
    (
        "hazards",
        |site| {
            let pipe = site.hazards[0].clone();
            site.hazards[0].description.clear();
            site.hazards[0].location = at(0.0, 0.0);
            site.hazards[0].area_id = "front-lawn".into();
            site.hazards.push(pipe);
        },
        &[
            ("site.hazards[0].description", "REQUIRED"),
            ("site.hazards[0].location", "OUT_OF_RANGE"),
            ("site.hazards[0].area_id", "UNKNOWN_REFERENCE"),
            ("site.hazards[1].hazard_id", "DUPLICATE"),
        ],
    ),
    (
        "a time of day there is not",
        |site| site.quiet_until = clock(24, 1),
        &[("site.quiet_until", "OUT_OF_RANGE")],
    ),
    (
        "too many parts",
        |site| {
            let area = |index| v1::Area {
                area_id: format!("a-{index}"),
                ..site.areas[0].clone()
            };
            let hazard = |index| v1::Hazard {
                hazard_id: format!("h-{index}"),
                area_id: String::new(),
                ..site.hazards[0].clone()
            };
            let hazards = (0..201).map(hazard).collect();
            site.areas = (0..201).map(area).collect();
            site.hazards = hazards;
        },
        &[("site.areas", "TOO_MANY"), ("site.hazards", "TOO_MANY")],
    ),
];

#[tokio::test]
async fn bad_sites_are_refused_with_every_fault_and_leave_nothing() {
    let house = House::on_sqlite().await;
    open(&house).await;
    let sound = add_site(&house, "mill-lane", site())
        .await
        .expect("created");
    let before = house.counts().await;
    for (what, spoil, expected) in SPOILT {
        let mut spoilt = sound.clone();
        spoil(&mut spoilt);
        refused_for(
            add_site(&house, "spoilt", spoilt.clone()).await,
            what,
            expected,
        );
        refused_for(change_site(&house, spoilt, &[]).await, what, expected);
        assert_eq!(house.counts().await, before, "{what}");
    }
    assert_eq!(read_site(&house, NAME).await.expect("read"), sound);
    let spoilt = read_site(&house, "branches/north/sites/spoilt").await;
    assert_eq!(
        spoilt.expect_err("was never created").code(),
        Code::NotFound
    );
}

#[tokio::test]
async fn sizes_at_their_bounds_are_taken() {
    let house = House::on_sqlite().await;
    open_with(&house, v1::UnitSystem::Si).await;
    for (id, square_metres, metres, gate) in
        [("least", 0.09, 0.1, 200.0), ("most", 1e7, 1e5, 30_000.0)]
    {
        let mut bound = site();
        bound.areas[0].surface = surface(Wide::SquareMetres(square_metres));
        bound.areas[0].narrowest_gate = length(Long::Millimetres(gate));
        bound.areas[1].length = length(Long::Metres(metres));
        let stored = add_site(&house, id, bound.clone()).await.expect("taken");
        assert_eq!(stored.areas[0], bound.areas[0]);
        assert_eq!(stored.areas[1], bound.areas[1]);
    }
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
