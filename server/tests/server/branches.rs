//! Goal: the standard methods hold what the contract says, on both databases; what is refused leaves
//! nothing behind. Method: a client per test; the tables are counted after refusals.

use forenoon_proto::google::r#type::{LatLng, Money};
use forenoon_proto::v1;
use forenoon_server::work::ForgetAnswers;
use forenoon_store::entity::{plan, site};
use forenoon_store::sea_orm::{ActiveModelTrait, DatabaseTransaction, IntoActiveModel};
use forenoon_store::value::{Areas, Clippings, Hazards, PlanChanges, PlanState, PlanTotals, Words};
use forenoon_store::{StoreError, Write};
use prost_types::FieldMask;
use tonic::{Code, Request};
use tonic_types::StatusExt;

use crate::house::{House, faults, on_both, reason};

const REQUEST_ID: &str = "7f3c1f0e-52a4-4a53-9a5e-2f3b6f1f8c01";

fn dollars(units: i64, cents: i32) -> Money {
    Money {
        currency_code: "USD".into(),
        units,
        nanos: cents * 10_000_000,
    }
}

fn north() -> v1::Branch {
    v1::Branch {
        display_name: "North yard".into(),
        time_zone: "America/Chicago".into(),
        currency_code: "USD".into(),
        unit_system: v1::UnitSystem::UsCustomary.into(),
        yard: Some(LatLng {
            latitude: 41.5,
            longitude: -93.6,
        }),
        travel: Some(v1::TravelRule {
            road_factor: 1.25,
            kilometres_per_hour: 45.0,
            seconds_per_stop: 120,
        }),
        price: Some(v1::PriceRule {
            labour_per_hour: Some(dollars(24, 50)),
            overhead_basis_points: 2_500,
            margin_basis_points: 1_200,
            minimum_charge: Some(dollars(45, 0)),
            disposal_per_bag: Some(dollars(3, 5)),
        }),
        exposure: Some(v1::ExposureRule {
            noise_criterion: v1::NoiseCriterion::Recommendation.into(),
            noise_action_percent: 40.0,
            noise_limit_percent: 80.0,
            hearing_protection_decibels: 12.5,
            vibration_action: 2.0,
            vibration_limit: 4.5,
            plan_within_limits: true,
        }),
        ..v1::Branch::default()
    }
}

fn create(id: &str, branch: v1::Branch) -> v1::CreateBranchRequest {
    v1::CreateBranchRequest {
        branch_id: id.into(),
        branch: Some(branch),
        request_id: String::new(),
    }
}

async fn created(house: &House, id: &str) -> v1::Branch {
    house
        .branches()
        .create_branch(create(id, north()))
        .await
        .expect("created")
        .into_inner()
        .branch
        .expect("a branch")
}

async fn read(house: &House, name: &str) -> v1::Branch {
    let request = v1::GetBranchRequest { name: name.into() };
    house
        .branches()
        .get_branch(request)
        .await
        .expect("read")
        .into_inner()
        .branch
        .expect("a branch")
}

fn update(branch: v1::Branch, paths: &[&str]) -> v1::UpdateBranchRequest {
    v1::UpdateBranchRequest {
        branch: Some(branch),
        update_mask: Some(FieldMask {
            paths: paths.iter().map(|&path| path.to_owned()).collect(),
        }),
        request_id: String::new(),
    }
}

#[tokio::test]
async fn what_is_created_reads_back_the_same() {
    on_both(async |house| {
        let stored = created(house, "north").await;
        let expected = v1::Branch {
            name: "branches/north".into(),
            etag: stored.etag.clone(),
            create_time: Some("2027-04-20T11:45:00Z".parse().expect("an instant")),
            update_time: Some("2027-04-20T11:45:00Z".parse().expect("an instant")),
            ..north()
        };
        assert_eq!(stored, expected);
        assert!(!stored.etag.is_empty());
        assert_eq!(read(house, "branches/north").await, expected);
    })
    .await;
}

