//! Goal: crews hold what the contract says, and have their units alone; what their workers bring follows them.
//! Method: counts of everything written are compared after refusals.

use forenoon_proto::google::r#type::DayOfWeek;
use forenoon_proto::v1;
use tonic::Code;

use crate::house::{House, on_both, reason};
use crate::yard::{
    NORTH, add_crew, add_unit, add_worker, change_crew, change_unit, change_worker, crew,
    crew_client, crew_name, in_crew, mower, open, read_crew, read_worker, refused_for,
    remove_worker, shift, trailer, truck, unit_name, worker, worker_name,
};

#[tokio::test]
async fn what_is_created_reads_back_the_same() {
    on_both(async |house| {
        open(house).await;
        add_unit(house, "truck", truck("LG-1"))
            .await
            .expect("created");
        add_unit(house, "trailer", trailer("LG-2"))
            .await
            .expect("created");
        let elm = v1::Crew {
            vehicle: unit_name("truck"),
            trailer: unit_name("trailer"),
            // What only follows is not taken from the caller.
            size: 7,
            skills: vec!["chainsaw".into()],
            ..crew("Elm")
        };
        let stored = add_crew(house, "elm", elm.clone()).await.expect("created");
        let now = Some("2027-04-20T11:45:00Z".parse().expect("an instant"));
        let expected = v1::Crew {
            name: crew_name("elm"),
            size: 0,
            skills: vec![],
            etag: stored.etag.clone(),
            create_time: now,
            update_time: now,
            ..elm
        };
        assert_eq!(stored, expected);
        let read = read_crew(house, &crew_name("elm")).await.expect("read");
        assert_eq!(read, expected);

        let ada = in_crew("elm", worker("Ada", &["ride-on", "first-aid"]));
        let stored = add_worker(house, "ada", ada.clone())
            .await
            .expect("created");
        let expected = v1::Worker {
            name: worker_name("ada"),
            etag: stored.etag.clone(),
            create_time: now,
            update_time: now,
            ..ada
        };
        assert_eq!(stored, expected);
        let read = read_worker(house, &worker_name("ada")).await.expect("read");
        assert_eq!(read, expected);
    })
    .await;
}

#[tokio::test]
async fn size_and_skills_follow_the_workers() {
    on_both(async |house| {
        open(house).await;
        for id in ["elm", "fir"] {
            add_crew(house, id, crew(id)).await.expect("created");
        }
        for (id, skills) in [
            ("ada", &["ride-on", "first-aid"][..]),
            ("bram", &["first-aid", "chainsaw"]),
        ] {
            add_worker(house, id, in_crew("elm", worker(id, skills)))
                .await
                .expect("created");
        }
        add_worker(house, "office", worker("Cleo", &["first-aid"]))
            .await
            .expect("created");
        let bring = async |id: &str| {
            let crew = read_crew(house, &crew_name(id)).await.expect("read");
            (crew.size, crew.skills)
        };
        let words = |skills: &[&str]| skills.iter().map(|&one| one.to_owned()).collect::<Vec<_>>();
        let all = words(&["chainsaw", "first-aid", "ride-on"]);
        assert_eq!(bring("elm").await, (2, all.clone()));
        assert_eq!(bring("fir").await, (0, vec![]));

        let moved = in_crew(
            "fir",
            v1::Worker {
                name: worker_name("bram"),
                ..v1::Worker::default()
            },
        );
        change_worker(house, moved, &["crew"]).await.expect("moved");
        assert_eq!(bring("elm").await, (1, words(&["first-aid", "ride-on"])));
        assert_eq!(bring("fir").await, (1, words(&["chainsaw", "first-aid"])));

        let request = v1::ListCrewsRequest {
            parent: NORTH.into(),
            ..v1::ListCrewsRequest::default()
        };
        let listed = crew_client(house)
            .list_crews(request)
            .await
            .expect("listed");
        let listed: Vec<_> = listed
            .into_inner()
            .crews
            .into_iter()
            .map(|crew| (crew.name, crew.size))
            .collect();
        assert_eq!(listed, [(crew_name("elm"), 1), (crew_name("fir"), 1)]);
        let renamed = v1::Crew {
            name: crew_name("fir"),
            display_name: "Firs".into(),
            ..v1::Crew::default()
        };
        let renamed = change_crew(house, renamed, &["display_name"])
            .await
            .expect("changed");
        assert_eq!(renamed.size, 1);
    })
    .await;
}

