//! Goal: a job is done once. What one day's published plan has is no other day's, and what an earlier day left behind is
//! told.

use std::collections::BTreeSet;

use chrono::{Days, NaiveDate};
use forenoon_proto::v1;
use tonic::Code;

use crate::actors::{Api, asking};
use crate::house::{House, on_both, reason};
use crate::mowing_yard::{first_day, furnish, name};

fn tomorrow() -> NaiveDate {
    first_day() + Days::new(1)
}

/// Where each job of a plan is done.
fn stops(plan: &v1::Plan) -> Vec<(&v1::CrewDay, &v1::Stop)> {
    let days = plan.crew_days.iter();
    days.flat_map(|day| day.stops.iter().map(move |stop| (day, stop)))
        .collect()
}

fn jobs(plan: &v1::Plan) -> BTreeSet<String> {
    stops(plan)
        .into_iter()
        .map(|(_, stop)| stop.job.clone())
        .collect()
}

/// What a plan says of a job that it left out.
fn told(plan: &v1::Plan, job: &str) -> Option<(v1::ReasonKind, String)> {
    let left = plan.unplanned_jobs.iter().find(|left| left.job == job)?;
    let reason = &left.reasons[0];
    Some((reason.kind(), reason.text.clone()))
}

async fn give_up(api: &mut Api, job: &str, crew: &str) {
    let request = v1::ReportNotDoneRequest {
        job: job.into(),
        crew: crew.into(),
        reason: "gate locked".into(),
        ..Default::default()
    };
    let answer = api.visits.report_not_done(asking(request)).await;
    answer.expect("heard");
}

async fn planned_and_published(api: &mut Api, day: NaiveDate) -> v1::Plan {
    let plan = api.plan(day, 300).await.expect("a plan");
    api.publish(plan.name.clone()).await.expect("published");
    plan
}

/// Guards the next day against today's work: a job that today's published plan has is left out and told of, in the plan of
/// tomorrow and in its proposals, and comes back once its crew has given it up.
#[tokio::test]
async fn a_job_on_another_days_plan_is_left_out_until_it_is_given_up() {
    on_both(async |house| {
        furnish(&house.database, &[tomorrow()]).await;
        let mut api = Api::of(house);
        let today = planned_and_published(&mut api, first_day()).await;
        assert!(jobs(&today).len() > 2);
        let next = planned_and_published(&mut api, tomorrow()).await;
        assert_eq!(jobs(&next), BTreeSet::from([name("jobs", "today-0")]));
        let (crew, stop) = stops(&today)[0];
        let (kind, text) = told(&next, &stop.job).expect("it is told");
        assert_eq!(kind, v1::ReasonKind::OnAnotherDay);
        let expected = format!("is on Tue 20 Apr's plan with {}", crew.crew_display_name);
        assert_eq!(text, expected);
        let totals = next.totals.expect("totals");
        assert_eq!(
            usize::try_from(totals.unplanned_jobs).expect("a count"),
            next.unplanned_jobs.len()
        );
        let proposals = api.propose(tomorrow(), 100).await.expect("proposals");
        for proposal in proposals {
            let plan = proposal.plan.expect("its plan");
            assert!(jobs(&plan).is_disjoint(&jobs(&today)), "{plan:?}");
        }

        house.set_clock_after(stop.start_time.expect("a start"), 60);
        give_up(&mut api, &stop.job, &crew.crew).await;
        let again = api.plan(tomorrow(), 300).await.expect("a plan");
        assert!(jobs(&again).contains(&stop.job), "it waits for nothing");
    })
    .await;
}

/// Guards what nobody reported on: the day after, it can be planned again.
#[tokio::test]
async fn a_job_of_a_past_days_plan_is_planned_again() {
    on_both(async |house| {
        furnish(&house.database, &[]).await;
        let mut api = Api::of(house);
        let today = planned_and_published(&mut api, first_day()).await;
        let refused = api.plan(tomorrow(), 300).await.expect_err("nothing left");
        let expected = (Code::FailedPrecondition, "NO_JOB".to_owned());
        assert_eq!(reason(&refused), expected);
        assert!(
            refused.message().contains("is on Tue 20 Apr's plan with"),
            "{refused:?}"
        );
        house.set_clock("2027-04-21T11:00:00Z");
        let next = api.plan(tomorrow(), 300).await.expect("a plan");
        assert_eq!(jobs(&next), jobs(&today));
    })
    .await;
}

/// Guards work that would be forgotten: a job that a crew began yesterday and has not ended, and one whose last day has
/// passed, stand in the plan with what is to be done about them.
#[tokio::test]
async fn what_an_earlier_day_left_behind_is_told() {
    on_both(async |house| {
        furnish(&house.database, &[first_day()]).await;
        let mut api = Api::of(house);
        let today = planned_and_published(&mut api, first_day()).await;
        let missed = name("jobs", "today-0");
        let (crew, begun) = *stops(&today)
            .iter()
            .find(|(_, stop)| stop.job != missed)
            .expect("a weekly job");
        house.set_clock_after(begun.start_time.expect("a start"), 60);
        api.start(&begun.job, &crew.crew).await.expect("started");
        house.set_clock("2027-04-21T11:00:00Z");
        let next = api.plan(tomorrow(), 300).await.expect("a plan");
        assert!(!jobs(&next).contains(&begun.job));
        let expected = format!(
            "{} has had it under way since Tue 20 Apr: let them report its end",
            crew.crew_display_name
        );
        assert_eq!(
            told(&next, &begun.job),
            Some((v1::ReasonKind::Unfinished, expected))
        );
        let expected = "its last day was Tue 20 Apr; agree on another".to_owned();
        assert_eq!(
            told(&next, &missed),
            Some((v1::ReasonKind::WindowOver, expected))
        );
        api.publish(next.name).await.expect("published");
    })
    .await;
}

/// Guards a day that has begun: no crew is sent into the past, and what is over by now is not planned.
#[tokio::test]
async fn a_day_that_has_begun_is_planned_from_now_on() {
    on_both(async |house: &House| {
        furnish(&house.database, &[first_day()]).await;
        let mut api = Api::of(house);
        // Ten o'clock, three hours after the crews' shifts began.
        house.set_clock("2027-04-20T15:00:00Z");
        let plan = api.plan(first_day(), 300).await.expect("a plan");
        assert!(!jobs(&plan).is_empty());
        let now = "2027-04-20T15:00:00Z".parse::<prost_types::Timestamp>();
        let now = now.expect("an instant").seconds;
        for day in &plan.crew_days {
            let depart = day.depart_time.map_or(now, |depart| depart.seconds);
            assert!(depart >= now, "{day:?}");
        }
        // After the shifts nobody goes.
        house.set_clock("2027-04-20T23:00:00Z");
        let plan = api.plan(first_day(), 300).await.expect("a plan");
        assert_eq!(jobs(&plan), BTreeSet::new());
        // A day that is over is planned as it may have been.
        house.set_clock("2027-04-22T15:00:00Z");
        let plan = api.plan(first_day(), 300).await.expect("a plan");
        assert!(!jobs(&plan).is_empty());
    })
    .await;
}