#[tokio::test]
async fn every_fault_is_told_at_once_and_nothing_is_written() {
    on_both(async |house| {
        let branch = v1::Branch {
            display_name: "n".repeat(201),
            time_zone: "America/Larkmoor".into(),
            currency_code: "USD".into(),
            unit_system: 9,
            yard: Some(LatLng {
                latitude: 90.5,
                longitude: f64::NAN,
            }),
            travel: Some(v1::TravelRule {
                road_factor: -1.0,
                kilometres_per_hour: f64::INFINITY,
                seconds_per_stop: 3_601,
            }),
            price: Some(v1::PriceRule {
                labour_per_hour: Some(Money {
                    currency_code: "EUR".into(),
                    units: 20,
                    nanos: 0,
                }),
                overhead_basis_points: -1,
                margin_basis_points: 10_000,
                minimum_charge: Some(dollars(-1, 0)),
                disposal_per_bag: Some(Money {
                    currency_code: "USD".into(),
                    units: 0,
                    nanos: 1,
                }),
            }),
            ..v1::Branch::default()
        };
        let refused = house
            .branches()
            .create_branch(v1::CreateBranchRequest {
                branch_id: "North".into(),
                branch: Some(branch),
                request_id: "once".into(),
            })
            .await
            .expect_err("refused");
        let expected = [
            ("branch.display_name", "TOO_LONG"),
            ("branch.price.disposal_per_bag", "OUT_OF_RANGE"),
            ("branch.price.labour_per_hour", "OTHER_CURRENCY"),
            ("branch.price.margin_basis_points", "OUT_OF_RANGE"),
            ("branch.price.minimum_charge", "OUT_OF_RANGE"),
            ("branch.price.overhead_basis_points", "OUT_OF_RANGE"),
            ("branch.time_zone", "MALFORMED"),
            ("branch.travel.kilometres_per_hour", "OUT_OF_RANGE"),
            ("branch.travel.road_factor", "OUT_OF_RANGE"),
            ("branch.travel.seconds_per_stop", "OUT_OF_RANGE"),
            ("branch.unit_system", "OUT_OF_RANGE"),
            ("branch.yard.latitude", "OUT_OF_RANGE"),
            ("branch.yard.longitude", "OUT_OF_RANGE"),
            ("branch_id", "MALFORMED"),
            ("request_id", "MALFORMED"),
        ];
        let expected: Vec<_> = expected
            .into_iter()
            .map(|(field, reason)| (field.to_owned(), reason.to_owned()))
            .collect();
        assert_eq!(faults(&refused), expected);
        assert_eq!(house.counts().await, [0; 4]);
    })
    .await;
}

#[tokio::test]
async fn what_must_be_given_is_asked_for() {
    let house = House::on_sqlite().await;
    let refused = house
        .branches()
        .create_branch(create("", v1::Branch::default()))
        .await
        .expect_err("refused");
    let fields: Vec<_> = faults(&refused)
        .into_iter()
        .filter(|(_, reason)| reason == "REQUIRED")
        .map(|(field, _)| field)
        .collect();
    assert_eq!(
        fields,
        [
            "branch.currency_code",
            "branch.display_name",
            "branch.time_zone",
            "branch.yard",
            "branch_id"
        ]
    );
    let nothing = v1::CreateBranchRequest {
        branch_id: "north".into(),
        ..v1::CreateBranchRequest::default()
    };
    let refused = house
        .branches()
        .create_branch(nothing)
        .await
        .expect_err("refused");
    assert_eq!(
        faults(&refused),
        [("branch".to_owned(), "REQUIRED".to_owned())]
    );
}

#[tokio::test]
async fn the_rules_left_out_are_the_usual_ones() {
    let house = House::on_sqlite().await;
    let bare = v1::Branch {
        travel: None,
        price: None,
        exposure: None,
        unit_system: 0,
        ..north()
    };
    house
        .branches()
        .create_branch(create("north", bare))
        .await
        .expect("created");
    let stored = read(&house, "branches/north").await;
    let travel = stored.travel.expect("a rule");
    assert_eq!(
        (
            travel.road_factor,
            travel.kilometres_per_hour,
            travel.seconds_per_stop
        ),
        (1.3, 40.0, 0)
    );
    assert_eq!(stored.unit_system(), v1::UnitSystem::Si);
    assert_eq!(stored.price, Some(v1::PriceRule::default()));
    // As published: 29 CFR 1910.95 and Directive 2002/44/EC.
    let published = v1::ExposureRule {
        noise_criterion: v1::NoiseCriterion::Regulation.into(),
        noise_action_percent: 50.0,
        noise_limit_percent: 100.0,
        hearing_protection_decibels: 0.0,
        vibration_action: 2.5,
        vibration_limit: 5.0,
        plan_within_limits: false,
    };
    assert_eq!(stored.exposure, Some(published));
}

