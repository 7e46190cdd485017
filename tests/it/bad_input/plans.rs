//! Driving times that a caller supplies: sound ones are driven by, others are refused.

use forenoon_proto::v1::temperature::Value;
use forenoon_proto::v1::{
    GetPlanRequest, HeatBand, HeatForecast, Plan, PlanDayRequest, Sun, Temperature, TravelMatrix,
};
use forenoon_tests::actors::{Api, request_id};
use forenoon_tests::database::Database;
use forenoon_tests::on_both;
use forenoon_tests::server::Server;
use forenoon_tests::small_branch::{BRANCH, day, sites};

use super::{Case, check, small_branch};

on_both!(supplied_drives_are_driven_by_or_refused);

/// A drive that no travel rule of a town would give.
const DRIVE_SECONDS: i32 = 777;

/// The yard and every site of the small branch, all as far from each other.
fn sound(names: Vec<String>) -> PlanDayRequest {
    let places: Vec<String> = std::iter::once(BRANCH.to_owned()).chain(names).collect();
    let rows = places.len();
    let seconds = (0..rows * rows)
        .map(|at| {
            if at / rows == at % rows {
                0
            } else {
                DRIVE_SECONDS
            }
        })
        .collect();
    PlanDayRequest {
        parent: BRANCH.to_owned(),
        day: Some(day()),
        seed: 5,
        iterations: 500,
        time_limit: None,
        request_id: request_id(),
        travel_matrix: Some(TravelMatrix { places, seconds }),
        heat: None,
    }
}

fn weather(fahrenheit: f64, humidity: f64) -> HeatForecast {
    HeatForecast {
        temperature: Some(Temperature {
            value: Some(Value::Fahrenheit(fahrenheit)),
        }),
        relative_humidity_percent: humidity,
        sun: Sun::PartlyCloudy.into(),
    }
}

fn matrix(request: &mut PlanDayRequest) -> &mut TravelMatrix {
    request.travel_matrix.get_or_insert_default()
}

async fn supplied_drives_are_driven_by_or_refused(database: Database) {
    let (_server, api): (Server, _) = small_branch(&database).await;
    let listed = api
        .sites()
        .list_sites(forenoon_proto::v1::ListSitesRequest {
            parent: BRANCH.to_owned(),
            page_size: 0,
            page_token: String::new(),
        })
        .await
        .expect("the sites are listed")
        .into_inner()
        .sites;
    assert_eq!(listed.len(), sites().len());
    let request = sound(listed.into_iter().map(|site| site.name).collect());
    let cases: [Case<PlanDayRequest>; 9] = [
        Case::new(
            "too few entries",
            &[("travel_matrix.seconds", "MALFORMED")],
            |request| {
                matrix(request).seconds.pop();
            },
        ),
        Case::new(
            "a negative drive",
            &[("travel_matrix.seconds[1]", "OUT_OF_RANGE")],
            |request| matrix(request).seconds[1] = -2,
        ),
        Case::new(
            "a drive of more than a day",
            &[("travel_matrix.seconds[1]", "OUT_OF_RANGE")],
            |request| matrix(request).seconds[1] = 86_401,
        ),
        Case::new(
            "a way from a place to itself",
            &[("travel_matrix.seconds[0]", "OUT_OF_RANGE")],
            |request| matrix(request).seconds[0] = 1,
        ),
        Case::new(
            "a place named twice",
            &[("travel_matrix.places[1]", "DUPLICATE")],
            |request| matrix(request).places[1] = BRANCH.to_owned(),
        ),
        Case::new(
            "a place that is none",
            &[("travel_matrix.places[1]", "MALFORMED")],
            |request| matrix(request).places[1] = format!("{BRANCH}/units/x"),
        ),
        Case::new(
            "weather without a temperature",
            &[("heat.temperature", "REQUIRED")],
            |request| request.heat = Some(HeatForecast::default()),
        ),
        Case::new(
            "air more than moist, and hotter than any day",
            &[
                ("heat.temperature", "OUT_OF_RANGE"),
                ("heat.relative_humidity_percent", "OUT_OF_RANGE"),
            ],
            |request| request.heat = Some(weather(150.0, 101.0)),
        ),
        Case::new(
            "a sun that is none",
            &[("heat.sun", "OUT_OF_RANGE")],
            |request| {
                let heat = request.heat.insert(weather(90.0, 40.0));
                heat.sun = 9;
            },
        ),
    ];
    check(
        &api,
        &request,
        &cases,
        async |mut request: PlanDayRequest| {
            request.request_id = request_id();
            api.plans().plan_day(request).await
        },
    )
    .await;
    let plan = api
        .plans()
        .plan_day(request)
        .await
        .expect("the day is planned")
        .into_inner()
        .plan
        .expect("a plan");
    let drives: Vec<i64> = plan
        .crew_days
        .iter()
        .flat_map(|day| &day.stops)
        .filter_map(|stop| stop.drive.as_ref())
        .map(|drive| drive.seconds)
        .collect();
    assert!(!drives.is_empty());
    assert!(
        drives
            .iter()
            .all(|drive| *drive == 0 || *drive == i64::from(DRIVE_SECONDS)),
        "{drives:?}"
    );
    assert!(drives.contains(&i64::from(DRIVE_SECONDS)));
    assert!(plan.heat.is_none());
    told_what_people_are_exposed_to(&plan);
    heat_is_planned_by_and_kept(&api, &plan).await;
}

