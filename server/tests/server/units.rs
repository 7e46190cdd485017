//! Goal: units hold what the contract says, in the branch's measures, with the state their tag makes.
//! Method: tags and plans are put in past the services; counts are compared after refusals.

use forenoon_proto::v1;
use forenoon_proto::v1::UnitState as S;
use forenoon_proto::v1::length::Value as Long;
use forenoon_proto::v1::volume::Value as Room;
use forenoon_store::value::Severity;
use tonic::Code;

use crate::house::{House, on_both, reason};
use crate::rows::{self, execute, store};
use crate::yard::{
    NORTH, add_crew, add_unit, blower, change_unit, crew, edger, length, mower, obstacles, open,
    open_with, powerhead, read_unit, refused_for, remove_unit, trailer, truck, unit_client,
    unit_name, volume,
};

#[tokio::test]
async fn what_is_created_reads_back_the_same() {
    on_both(async |house| {
        open(house).await;
        let now = Some("2027-04-20T11:45:00Z".parse().expect("an instant"));
        for (id, unit) in [
            ("mower", mower("LG-1")),
            ("head", powerhead("LG-2")),
            ("edger", edger("LG-3")),
            ("blower", blower("LG-4")),
            ("truck", truck("LG-5")),
            ("trailer", trailer("LG-6")),
        ] {
            let stored = add_unit(house, id, unit.clone()).await.expect("created");
            let expected = v1::Unit {
                name: unit_name(id),
                state: v1::UnitState::Fit.into(),
                etag: stored.etag.clone(),
                create_time: now,
                update_time: now,
                ..unit
            };
            assert_eq!(stored, expected);
            let read = read_unit(house, &unit_name(id)).await.expect("read");
            assert_eq!(read, expected);
        }
    })
    .await;
}

/// Lengths and volumes: NIST Special Publication 811, appendix B.8.
#[tokio::test]
async fn a_branch_in_si_answers_in_si() {
    let house = House::on_sqlite().await;
    open_with(&house, v1::UnitSystem::Si).await;
    let stored = add_unit(&house, "mower", mower("LG-1"))
        .await
        .expect("created");
    assert_eq!(stored.cutting_width, length(Long::Millimetres(914.4)));
    assert_eq!(stored.machine_width, length(Long::Millimetres(965.2)));
    // 45 cubic feet of 28.316846592 litres.
    assert_eq!(stored.load_space, volume(Room::Litres(1_274.258_096_64)));
    assert_eq!(stored.carries, None);
}

#[tokio::test]
async fn a_serial_number_is_one_unit_s() {
    on_both(async |house| {
        open(house).await;
        add_unit(house, "first", mower("LG-1"))
            .await
            .expect("created");
        let second = add_unit(house, "second", mower("LG-2"))
            .await
            .expect("created");
        let before = house.counts().await;
        let taken = [("unit.serial_number", "DUPLICATE")];
        refused_for(
            add_unit(house, "third", blower("LG-1")).await,
            "a new unit",
            &taken,
        );
        let renamed = v1::Unit {
            serial_number: "LG-1".into(),
            ..second.clone()
        };
        let outcome = change_unit(house, renamed, &["serial_number"]).await;
        refused_for(outcome, "a change", &taken);
        assert_eq!(house.counts().await, before);
        let name = unit_name("second");
        assert_eq!(read_unit(house, &name).await.expect("read"), second);
        // Its own number stands in nobody's way.
        let again = v1::Unit {
            run_hours: 400.0,
            ..second
        };
        change_unit(house, again, &[]).await.expect("changed");
    })
    .await;
}