#[tokio::test]
async fn an_id_is_given_once() {
    on_both(async |house| {
        created(house, "north").await;
        let before = house.counts().await;
        let refused = house
            .branches()
            .create_branch(create("north", north()))
            .await
            .expect_err("refused");
        assert_eq!(
            reason(&refused),
            (Code::AlreadyExists, "ALREADY_EXISTS".into())
        );
        let resource = refused.get_details_resource_info().expect("a ResourceInfo");
        assert_eq!(resource.resource_name, "branches/north");
        assert_eq!(resource.resource_type, "forenoon.v1.Branch");
        assert_eq!(house.counts().await, before);
    })
    .await;
}

#[tokio::test]
async fn what_is_not_there_is_not_found() {
    let house = House::on_sqlite().await;
    let name = "branches/south".to_owned();
    let mut client = house.branches();
    let request = v1::GetBranchRequest { name: name.clone() };
    let missing = [
        client.get_branch(request).await.expect_err("missing"),
        client
            .update_branch(update(
                v1::Branch {
                    name: name.clone(),
                    ..north()
                },
                &[],
            ))
            .await
            .expect_err("missing"),
        client
            .delete_branch(v1::DeleteBranchRequest {
                name,
                ..Default::default()
            })
            .await
            .expect_err("missing"),
    ];
    for status in &missing {
        assert_eq!(reason(status), (Code::NotFound, "NOT_FOUND".into()));
    }
    for name in ["", "north", "branches/North", "branches/north/sites/a"] {
        let request = v1::GetBranchRequest { name: name.into() };
        let refused = client.get_branch(request).await.expect_err("no name");
        assert_eq!(
            faults(&refused).first().map(|(field, _)| field.as_str()),
            Some("name")
        );
    }
}

#[tokio::test]
async fn an_update_changes_the_fields_of_its_mask() {
    on_both(async |house| {
        let before = created(house, "north").await;
        house.set_clock("2027-04-20T12:00:00.5Z");
        let change = v1::Branch {
            name: before.name.clone(),
            display_name: "North".into(),
            // Not named by the mask: left as they are, though they are wrong.
            time_zone: "Nowhere".into(),
            yard: None,
            etag: before.etag.clone(),
            ..v1::Branch::default()
        };
        let after = house
            .branches()
            .update_branch(update(change, &["display_name"]))
            .await
            .expect("changed")
            .into_inner()
            .branch
            .expect("a branch");
        let expected = v1::Branch {
            display_name: "North".into(),
            etag: after.etag.clone(),
            update_time: Some("2027-04-20T12:00:00.5Z".parse().expect("an instant")),
            ..before.clone()
        };
        assert_eq!(after, expected);
        assert_ne!(after.etag, before.etag);
        assert_eq!(read(house, "branches/north").await, expected);
    })
    .await;
}

#[tokio::test]
async fn an_update_without_a_mask_changes_all_that_can_be_changed() {
    let house = House::on_sqlite().await;
    let before = created(&house, "north").await;
    let change = v1::Branch {
        name: before.name.clone(),
        display_name: "Depot".into(),
        time_zone: "America/Denver".into(),
        currency_code: "USD".into(),
        yard: before.yard,
        ..v1::Branch::default()
    };
    let request = v1::UpdateBranchRequest {
        branch: Some(change),
        ..v1::UpdateBranchRequest::default()
    };
    house
        .branches()
        .update_branch(request)
        .await
        .expect("changed");
    let after = read(&house, "branches/north").await;
    assert_eq!(after.time_zone, "America/Denver");
    assert_eq!(after.price, Some(v1::PriceRule::default()));
    assert_eq!(after.create_time, before.create_time);
}

