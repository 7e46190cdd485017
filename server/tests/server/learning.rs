//! Goal: what is kept of the past is never out of date.
//! Method: after each change the estimate of a server that keeps lessons is compared with that of one that has just
//! started on the same database and learns all anew.

use forenoon_proto::v1;
use forenoon_proto::v1::crew_service_client::CrewServiceClient;
use forenoon_proto::v1::job_service_client::JobServiceClient;
use forenoon_proto::v1::site_service_client::SiteServiceClient;
use forenoon_proto::v1::unit_service_client::UnitServiceClient;
use prost_types::{Duration, FieldMask};

use crate::actors::{Api, asking, date};
use crate::house::{House, on_both};
use crate::mowing_yard::{BRANCH, first_day, furnish, name};

fn only(path: &str) -> FieldMask {
    FieldMask {
        paths: vec![path.into()],
    }
}

/// The estimate of one kind of work everywhere, by each crew.
async fn estimates(house: &House) -> Vec<v1::Estimate> {
    let mut jobs = JobServiceClient::new(house.channel());
    let mut all = Vec::new();
    for crew in ["ash", "birch", "cedar"] {
        let request = v1::EstimateJobRequest {
            parent: BRANCH.into(),
            job: Some(v1::Job {
                site: name("sites", "lawn-0"),
                ..Default::default()
            }),
            crew: name("crews", crew),
            units: vec![name("units", "m-7"), name("units", "b-4")],
        };
        let answer = jobs.estimate_job(request).await.expect("an estimate");
        all.push(answer.into_inner().estimate.expect("an estimate"));
    }
    all
}

struct Compared<'h> {
    house: &'h House,
    now: &'h str,
    last: Vec<v1::Estimate>,
}

impl<'h> Compared<'h> {
    fn set_clock(&mut self, now: &'h str) {
        self.now = now;
        self.house.set_clock(now);
    }

    /// Whether the estimates are other than before; and they are those of a server that learns anew.
    async fn moved(&mut self, after: &str) -> bool {
        let kept = estimates(self.house).await;
        let beside = self.house.beside().await;
        beside.set_clock(self.now);
        let anew = estimates(&beside).await;
        assert_eq!(kept, anew, "after {after}");
        let moved = kept != self.last;
        self.last = kept;
        moved
    }
}

/// Reports a stop: twice as long as planned, with the units planned.
async fn finish(api: &mut Api, stop: &v1::Stop, crew: &str) {
    finish_in(api, stop, crew, 2).await;
}

/// Reports a stop: so many times as long as planned, with the units planned.
async fn finish_in(api: &mut Api, stop: &v1::Stop, crew: &str, times: i64) {
    let actuals = stop.tasks.iter().map(|task| v1::TaskActual {
        task_id: task.task_id.clone(),
        duration: Some(Duration {
            seconds: times * task.duration.as_ref().expect("a time").seconds,
            nanos: 0,
        }),
        units: task.units.clone(),
    });
    let request = v1::FinishJobRequest {
        job: stop.job.clone(),
        crew: crew.into(),
        task_actuals: actuals.collect(),
        ..Default::default()
    };
    api.visits
        .finish_job(asking(request))
        .await
        .expect("finished");
}