#[tokio::test]
async fn a_crew_has_units_that_are_there_of_their_kind_and_in_the_fleet() {
    on_both(async |house| {
        open(house).await;
        for (id, unit) in [
            ("truck", truck("LG-1")),
            ("trailer", trailer("LG-2")),
            ("mower", mower("LG-3")),
        ] {
            add_unit(house, id, unit).await.expect("created");
        }
        let retired = v1::Unit {
            retired: true,
            ..truck("LG-4")
        };
        add_unit(house, "old-truck", retired)
            .await
            .expect("created");
        let elm = add_crew(house, "elm", crew("Elm")).await.expect("created");
        let before = house.counts().await;
        for (vehicle, trailer, expected) in [
            (
                unit_name("van"),
                unit_name("cart"),
                &[
                    ("crew.vehicle", "UNKNOWN_REFERENCE"),
                    ("crew.trailer", "UNKNOWN_REFERENCE"),
                ][..],
            ),
            (
                unit_name("trailer"),
                unit_name("truck"),
                &[("crew.vehicle", "CONFLICT"), ("crew.trailer", "CONFLICT")],
            ),
            (
                unit_name("old-truck"),
                unit_name("mower"),
                &[("crew.vehicle", "CONFLICT"), ("crew.trailer", "CONFLICT")],
            ),
            (
                String::new(),
                unit_name("trailer"),
                &[("crew.trailer", "CONFLICT")],
            ),
            (
                "branches/south/units/truck".into(),
                "trailer".into(),
                &[
                    ("crew.vehicle", "UNKNOWN_REFERENCE"),
                    ("crew.trailer", "MALFORMED"),
                ],
            ),
        ] {
            let what = format!("{vehicle} {trailer}");
            let wrong = v1::Crew {
                vehicle,
                trailer,
                ..elm.clone()
            };
            refused_for(add_crew(house, "fir", wrong.clone()).await, &what, expected);
            refused_for(change_crew(house, wrong, &[]).await, &what, expected);
            assert_eq!(house.counts().await, before, "{what}");
        }
        let read = read_crew(house, &crew_name("elm")).await.expect("read");
        assert_eq!(read, elm);
    })
    .await;
}

#[tokio::test]
async fn a_vehicle_or_trailer_belongs_to_one_crew() {
    on_both(async |house| {
        open(house).await;
        for (id, unit) in [
            ("truck-1", truck("LG-1")),
            ("truck-2", truck("LG-2")),
            ("trailer-1", trailer("LG-3")),
        ] {
            add_unit(house, id, unit).await.expect("created");
        }
        let elm = v1::Crew {
            vehicle: unit_name("truck-1"),
            trailer: unit_name("trailer-1"),
            ..crew("Elm")
        };
        let elm = add_crew(house, "elm", elm).await.expect("created");
        let fir = v1::Crew {
            vehicle: unit_name("truck-2"),
            ..crew("Fir")
        };
        let fir = add_crew(house, "fir", fir).await.expect("created");
        let before = house.counts().await;
        let greedy = v1::Crew {
            vehicle: unit_name("truck-1"),
            trailer: unit_name("trailer-1"),
            ..fir.clone()
        };
        let shared = [("crew.trailer", "DUPLICATE"), ("crew.vehicle", "DUPLICATE")];
        refused_for(
            add_crew(house, "hazel", greedy.clone()).await,
            "a new crew",
            &shared,
        );
        refused_for(change_crew(house, greedy, &[]).await, "a change", &shared);
        assert_eq!(house.counts().await, before);
        // Its own units stand in nobody's way, and what one gives up another may have.
        let alone = v1::Crew {
            trailer: String::new(),
            display_name: "Elms".into(),
            ..elm
        };
        change_crew(house, alone, &[]).await.expect("changed");
        let towing = v1::Crew {
            trailer: unit_name("trailer-1"),
            ..fir
        };
        change_crew(house, towing, &[]).await.expect("changed");
    })
    .await;
}

