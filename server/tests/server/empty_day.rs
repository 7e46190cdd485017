//! Goal: a day without work is told as what it is, and is no fault of the server.
//! Method: a yard whose jobs are all for another year.

use chrono::NaiveDate;
use tonic::Code;

use crate::actors::Api;
use crate::house::on_both;
use crate::mowing_yard::furnish;

/// Guards a day on which no job may be done: there is nothing to plan, and nothing is stored.
#[tokio::test]
async fn a_day_without_jobs_is_refused_in_words() {
    on_both(async |house| {
        furnish(&house.database, &[]).await;
        let before = house.counts().await;
        let mut api = Api::of(house);
        let day = NaiveDate::from_ymd_opt(2028, 4, 18).expect("a date");
        let refused = api.plan(day, 50).await.expect_err("nothing to plan");
        assert_eq!(refused.code(), Code::FailedPrecondition, "{refused:?}");
        assert!(refused.message().contains("no job"), "{refused:?}");
        assert_eq!(house.counts().await, before);
    })
    .await;
}