#[tokio::test]
async fn what_is_kept_is_what_would_be_learned_anew() {
    on_both(async |house| {
        furnish(&house.database, &[]).await;
        let mut api = Api::of(house);
        let mut compared = Compared {
            house,
            now: "",
            last: estimates(house).await,
        };
        let plan = api.plan(first_day(), 300).await.expect("a plan");
        api.publish(plan.name.clone()).await.expect("published");
        let of_first = plan.crew_days.iter().find(|crew| crew.stops.len() > 2);
        let of_first = of_first.expect("a crew with stops");
        compared.set_clock("2027-04-20T15:10:00Z");
        for stop in &of_first.stops[..2] {
            api.start(&stop.job, &of_first.crew).await.expect("started");
            finish(&mut api, stop, &of_first.crew).await;
        }
        assert!(!compared.moved("work of the same day").await);
        api.start(&of_first.stops[2].job, &of_first.crew)
            .await
            .expect("started");

        compared.set_clock("2027-04-21T11:00:00Z");
        assert!(compared.moved("a night").await);
        let tomorrow = first_day().succ_opt().expect("a date");
        api.plan(tomorrow, 300).await.expect("a plan");
        assert!(!compared.moved("a plan").await);
        finish(&mut api, &of_first.stops[2], &of_first.crew).await;
        assert!(compared.moved("a late report of yesterday's work").await);

        let used = &of_first.stops[0].tasks[0].units[0];
        let request = v1::UpdateUnitRequest {
            unit: Some(v1::Unit {
                name: used.clone(),
                cutting_width: Some(v1::Length {
                    value: Some(v1::length::Value::Millimetres(1_500.0)),
                }),
                ..Default::default()
            }),
            update_mask: Some(only("cutting_width")),
            ..Default::default()
        };
        let mut units = UnitServiceClient::new(house.channel());
        units.update_unit(request).await.expect("changed");
        assert!(compared.moved("a unit's change").await);

        let request = v1::UpdateWorkerRequest {
            worker: Some(v1::Worker {
                name: name("workers", "moss"),
                crew: of_first.crew.clone(),
                ..Default::default()
            }),
            update_mask: Some(only("crew")),
            ..Default::default()
        };
        let mut crews = CrewServiceClient::new(house.channel());
        crews.update_worker(request).await.expect("changed");
        assert!(compared.moved("a worker's move").await);

        let mut sites = SiteServiceClient::new(house.channel());
        let request = v1::GetSiteRequest {
            name: of_first.stops[1].site.clone(),
        };
        let site = sites.get_site(request).await.expect("the site");
        let mut site = site.into_inner().site.expect("the site");
        site.areas[0].surface = Some(v1::Surface {
            value: Some(v1::surface::Value::SquareMetres(5_000.0)),
        });
        let request = v1::UpdateSiteRequest {
            site: Some(site),
            update_mask: Some(only("areas")),
            ..Default::default()
        };
        sites.update_site(request).await.expect("changed");
        assert!(compared.moved("a site's change").await);

        api.tag("m-6").await.expect("tagged");
        assert!(!compared.moved("a tag").await);

        let request = v1::UpdateUnitRequest {
            unit: Some(v1::Unit {
                name: used.clone(),
                retired: true,
                ..Default::default()
            }),
            update_mask: Some(only("retired")),
            ..Default::default()
        };
        units.update_unit(request).await.expect("retired");
        // What was mown with it was mown as wide as it is.
        assert!(!compared.moved("a unit's retirement").await);
    })
    .await;
}

/// Guards the loop from sheets to sheets: two people who share a mower through a hot day, with the rests that their plan has
/// for them, and who report what it said, are expected to take as long as before.
#[tokio::test]
async fn a_hot_day_that_went_by_its_plan_teaches_nothing() {
    on_both(async |house| {
        furnish(&house.database, &[]).await;
        let mut api = Api::of(house);
        let before = estimates(house).await;
        let request = v1::PlanDayRequest {
            parent: BRANCH.into(),
            day: Some(date(first_day())),
            seed: 1,
            iterations: 300,
            heat: Some(v1::HeatForecast {
                temperature: Some(v1::Temperature {
                    value: Some(v1::temperature::Value::Fahrenheit(96.0)),
                }),
                relative_humidity_percent: 30.0,
                sun: v1::Sun::PartlyCloudy.into(),
            }),
            ..Default::default()
        };
        let answer = api.plans.plan_day(asking(request)).await;
        let plan = answer.expect("planned").into_inner().plan.expect("a plan");
        api.publish(plan.name.clone()).await.expect("published");
        house.set_clock("2027-04-20T23:10:00Z");
        let mut done = 0;
        for crew in &plan.crew_days {
            for stop in &crew.stops {
                api.start(&stop.job, &crew.crew).await.expect("started");
                finish_in(&mut api, stop, &crew.crew, 1).await;
                done += 1;
            }
        }
        assert!(done > 3, "{done} stops");
        house.set_clock("2027-04-21T11:00:00Z");
        for (before, after) in before.iter().zip(estimates(house).await) {
            let ratio = after.planned_minutes / before.planned_minutes;
            assert!((ratio - 1.0).abs() < 0.005, "{ratio}");
            // It was learned from, all the same.
            assert!(after.tasks.iter().any(|task| !task.learned.is_empty()));
        }
    })
    .await;
}
