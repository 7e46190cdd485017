//! Goal: what was told of one day is not taken for another's, and past midnight the day before counts while it is at work.
//! Method: crews set out on one day and never begin; the next day is planned, re-planned and reported.

use chrono::NaiveDate;
use forenoon_proto::v1;
use forenoon_proto::v1::VisitState;

use crate::actors::{Api, asking};
use crate::house::{House, on_both};
use crate::motion::{Word, at, furnish as furnish_north, plan_day, report, visits};
use crate::mowing_yard::{BRANCH, first_day, furnish, name};

fn tomorrow() -> NaiveDate {
    first_day().succ_opt().expect("a date")
}

/// The stop that begins last, with its crew.
fn last_stop(plan: &v1::Plan) -> (v1::Stop, String) {
    let stops = plan.crew_days.iter().flat_map(|crew| {
        crew.stops
            .iter()
            .map(|stop| (stop.clone(), crew.crew.clone()))
    });
    let last = stops.max_by_key(|(stop, _)| stop.start_time.map(|at| at.seconds));
    last.expect("a stop")
}

/// Guards a morning after rain: who was at a site the day before, and went home without a word, is not there now.
#[tokio::test]
async fn an_arrival_of_the_day_before_puts_nobody_at_a_site() {
    on_both(async |house| {
        furnish(&house.database, &[]).await;
        let mut api = Api::of(house);
        let plan = api.plan(first_day(), 300).await.expect("a plan");
        api.publish(plan.name.clone()).await.expect("published");
        let (stop, crew) = last_stop(&plan);
        house.set_clock("2027-04-20T20:30:00Z");
        let arrive = v1::ArriveAtJobRequest {
            job: stop.job.clone(),
            crew: crew.clone(),
            ..Default::default()
        };
        let heard = api.visits.arrive_at_job(asking(arrive)).await;
        heard.expect("heard");

        house.set_clock("2027-04-21T10:45:00Z");
        let plan = api.plan(tomorrow(), 300).await.expect("a plan");
        api.publish(plan.name.clone()).await.expect("published");
        let (last, with) = last_stop(&plan);
        assert_eq!((&last.job, &with), (&stop.job, &crew), "the same day again");
        for clock in ["2027-04-21T10:50:00Z", "2027-04-21T12:30:00Z"] {
            house.set_clock(clock);
            let proposals = api.propose(tomorrow(), 100).await.expect("proposals");
            for proposal in proposals {
                let plan = proposal.plan.expect("its plan");
                let mut stops = plan.crew_days.iter().flat_map(|crew| &crew.stops);
                let stop = stops.find(|stop| stop.job == last.job).expect("its stop");
                assert!(!stop.fixed, "{stop:?}");
                assert!(!stop.tasks.is_empty(), "{stop:?}");
            }
        }
    })
    .await;
}

/// Guards reports of a second day on which a crew sets out for a job: they are the second day's.
#[tokio::test]
async fn who_sets_out_again_on_another_day_is_seen_on_that_day() {
    on_both(async |house: &House| {
        furnish_north(house).await;
        house.set_clock("2027-04-20T20:30:00Z");
        for (word, time) in [(Word::Depart, "20:00"), (Word::Arrive, "20:20")] {
            report(house, "ash", "j-1", word, at(time))
                .await
                .expect("heard");
        }
        house.set_clock("2027-04-21T11:00:00Z");
        plan_day(house, "2027-04-21").await;
        // What is told late of the evening before is still that evening's.
        let evening = report(house, "ash", "j-1", Word::Depart, at("19:59")).await;
        assert_eq!(evening.expect("heard").depart_time, at("20:00"));
        house.set_clock("2027-04-21T14:00:00Z");
        let next = "branches/north/plans/2027-04-21-1";
        let visit = report(house, "ash", "j-1", Word::Depart, None)
            .await
            .expect("on the way");
        assert_eq!((visit.plan.as_str(), visit.attempt), (next, 1));
        assert_eq!(visit.state(), VisitState::UnderWay);
        let departed = "2027-04-21T14:00:00Z".parse().expect("an instant");
        assert_eq!(visit.depart_time, Some(departed));
        let once = house.counts().await;
        report(house, "ash", "j-1", Word::Depart, None)
            .await
            .expect("heard");
        assert_eq!(house.counts().await, once);
        let request = v1::ListVisitsRequest { plan: next.into() };
        let listed = visits(house).list_visits(request).await.expect("a list");
        assert_eq!(listed.into_inner().visits, [visit]);
    })
    .await;
}

async fn tag(api: &mut Api, unit: &str) -> Vec<String> {
    let request = v1::TagOutRequest {
        parent: BRANCH.into(),
        tag_out: Some(v1::TagOut {
            unit: unit.into(),
            symptom: v1::Symptom::Vibration.into(),
            severity: v1::Severity::Unsafe.into(),
            found_by: name("workers", "lead-ash"),
            ..Default::default()
        }),
        ..Default::default()
    };
    let answer = api.tags.tag_out(asking(request)).await.expect("tagged");
    answer.into_inner().affected_plans
}

/// Guards work past midnight: a mower that breaks then is missed by the plan that its crew still works by, and by no plan whose
/// crews are back.
#[tokio::test]
async fn a_tag_past_midnight_names_the_plan_that_is_at_work() {
    on_both(async |house| {
        furnish(&house.database, &[]).await;
        let mut api = Api::of(house);
        let plan = api.plan(first_day(), 300).await.expect("a plan");
        api.publish(plan.name.clone()).await.expect("published");
        let (stop, crew) = last_stop(&plan);
        let mower = stop.tasks[0].units[0].clone();
        // Half past midnight in America/Chicago; the crews came home in the afternoon.
        house.set_clock("2027-04-21T05:30:00Z");
        let others = plan.crew_days.iter().find(|other| other.crew != crew);
        let others = others.expect("another crew").stops[0].tasks[0].units[0].clone();
        assert_eq!(tag(&mut api, &others).await, [""; 0]);
        house.set_clock("2027-04-21T04:00:00Z");
        api.start(&stop.job, &crew).await.expect("begun");
        house.set_clock("2027-04-21T05:30:00Z");
        assert_eq!(tag(&mut api, &mower).await, [plan.name.as_str()]);
    })
    .await;
}