/// Each crew that goes out is told its noise and vibration, with the caution.
fn told_what_people_are_exposed_to(plan: &Plan) {
    for day in plan.crew_days.iter().filter(|day| !day.stops.is_empty()) {
        let told = day.exposure.as_ref().expect("exposure");
        assert!(
            told.noise_dose_percent > 0.0 && told.vibration_points > 0.0,
            "{told:?}"
        );
        assert!(told.recommendation_dose_percent > told.regulation_dose_percent);
        assert!(told.text.contains("noise") && told.caution.contains("certify nothing"));
        let shares: Vec<f64> = told
            .parts
            .iter()
            .map(|part| part.limit_share_percent)
            .collect();
        assert!(
            shares.windows(2).all(|pair| pair[0] >= pair[1]),
            "{shares:?}"
        );
    }
}

/// In the heat the same work takes longer, and the plan says why; the stored plan says the same.
async fn heat_is_planned_by_and_kept(api: &Api, cool: &Plan) {
    let mut request = sound(Vec::new());
    request.travel_matrix = None;
    request.heat = Some(weather(93.0, 30.0));
    let warm = api
        .plans()
        .plan_day(request)
        .await
        .expect("the day is planned")
        .into_inner()
        .plan
        .expect("a plan");
    let heat = warm.heat.as_ref().expect("advice");
    // 93 + 7 under a partly cloudy sky: the row of 100 F.
    let minutes = (
        heat.light_work_minutes,
        heat.moderate_work_minutes,
        heat.heavy_work_minutes,
    );
    assert_eq!(minutes, (60, 45, 30));
    assert_eq!(heat.band(), HeatBand::Moderate);
    assert!(heat.text.contains("Heat index") && heat.caution.contains("certify nothing"));
    let work = |plan: &Plan| {
        let totals = plan.totals.as_ref().expect("totals");
        totals.work.as_ref().expect("work").seconds / i64::from(totals.planned_jobs.max(1))
    };
    assert!(work(&warm) > work(cool), "{} {}", work(&warm), work(cool));
    let stored = api
        .plans()
        .get_plan(GetPlanRequest {
            name: warm.name.clone(),
        })
        .await
        .expect("the plan is there")
        .into_inner()
        .plan;
    assert_eq!(stored.as_ref(), Some(&warm));
}
