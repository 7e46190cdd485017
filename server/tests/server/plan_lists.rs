//! Goal: a list of plans says of each what the plan itself says of the whole day.
//! Method: a hot day is planned, and the list is held beside the plan.

use forenoon_proto::v1;

use crate::actors::{Api, asking, date};
use crate::house::on_both;
use crate::mowing_yard::{BRANCH, first_day, furnish};

#[tokio::test]
async fn a_list_tells_the_weather_that_plans_were_made_for() {
    on_both(async |house| {
        furnish(&house.database, &[first_day()]).await;
        let mut api = Api::of(house);
        let request = v1::PlanDayRequest {
            parent: BRANCH.into(),
            day: Some(date(first_day())),
            seed: 1,
            iterations: 50,
            heat: Some(v1::HeatForecast {
                temperature: Some(v1::Temperature {
                    value: Some(v1::temperature::Value::Celsius(33.0)),
                }),
                relative_humidity_percent: 50.0,
                sun: v1::Sun::Full.into(),
            }),
            ..Default::default()
        };
        let hot = api.plans.plan_day(asking(request)).await.expect("a plan");
        let hot = hot.into_inner().plan.expect("a plan");
        let mild = api.plan(first_day(), 50).await.expect("a plan");
        assert!(hot.heat.is_some() && mild.heat.is_none());
        let request = v1::ListPlansRequest {
            parent: BRANCH.into(),
            ..Default::default()
        };
        let listed = api.plans.list_plans(asking(request)).await.expect("a list");
        let bare = |plan: v1::Plan| v1::Plan {
            crew_days: vec![],
            unplanned_jobs: vec![],
            ..plan
        };
        assert_eq!(listed.into_inner().plans, [mild, hot].map(bare));
    })
    .await;
}
