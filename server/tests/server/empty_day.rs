//! Goal: a day without work is planned as what it is: nothing to do.
//! Method: a yard whose jobs are all for another year.

use chrono::NaiveDate;

use crate::actors::Api;
use crate::house::on_both;
use crate::mowing_yard::furnish;

/// Guards a day on which no job may be done: the plan has no stops, nothing is left out, and it can be published.
#[tokio::test]
async fn a_day_without_jobs_has_a_plan_without_stops() {
    on_both(async |house| {
        furnish(&house.database, &[]).await;
        let mut api = Api::of(house);
        let day = NaiveDate::from_ymd_opt(2028, 4, 18).expect("a date");
        let plan = api.plan(day, 50).await.expect("a plan");
        assert!(plan.crew_days.iter().all(|crew| crew.stops.is_empty()));
        assert!(plan.unplanned.is_empty());
        api.publish(plan.name).await.expect("published");
    })
    .await;
}