#[tokio::test]
async fn the_state_follows_from_tag_and_retirement_and_lists_are_by_it() {
    on_both(async |house| {
        open(house).await;
        for (number, id) in ["fit", "limited", "out", "released", "retired", "scrap"]
            .into_iter()
            .enumerate()
        {
            let one = v1::Unit {
                retired: id == "retired",
                ..blower(&format!("LG-{number}"))
            };
            add_unit(house, id, one).await.expect("created");
        }
        store(house, rows::tag(1, "limited", Severity::Reduced)).await;
        store(house, rows::tag(2, "out", Severity::Unsafe)).await;
        store(house, rows::tag(3, "released", Severity::Unsafe)).await;
        store(house, rows::tag(4, "scrap", Severity::Unsafe)).await;
        release(house).await;
        // A unit that is tagged out may leave the fleet: it was not worth the repair.
        let scrap = v1::Unit {
            name: unit_name("scrap"),
            retired: true,
            ..v1::Unit::default()
        };
        let scrap = change_unit(house, scrap, &["retired"])
            .await
            .expect("retired");
        assert_eq!(scrap.state(), v1::UnitState::Retired);
        assert_eq!(scrap.open_tag_out, format!("{NORTH}/tagOuts/t-4"));

        let out = read_unit(house, &unit_name("out")).await.expect("read");
        assert_eq!(out.state(), v1::UnitState::TaggedOut);
        assert_eq!(out.open_tag_out, format!("{NORTH}/tagOuts/t-2"));
        // What only follows cannot be set.
        let forced = v1::Unit {
            state: v1::UnitState::Fit.into(),
            open_tag_out: String::new(),
            display_name: "Still out".into(),
            ..out
        };
        let forced = change_unit(house, forced, &[]).await.expect("changed");
        assert_eq!(forced.state(), v1::UnitState::TaggedOut);

        for (state, expected) in [
            (
                S::Unspecified,
                &["fit", "limited", "out", "released", "retired", "scrap"][..],
            ),
            (S::Fit, &["fit", "released"]),
            (S::Limited, &["limited"]),
            (S::TaggedOut, &["out"]),
            (S::Retired, &["retired", "scrap"]),
        ] {
            let listed = list(house, state.into()).await;
            let expected: Vec<_> = expected.iter().map(|id| unit_name(id)).collect();
            assert_eq!(listed, expected, "{state:?}");
        }
        let wrong = v1::ListUnitsRequest {
            parent: NORTH.into(),
            state: 9,
            ..v1::ListUnitsRequest::default()
        };
        let outcome = unit_client(house).list_units(wrong).await;
        refused_for(outcome, "no state", &[("state", "OUT_OF_RANGE")]);
    })
    .await;
}

/// Ends tag 3 as the schema's guards want it: inspected first, then released by somebody.
async fn release(house: &House) {
    use crate::yard::{add_worker, worker};
    add_worker(house, "bench", worker("Bench", &[]))
        .await
        .expect("created");
    let tag = "WHERE branch_id = 'north' AND id = 't-3'";
    let inspected = format!("UPDATE tag_out SET state = 'inspected' {tag}");
    let released = format!(
        "UPDATE tag_out SET state = 'released', released_by_id = 'bench', \
         release_time = '2027-04-20 11:30:00+00:00' {tag}"
    );
    execute(house, &inspected).await;
    execute(house, &released).await;
}

/// The names of all units in a state, read in pages of two.
async fn list(house: &House, state: i32) -> Vec<String> {
    let mut names = Vec::new();
    let mut page_token = String::new();
    loop {
        let request = v1::ListUnitsRequest {
            parent: NORTH.into(),
            page_size: 2,
            page_token,
            state,
        };
        let page = unit_client(house)
            .list_units(request)
            .await
            .expect("a page")
            .into_inner();
        names.extend(page.units.into_iter().map(|unit| unit.name));
        page_token = page.next_page_token;
        if page_token.is_empty() {
            return names;
        }
    }
}

#[tokio::test]
async fn a_page_token_is_for_its_own_state() {
    let house = House::on_sqlite().await;
    open(&house).await;
    for id in ["a", "b"] {
        add_unit(&house, id, blower(id)).await.expect("created");
    }
    let request = |state: v1::UnitState, page_token: String| v1::ListUnitsRequest {
        parent: NORTH.into(),
        page_size: 1,
        page_token,
        state: state.into(),
    };
    let mut client = unit_client(&house);
    let first = client
        .list_units(request(v1::UnitState::Fit, String::new()))
        .await
        .expect("a page");
    let token = first.into_inner().next_page_token;
    let outcome = client
        .list_units(request(v1::UnitState::Limited, token))
        .await;
    refused_for(outcome, "another state", &[("page_token", "MALFORMED")]);
}

