//! Goal: what a unit costs, and what people are exposed to, are told by the branch's settings and the units' records.
//! Method: a branch with a priced and declared mower; figures are reckoned by hand from the published formulas.

use forenoon_proto::v1;
use forenoon_proto::v1::bench_service_client::BenchServiceClient;
use prost_types::FieldMask;
use tonic::{Code, Status};

use crate::booking::{bare, day, job_client, open_with_site};
use crate::house::House;
use crate::yard::{NORTH, add_unit, blower, change_unit, dollars, mower, unit_name};

async fn cost(
    house: &House,
    unit: &str,
    hours_a_year: f64,
    successor: Option<i64>,
) -> Result<v1::GetUnitCostResponse, Status> {
    let request = v1::GetUnitCostRequest {
        unit: unit_name(unit),
        hours_a_year,
        successor_price: successor.and_then(dollars),
    };
    let answer = BenchServiceClient::new(house.channel())
        .get_unit_cost(request)
        .await?;
    Ok(answer.into_inner())
}

/// 5,400.00, 312.5 h on record: repair 0.44 (312.5 / 1000)^2 of it, 232.03; at 400 h a year 0.78125 years old, so worth
/// (0.7557 - 0.0672 sqrt(0.78125))^2 of it, 2,619.
#[tokio::test]
async fn a_units_cost_follows_its_hours_and_its_price() {
    let house = House::on_sqlite().await;
    open_with_site(&house).await;
    add_unit(&house, "m-36", mower("M36"))
        .await
        .expect("created");
    add_unit(&house, "b-1", blower("B1"))
        .await
        .expect("created");
    let young = cost(&house, "m-36", 0.0, None).await.expect("a cost");
    assert!((young.effective_hours - 312.5).abs() < 1e-9);
    assert!((young.hours_a_year - 400.0).abs() < 1e-9);
    assert!((young.service_left_hours - (50.0 - 312.5)).abs() < 1e-9);
    let repair = young.repair.clone().expect("money");
    assert_eq!((repair.units, repair.nanos), (232, 30_000_000));
    let root: f64 = 0.7557 - 0.0672 * 0.781_25_f64.sqrt();
    let value = young.value.as_ref().expect("money").units as f64;
    assert!((value - 5_400.0 * root * root).abs() <= 1.0, "{value}");
    assert!(!young.replace, "{young:?}");
    assert!(young.source.contains("Iowa State") && young.source.contains("from memory"));
    // At 20 hours a year it is nearly sixteen years old: worth less, and a cheap successor is cheaper.
    let old = cost(&house, "m-36", 20.0, Some(50)).await.expect("a cost");
    assert!((old.age_years - 15.625).abs() < 1e-9);
    assert!(old.value.expect("money").units < young.value.as_ref().expect("money").units);
    assert!(old.replace);
    let unpriced = cost(&house, "b-1", 0.0, None).await.expect_err("no price");
    assert_eq!(unpriced.code(), Code::InvalidArgument);
    let missing = cost(&house, "m-99", 0.0, None).await.expect_err("none");
    assert_eq!(missing.code(), Code::NotFound);
    for wrong in [0.5, -1.0, 9_000.0, f64::NAN] {
        let refused = cost(&house, "m-36", wrong, None).await;
        assert_eq!(
            refused.expect_err("out of range").code(),
            Code::InvalidArgument
        );
    }
    let nothing = cost(&house, "m-36", 0.0, Some(0)).await;
    assert_eq!(nothing.expect_err("free").code(), Code::InvalidArgument);
}

async fn set_rule(house: &House, rule: v1::ExposureRule) -> v1::Branch {
    let request = v1::UpdateBranchRequest {
        branch: Some(v1::Branch {
            name: NORTH.into(),
            exposure: Some(rule),
            ..v1::Branch::default()
        }),
        update_mask: Some(FieldMask {
            paths: vec!["exposure".into()],
        }),
        request_id: String::new(),
    };
    let answer = house.branches().update_branch(request).await.expect("set");
    answer.into_inner().branch.expect("a branch")
}

async fn mowing(house: &House) -> v1::Exposure {
    let request = v1::EstimateJobRequest {
        parent: NORTH.into(),
        job: Some(bare(day(4, 20), day(4, 20))),
        crew: String::new(),
        units: vec![unit_name("m-36")],
    };
    let answer = job_client(house).estimate_job(request).await;
    let estimate = answer.expect("an estimate").into_inner().estimate;
    let estimate = estimate.expect("an estimate");
    let lines: f64 = estimate.tasks.iter().map(|task| task.median_minutes).sum();
    let planned = estimate.planned_minutes;
    assert!((planned - lines - estimate.waiting_minutes).abs() < 1e-6);
    assert!(planned <= estimate.median_minutes + 1e-9);
    estimate.exposure.expect("exposure")
}

/// A mower declared at 100 dBA and 5 m/s2: by the regulation 2 h fill the day, by the recommendation 15 min; protection of
/// 15 dB makes 85 dBA of it, at which the recommendation allows 8 h.
#[tokio::test]
async fn exposure_goes_by_the_branchs_rule_and_the_units_record() {
    let house = House::on_sqlite().await;
    open_with_site(&house).await;
    let declared = v1::Unit {
        noise_dba: 100.0,
        vibration: 5.0,
        ..mower("M36")
    };
    add_unit(&house, "m-36", declared).await.expect("created");
    let told = mowing(&house).await;
    let part = |told: &v1::Exposure| {
        let unit = unit_name("m-36");
        let part = told.parts.iter().find(|part| part.unit == unit);
        part.expect("the mower").clone()
    };
    let mower_part = part(&told);
    let minutes = mower_part.run_time.expect("a time").seconds as f64 / 60.0 / 2.0;
    assert!((mower_part.noise_dba - 100.0).abs() < 1e-9);
    assert!((mower_part.limit_share_percent - minutes / 120.0 * 100.0).abs() < 0.1);
    assert!((told.noise_dose_percent - told.regulation_dose_percent).abs() < 1e-9);
    assert!(told.text.contains("taking turns") && told.caution.contains("certify nothing"));
    let branch = set_rule(
        &house,
        v1::ExposureRule {
            noise_criterion: v1::NoiseCriterion::Recommendation.into(),
            hearing_protection_decibels: 15.0,
            ..v1::ExposureRule::default()
        },
    )
    .await;
    let rule = branch.exposure.expect("a rule");
    assert!((rule.noise_limit_percent - 100.0).abs() < 1e-9);
    assert!((rule.vibration_limit - 5.0).abs() < 1e-9);
    let protected = mowing(&house).await;
    assert!((protected.noise_dose_percent - protected.recommendation_dose_percent).abs() < 1e-9);
    assert!(protected.noise_dose_percent < told.recommendation_dose_percent / 20.0);
    // Vibration at 5 m/s2 now takes the larger share: its day is 8 h as well, and noise is at 85 dBA for 8 h.
    let share = part(&protected).limit_share_percent;
    assert!((share - minutes / 480.0 * 100.0).abs() < 0.1, "{share}");
    // What is not on record is what is usual for its kind.
    let change = v1::Unit {
        name: unit_name("m-36"),
        ..v1::Unit::default()
    };
    change_unit(&house, change, &["noise_dba", "vibration"])
        .await
        .expect("changed");
    assert!((part(&mowing(&house).await).noise_dba - 88.0).abs() < 1e-9);
}
