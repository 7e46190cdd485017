//! The weather of a day: sound forecasts are planned by, others are refused; and people's exposure is told with the day.

use forenoon_proto::v1::temperature::Value;
use forenoon_proto::v1::{
    GetPlanRequest, HeatBand, HeatForecast, Plan, PlanDayRequest, Sun, Temperature,
};
use forenoon_tests::actors::{Api, request_id};
use forenoon_tests::database::Database;
use forenoon_tests::on_both;
use forenoon_tests::server::Server;
use forenoon_tests::small_branch::{BRANCH, day};

use super::{Case, check, small_branch};

on_both!(weather_is_planned_by_or_refused);

fn sound() -> PlanDayRequest {
    PlanDayRequest {
        confidence_percent: 0,
        meetings: false,
        parent: BRANCH.to_owned(),
        day: Some(day()),
        seed: 5,
        iterations: 500,
        time_limit: None,
        request_id: request_id(),
        travel_matrix: None,
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

const CASES: [Case<PlanDayRequest>; 3] = [
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

async fn planned(api: &Api, mut request: PlanDayRequest) -> Plan {
    request.request_id = request_id();
    let answer = api.plans().plan_day(request).await;
    let answer = answer.expect("the day is planned").into_inner();
    answer.plan.expect("a plan")
}

async fn weather_is_planned_by_or_refused(database: Database) {
    let (_server, api): (Server, _) = small_branch(&database).await;
    check(
        &api,
        &sound(),
        &CASES,
        async |mut request: PlanDayRequest| {
            request.request_id = request_id();
            api.plans().plan_day(request).await
        },
    )
    .await;
    let cool = planned(&api, sound()).await;
    assert!(cool.heat.is_none());
    told_what_people_are_exposed_to(&cool);
    // 93 + 7 under a partly cloudy sky: the row of 100 F.
    let warm = PlanDayRequest {
        heat: Some(weather(93.0, 30.0)),
        ..sound()
    };
    let warm = planned(&api, warm).await;
    let heat = warm.heat.as_ref().expect("advice");
    let minutes = (
        heat.light_work_minutes,
        heat.moderate_work_minutes,
        heat.heavy_work_minutes,
    );
    assert_eq!(minutes, (60, 45, 30));
    assert_eq!(heat.band(), HeatBand::Moderate);
    assert!(heat.text.contains("Heat index") && heat.caution.contains("certify nothing"));
    assert!(longer(&cool, &warm) > 0, "no task takes longer");
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

/// Tasks that the same crew does with the same units and that take longer; none takes less long.
fn longer(cool: &Plan, warm: &Plan) -> usize {
    let tasks = |plan: &Plan| -> Vec<(String, String, String, Vec<String>, i64)> {
        let days = plan.crew_days.iter();
        days.flat_map(|day| day.stops.iter().map(move |stop| (day.crew.clone(), stop)))
            .flat_map(|(crew, stop)| {
                stop.tasks.iter().map(move |task| {
                    (
                        crew.clone(),
                        stop.job.clone(),
                        task.task_id.clone(),
                        task.units.clone(),
                        task.duration.as_ref().map_or(0, |length| length.seconds),
                    )
                })
            })
            .collect()
    };
    let before = tasks(cool);
    let mut longer = 0;
    for (crew, job, task, units, seconds) in tasks(warm) {
        let same = before
            .iter()
            .find(|(c, j, t, u, _)| (c, j, t, u) == (&crew, &job, &task, &units));
        if let Some((.., cool)) = same {
            assert!(
                seconds >= *cool,
                "{job} {task}: {seconds} s in the heat, {cool} s without"
            );
            longer += usize::from(seconds > *cool);
        }
    }
    longer
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
        let shares = told.parts.iter().map(|part| part.limit_share_percent);
        assert!(shares.is_sorted_by(|a, b| a >= b), "{told:?}");
    }
}