#[tokio::test]
async fn a_mask_changes_its_fields_and_no_other() {
    let house = House::on_sqlite().await;
    open(&house).await;
    let mut sound = mower("LG-1");
    // Odd in inches: it must not move when something else is changed.
    sound.cutting_width = length(Long::Millimetres(1_000.0));
    let before = add_unit(&house, "mower", sound).await.expect("created");
    house.set_clock("2027-04-20T12:00:00Z");
    let change = v1::Unit {
        name: unit_name("mower"),
        run_hours: 320.25,
        ..v1::Unit::default()
    };
    let after = change_unit(&house, change, &["run_hours", "absences"])
        .await
        .expect("changed");
    let expected = v1::Unit {
        run_hours: 320.25,
        absences: vec![],
        etag: after.etag.clone(),
        update_time: Some("2027-04-20T12:00:00Z".parse().expect("an instant")),
        ..before.clone()
    };
    assert_eq!(after, expected);
    let counts = house.counts().await;
    for field in ["state", "open_tag_out", "name", "etag", "create_time"] {
        let outcome = change_unit(&house, after.clone(), &[field]).await;
        refused_for(outcome, field, &[("update_mask.paths[0]", "IMMUTABLE")]);
    }
    let refused = change_unit(&house, before, &[]).await.expect_err("stale");
    assert_eq!(reason(&refused), (Code::Aborted, "STALE_ETAG".into()));
    assert_eq!(house.counts().await, counts);
}

#[tokio::test]
async fn a_unit_that_a_crew_drives_stays_what_it_is() {
    on_both(async |house| {
        open(house).await;
        let truck = add_unit(house, "truck", truck("LG-1"))
            .await
            .expect("created");
        add_unit(house, "trailer", trailer("LG-2"))
            .await
            .expect("created");
        let elm = v1::Crew {
            vehicle: unit_name("truck"),
            trailer: unit_name("trailer"),
            ..crew("Elm")
        };
        add_crew(house, "elm", elm).await.expect("created");
        let before = house.counts().await;
        let in_the_way = [("UNIT_OF_CREW".to_owned(), format!("{NORTH}/crews/elm"))];
        for id in ["truck", "trailer"] {
            let retired = v1::Unit {
                name: unit_name(id),
                retired: true,
                ..v1::Unit::default()
            };
            let outcome = change_unit(house, retired, &["retired"]).await;
            assert_eq!(obstacles(outcome), in_the_way, "{id}");
            let tied = obstacles(remove_unit(house, &unit_name(id), "").await);
            let expected = [("STILL_REFERRED_TO".to_owned(), format!("{NORTH}/crews/elm"))];
            assert_eq!(tied, expected, "{id}");
        }
        let towed = v1::Unit {
            kind: v1::UnitKind::Trailer.into(),
            ..truck.clone()
        };
        let outcome = change_unit(house, towed, &["kind"]).await;
        assert_eq!(obstacles(outcome), in_the_way);
        assert_eq!(house.counts().await, before);
        let name = unit_name("truck");
        assert_eq!(read_unit(house, &name).await.expect("read"), truck);
    })
    .await;
}