#[tokio::test]
async fn masks_and_etags_guard_crews_and_workers() {
    let house = House::on_sqlite().await;
    open(&house).await;
    let elm = add_crew(&house, "elm", crew("Elm")).await.expect("created");
    let ada = add_worker(&house, "ada", in_crew("elm", worker("Ada", &["ride-on"])))
        .await
        .expect("created");
    house.set_clock("2027-04-20T12:00:00Z");
    let later = Some("2027-04-20T12:00:00Z".parse().expect("an instant"));

    let change = v1::Crew {
        name: elm.name.clone(),
        shifts: vec![shift(DayOfWeek::Friday, (6, 30), (15, 0))],
        ..v1::Crew::default()
    };
    let after = change_crew(&house, change.clone(), &["shifts", "base"])
        .await
        .expect("changed");
    let expected = v1::Crew {
        shifts: change.shifts,
        base: None,
        size: 1,
        skills: vec!["ride-on".into()],
        etag: after.etag.clone(),
        update_time: later,
        ..elm.clone()
    };
    assert_eq!(after, expected);

    let change = v1::Worker {
        name: ada.name.clone(),
        ..v1::Worker::default()
    };
    let changed = change_worker(&house, change, &["cost_per_hour", "crew"])
        .await
        .expect("changed");
    let expected = v1::Worker {
        cost_per_hour: None,
        crew: String::new(),
        etag: changed.etag.clone(),
        update_time: later,
        ..ada.clone()
    };
    assert_eq!(changed, expected);

    let counts = house.counts().await;
    let immutable = [("update_mask.paths[0]", "IMMUTABLE")];
    for field in ["size", "skills", "name", "etag"] {
        let outcome = change_crew(&house, after.clone(), &[field]).await;
        refused_for(outcome, field, &immutable);
    }
    let stale = (Code::Aborted, "STALE_ETAG".to_owned());
    let refused = change_crew(&house, elm, &[]).await.expect_err("stale");
    assert_eq!(reason(&refused), stale);
    let refused = change_worker(&house, ada.clone(), &[])
        .await
        .expect_err("stale");
    assert_eq!(reason(&refused), stale);
    let refused = remove_worker(&house, &ada.name, &ada.etag)
        .await
        .expect_err("stale");
    assert_eq!(reason(&refused), stale);
    assert_eq!(house.counts().await, counts);
}

/// A crew is given a vehicle while the vehicle is retired: one of them comes first, and both hold.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_vehicle_is_never_retired_and_driven() {
    on_both(async |house| {
        open(house).await;
        add_unit(house, "truck", truck("LG-1"))
            .await
            .expect("created");
        add_crew(house, "elm", crew("Elm")).await.expect("created");
        let driven = v1::Crew {
            name: crew_name("elm"),
            vehicle: unit_name("truck"),
            ..v1::Crew::default()
        };
        let retired = v1::Unit {
            name: unit_name("truck"),
            retired: true,
            ..v1::Unit::default()
        };
        let (drive, retire) = tokio::join!(
            change_crew(house, driven, &["vehicle"]),
            change_unit(house, retired, &["retired"])
        );
        assert_ne!(drive.is_ok(), retire.is_ok(), "{drive:?} {retire:?}");
    })
    .await;
}