#[tokio::test]
async fn a_wrong_mask_or_value_changes_nothing() {
    let house = House::on_sqlite().await;
    let before = created(&house, "north").await;
    let mut client = house.branches();
    let refused = client
        .update_branch(update(
            before.clone(),
            &["name", "display_name", "yard.latitude"],
        ))
        .await
        .expect_err("refused");
    assert_eq!(
        faults(&refused),
        [
            ("update_mask.paths[0]".to_owned(), "IMMUTABLE".to_owned()),
            (
                "update_mask.paths[2]".to_owned(),
                "UNKNOWN_FIELD".to_owned()
            ),
        ]
    );
    let wrong = v1::Branch {
        display_name: String::new(),
        ..before.clone()
    };
    let refused = client
        .update_branch(update(wrong, &["display_name"]))
        .await
        .expect_err("refused");
    assert_eq!(
        faults(&refused),
        [("branch.display_name".to_owned(), "REQUIRED".to_owned())]
    );
    assert_eq!(read(&house, "branches/north").await, before);
}

#[tokio::test]
async fn two_cannot_overwrite_each_other_unseen() {
    on_both(async |house| {
        let seen = created(house, "north").await;
        let mine = v1::Branch {
            display_name: "Mine".into(),
            ..seen.clone()
        };
        let theirs = v1::Branch {
            display_name: "Theirs".into(),
            ..seen.clone()
        };
        let mut client = house.branches();
        client
            .update_branch(update(theirs, &["display_name"]))
            .await
            .expect("the first");
        let before = house.counts().await;
        let refused = client
            .update_branch(update(mine, &["display_name"]))
            .await
            .expect_err("the second");
        assert_eq!(reason(&refused), (Code::Aborted, "STALE_ETAG".into()));
        let delete = v1::DeleteBranchRequest {
            name: seen.name.clone(),
            etag: seen.etag.clone(),
            request_id: String::new(),
        };
        let refused = client.delete_branch(delete).await.expect_err("stale too");
        assert_eq!(reason(&refused), (Code::Aborted, "STALE_ETAG".into()));
        assert_eq!(house.counts().await, before);
        assert_eq!(read(house, "branches/north").await.display_name, "Theirs");
        let nonsense = v1::Branch {
            etag: "x".into(),
            ..seen
        };
        let refused = client
            .update_branch(update(nonsense, &["display_name"]))
            .await
            .expect_err("no etag");
        assert_eq!(
            faults(&refused),
            [("branch.etag".to_owned(), "MALFORMED".to_owned())]
        );
    })
    .await;
}

#[tokio::test]
async fn one_deleted_and_created_anew_is_another() {
    let house = House::on_sqlite().await;
    let first = created(&house, "north").await;
    let delete = v1::DeleteBranchRequest {
        name: first.name.clone(),
        etag: first.etag.clone(),
        request_id: String::new(),
    };
    house
        .branches()
        .delete_branch(delete.clone())
        .await
        .expect("deleted");
    house.set_clock("2027-04-20T11:45:01Z");
    created(&house, "north").await;
    let refused = house
        .branches()
        .delete_branch(delete)
        .await
        .expect_err("stale");
    assert_eq!(reason(&refused), (Code::Aborted, "STALE_ETAG".into()));
}