#[tokio::test]
async fn a_unit_aboard_from_today_on_is_not_retired() {
    on_both(async |house| {
        open(house).await;
        add_crew(house, "elm", crew("Elm")).await.expect("created");
        add_unit(house, "mower", mower("LG-1"))
            .await
            .expect("created");
        // It is the evening of April 20 in Chicago, and the 21st in Greenwich.
        house.set_clock("2027-04-21T03:00:00Z");
        for (day, plan) in [
            ("2027-04-19", "2027-04-19-1"),
            ("2027-04-20", "2027-04-20-1"),
            ("2027-04-21", "2027-04-21-1"),
            ("2027-04-22", "2027-04-22-1"),
        ] {
            store(house, rows::plan(day)).await;
            store(house, rows::crew_day(plan, "elm")).await;
            store(house, rows::aboard(plan, "elm", "mower")).await;
        }
        // The last one is still a draft.
        execute(
            house,
            "UPDATE plan SET state = 'published', publish_time = '2027-04-19 11:00:00+00:00' \
             WHERE id < '2027-04-22'",
        )
        .await;
        let retired = v1::Unit {
            name: unit_name("mower"),
            retired: true,
            ..v1::Unit::default()
        };
        let before = house.counts().await;
        let outcome = change_unit(house, retired.clone(), &["retired"]).await;
        let plan = |id: &str| ("UNIT_ABOARD".to_owned(), format!("{NORTH}/plans/{id}"));
        assert_eq!(
            obstacles(outcome),
            [plan("2027-04-20-1"), plan("2027-04-21-1")]
        );
        assert_eq!(house.counts().await, before);
        house.set_clock("2027-04-22T06:00:00Z");
        let after = change_unit(house, retired, &["retired"]).await;
        assert!(after.expect("nothing published is ahead").retired);
    })
    .await;
}

/// Guards a unit that a plan of weeks ahead has, behind many that do not have it.
#[tokio::test]
async fn a_unit_aboard_in_weeks_is_not_retired() {
    on_both(async |house| {
        open(house).await;
        add_crew(house, "elm", crew("Elm")).await.expect("created");
        add_unit(house, "mower", mower("LG-1"))
            .await
            .expect("created");
        for day in 1..=22 {
            store(house, rows::plan(&format!("2027-05-{day:02}"))).await;
        }
        let last = "2027-05-22-1";
        store(house, rows::crew_day(last, "elm")).await;
        store(house, rows::aboard(last, "elm", "mower")).await;
        execute(
            house,
            "UPDATE plan SET state = 'published', publish_time = '2027-04-19 11:00:00+00:00'",
        )
        .await;
        let retired = v1::Unit {
            name: unit_name("mower"),
            retired: true,
            ..v1::Unit::default()
        };
        let outcome = change_unit(house, retired, &["retired"]).await;
        let plan = ("UNIT_ABOARD".to_owned(), format!("{NORTH}/plans/{last}"));
        assert_eq!(obstacles(outcome), [plan]);
    })
    .await;
}

#[tokio::test]
async fn a_unit_with_a_past_is_kept_and_one_without_goes() {
    on_both(async |house| {
        open(house).await;
        add_crew(house, "elm", crew("Elm")).await.expect("created");
        for (id, serial) in [("tagged", "LG-1"), ("planned", "LG-2"), ("idle", "LG-3")] {
            add_unit(house, id, mower(serial)).await.expect("created");
        }
        store(house, rows::tag(1, "tagged", Severity::Reduced)).await;
        store(house, rows::plan("2027-04-20")).await;
        store(house, rows::crew_day("2027-04-20-1", "elm")).await;
        store(house, rows::aboard("2027-04-20-1", "elm", "planned")).await;
        let before = house.counts().await;
        for (id, referrer) in [("tagged", "tagOuts/t-1"), ("planned", "plans/2027-04-20-1")] {
            let tied = obstacles(remove_unit(house, &unit_name(id), "").await);
            let expected = [(
                "STILL_REFERRED_TO".to_owned(),
                format!("{NORTH}/{referrer}"),
            )];
            assert_eq!(tied, expected, "{id}");
        }
        assert_eq!(house.counts().await, before);
        remove_unit(house, &unit_name("idle"), "")
            .await
            .expect("deleted");
        let gone = read_unit(house, &unit_name("idle"))
            .await
            .expect_err("gone");
        assert_eq!(reason(&gone), (Code::NotFound, "NOT_FOUND".into()));
    })
    .await;
}
