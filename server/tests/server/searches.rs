//! How searches take turns, and how many threads they have.

use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use chrono::Days;
use forenoon_proto::v1;
use forenoon_server::config::Limits;
use forenoon_server::work::plan::SearchLimits;

use crate::actors::{Api, asking, date};
use crate::house::House;
use crate::mowing_yard::{BRANCH, first_day, furnish};

fn limits(search: SearchLimits) -> Limits {
    Limits {
        search,
        ..Limits::default()
    }
}

/// Guards who stands beside a broken machine against who plans next week: with one search at a time, proposals come while a
/// plan is still being searched for.
#[tokio::test]
async fn proposals_do_not_wait_for_plans() {
    let house = House::with_limits(limits(SearchLimits {
        searches_max: 1,
        ..SearchLimits::default()
    }))
    .await;
    let tomorrow = first_day() + Days::new(1);
    furnish(&house.database, &[tomorrow]).await;
    let mut api = Api::of(&house);
    let plan = api.plan(first_day(), 100).await.expect("a plan");
    api.publish(plan.name).await.expect("published");
    house.set_clock(&format!("{}T13:10:00Z", first_day()));
    let mut other = api.clone();
    let ended = AtomicBool::new(false);
    let long = async {
        let request = v1::PlanDayRequest {
            parent: BRANCH.into(),
            day: Some(date(tomorrow)),
            iterations: 100_000_000,
            time_limit: Some(prost_types::Duration {
                seconds: 8,
                nanos: 0,
            }),
            ..Default::default()
        };
        let planned = other.plans.plan_day(asking(request)).await;
        ended.store(true, Ordering::Relaxed);
        planned
    };
    let proposals = async {
        // Once the search for the plan has its turn.
        tokio::time::sleep(Duration::from_millis(500)).await;
        let proposals = api.propose(first_day(), 50).await;
        (proposals, ended.load(Ordering::Relaxed))
    };
    let (planned, (proposals, too_late)) = tokio::join!(long, proposals);
    planned.expect("a plan");
    assert!(!proposals.expect("proposals").is_empty());
    assert!(!too_late, "they came after the plan");
}

/// Guards the setting: with two threads the same seed and iterations give the same plan again, and none that costs more.
#[tokio::test]
async fn a_search_on_two_threads_is_the_same_again() {
    let mut plans = Vec::new();
    for threads in [1, 2, 2] {
        let house = House::with_limits(limits(SearchLimits {
            threads,
            ..SearchLimits::default()
        }))
        .await;
        furnish(&house.database, &[]).await;
        let mut api = Api::of(&house);
        plans.push(api.plan(first_day(), 100).await.expect("a plan"));
    }
    let [one, two, again] = <[_; 3]>::try_from(plans).expect("three");
    assert_eq!(two.crew_days, again.crew_days);
    let cost = |plan: &v1::Plan| plan.totals.as_ref().expect("totals").cost_points;
    assert!(
        cost(&two) <= cost(&one),
        "{} and {}",
        cost(&two),
        cost(&one)
    );
}