#[tokio::test]
async fn a_retry_is_answered_the_same_and_done_once() {
    on_both(async |house| {
        let request = v1::CreateBranchRequest {
            request_id: REQUEST_ID.into(),
            ..create("north", north())
        };
        let mut client = house.branches();
        let first = client
            .create_branch(request.clone())
            .await
            .expect("done")
            .into_inner();
        let change = v1::Branch {
            name: "branches/north".into(),
            display_name: "Later".into(),
            ..v1::Branch::default()
        };
        client
            .update_branch(update(change, &["display_name"]))
            .await
            .expect("changed since");
        house.set_clock("2027-04-20T13:00:00Z");
        let before = house.counts().await;
        let again = client
            .create_branch(request.clone())
            .await
            .expect("answered")
            .into_inner();
        assert_eq!(again, first);
        assert_eq!(house.counts().await, before);

        let other = v1::CreateBranchRequest {
            branch_id: "south".into(),
            ..request.clone()
        };
        let refused = client
            .create_branch(other)
            .await
            .expect_err("another command");
        assert_eq!(
            reason(&refused),
            (Code::FailedPrecondition, "REQUEST_ID_REUSED".into())
        );
        let mut stranger = Request::new(request);
        stranger
            .metadata_mut()
            .insert("forenoon-actor", "stranger".parse().expect("a value"));
        let refused = client
            .create_branch(stranger)
            .await
            .expect_err("another caller");
        assert_eq!(
            reason(&refused),
            (Code::FailedPrecondition, "REQUEST_ID_REUSED".into())
        );
        assert_eq!(house.counts().await, before);
    })
    .await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn retries_at_the_same_time_are_done_once() {
    on_both(async |house| {
        let request = v1::CreateBranchRequest {
            request_id: REQUEST_ID.into(),
            ..create("north", north())
        };
        let mut calls = Vec::new();
        for _ in 0..8 {
            let mut client = house.branches();
            let request = request.clone();
            calls.push(tokio::spawn(
                async move { client.create_branch(request).await },
            ));
        }
        let mut answers = Vec::new();
        for call in calls {
            answers.push(call.await.expect("ends").expect("answered").into_inner());
        }
        answers.dedup();
        assert_eq!(answers.len(), 1);
        assert_eq!(house.counts().await, [1, 1, 1, 1]);
    })
    .await;
}

#[tokio::test]
async fn an_answer_is_forgotten_after_its_time() {
    on_both(async |house| {
        let request = v1::CreateBranchRequest {
            request_id: REQUEST_ID.into(),
            ..create("north", north())
        };
        house.branches().create_branch(request).await.expect("done");
        for (before, forgotten, left) in [
            ("2027-04-20T11:45:00Z", 0, 1),
            ("2027-04-20T11:45:00.000001Z", 1, 0),
        ] {
            let forget = ForgetAnswers {
                before: before.parse().expect("an instant"),
            };
            let count = house.database.write("", &forget).await.expect("written");
            assert_eq!(count, forgotten, "{before}");
            assert_eq!(house.counts().await, [1, left, 1, 1], "{before}");
        }
    })
    .await;
}

#[tokio::test]
async fn pages_are_stable_while_others_write() {
    on_both(async |house| {
        for id in ["delta", "alpha", "echo", "charlie"] {
            created(house, id).await;
        }
        let mut client = house.branches();
        let mut names = Vec::new();
        let mut page_token = String::new();
        loop {
            let request = v1::ListBranchesRequest {
                page_size: 2,
                page_token,
            };
            let page = client
                .list_branches(request)
                .await
                .expect("a page")
                .into_inner();
            names.extend(page.branches.into_iter().map(|branch| branch.name));
            page_token = page.next_page_token;
            if page_token.is_empty() {
                break;
            }
            if names.len() == 2 {
                // One before and one behind where the reader is.
                created(house, "bravo").await;
                created(house, "foxtrot").await;
            }
        }
        let expected = ["alpha", "charlie", "delta", "echo", "foxtrot"];
        assert_eq!(names, expected.map(|id| format!("branches/{id}")));
        let request = v1::ListBranchesRequest {
            page_size: 2,
            page_token: "bm8".into(),
        };
        let refused = client.list_branches(request).await.expect_err("no token");
        assert_eq!(
            faults(&refused),
            [("page_token".to_owned(), "MALFORMED".to_owned())]
        );
    })
    .await;
}

#[tokio::test]
async fn every_change_is_in_the_audit_and_told() {
    on_both(async |house| {
        let mut request = Request::new(v1::CreateBranchRequest {
            request_id: REQUEST_ID.into(),
            ..create("north", north())
        });
        request
            .metadata_mut()
            .insert("forenoon-actor", "dispatcher".parse().expect("a value"));
        let mut client = house.branches();
        client.create_branch(request).await.expect("created");
        let name = "branches/north".to_owned();
        let change = v1::Branch {
            name: name.clone(),
            display_name: "North".into(),
            ..v1::Branch::default()
        };
        for _ in 0..2 {
            // The second changes nothing, and so leaves nothing.
            client
                .update_branch(update(change.clone(), &["display_name"]))
                .await
                .expect("changed");
        }
        client
            .delete_branch(v1::DeleteBranchRequest {
                name: name.clone(),
                ..Default::default()
            })
            .await
            .expect("deleted");

        let audit = house.audit().await;
        let kinds: Vec<_> = audit
            .iter()
            .map(|entry| (entry.seq, entry.kind.as_str()))
            .collect();
        assert_eq!(
            kinds,
            [
                (1, "branch.created"),
                (2, "branch.changed"),
                (3, "branch.deleted")
            ]
        );
        let [first, second, third] = audit.as_slice() else {
            unreachable!("three entries were counted");
        };
        assert_eq!(first.actor, "dispatcher");
        assert_eq!(first.method, "forenoon.v1.BranchService/CreateBranch");
        assert_eq!(
            first.request_id.map(|id| id.to_string()),
            Some(REQUEST_ID.into())
        );
        assert_eq!((&first.before, &second.before), (&None, &first.after));
        assert_eq!((&third.before, &third.after), (&second.after, &None));
        let after = second.after.as_ref().expect("a row");
        assert_eq!(after["display_name"], "North");
        assert_eq!(second.actor, "unnamed");

        let events = house.events().await;
        let told: Vec<_> = events
            .iter()
            .map(|event| (event.seq, event.kind.as_str(), event.subject.as_str()))
            .collect();
        assert_eq!(
            told,
            [
                (1, "branch.created", "branches/north"),
                (2, "branch.changed", "branches/north"),
                (3, "branch.deleted", "branches/north"),
            ]
        );
    })
    .await;
}

#[tokio::test]
async fn a_branch_that_owns_something_stays_as_it_is() {
    on_both(async |house| {
        let before = created(house, "north").await;
        house
            .database
            .write("north", &Furnish)
            .await
            .expect("furnished");
        let delete = v1::DeleteBranchRequest {
            name: before.name.clone(),
            ..Default::default()
        };
        let refused = house
            .branches()
            .delete_branch(delete)
            .await
            .expect_err("refused");
        assert_eq!(
            reason(&refused),
            (Code::FailedPrecondition, "STILL_OWNS".into())
        );
        let obstacles = refused
            .get_details_precondition_failure()
            .expect("a PreconditionFailure")
            .violations;
        assert_eq!(obstacles.len(), 2, "a plan and a site: {obstacles:?}");

        let moved = v1::Branch {
            time_zone: "America/Denver".into(),
            ..before.clone()
        };
        let refused = house
            .branches()
            .update_branch(update(moved, &["time_zone"]))
            .await
            .expect_err("refused");
        assert_eq!(
            reason(&refused),
            (Code::FailedPrecondition, "TIME_ZONE_IN_USE".into())
        );
        assert_eq!(read(house, "branches/north").await, before);
    })
    .await;
}

/// Puts a site and a plan into branch `north`.
struct Furnish;

impl Write for Furnish {
    type Output = ();
    type Error = StoreError;

    async fn run(&self, transaction: &DatabaseTransaction) -> Result<(), StoreError> {
        let now = "2027-04-20T11:45:00Z".parse().expect("an instant");
        let day = "2027-04-21".parse().expect("a date");
        let place = site::Model {
            branch_id: "north".into(),
            id: "lawn".into(),
            display_name: "Lawn".into(),
            customer: String::new(),
            contact: None,
            address: String::new(),
            latitude: 41.6,
            longitude: -93.7,
            areas: Areas::default(),
            hazards: Hazards::default(),
            clippings: Clippings::MayLie,
            clippings_note: String::new(),
            quiet_until_second_of_day: None,
            sensitive: false,
            access_note: String::new(),
            revision: 1,
            create_time: now,
            update_time: now,
        };
        place.into_active_model().insert(transaction).await?;
        let draft = plan::Model {
            branch_id: "north".into(),
            id: "2027-04-21-1".into(),
            day,
            day_revision: 1,
            state: PlanState::Draft,
            base_plan_id: None,
            totals: PlanTotals::default(),
            seed: 1,
            iterations: 0,
            cause: String::new(),
            changes: PlanChanges::default(),
            sites_to_phone: Words::default(),
            heat: None,
            proposal: None,
            created_by: "dispatcher".into(),
            publish_time: None,
            revision: 1,
            create_time: now,
            update_time: now,
        };
        draft.into_active_model().insert(transaction).await?;
        Ok(())
    }
}
