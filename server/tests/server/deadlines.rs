//! Goal: a job that comes in during the day and must be done by an hour is weighed with the rest, and what misses its hour
//! is told with whom to phone.
//! Method: the mowing yard at ten, its crews out since seven; one more lawn is to be mown by an hour.

use forenoon_proto::v1;

use crate::actors::{Api, asking, date};
use crate::booking::{job_client, task, wall, window};
use crate::house::{House, on_both};
use crate::mowing_yard::{BRANCH, CREWS, first_day, furnish, name};

const SITE: &str = "branches/larkmoor/sites/lawn-4";
const NOTICE: &str = "branches/larkmoor/jobs/notice";

/// The day is planned and published; at ten a job with a deadline comes in.
async fn job_at_ten(house: &House, api: &mut Api, (hours, minutes): (i32, i32)) {
    furnish(&house.database, &[]).await;
    let plan = api.plan(first_day(), 300).await.expect("a plan");
    api.publish(plan.name).await.expect("published");
    house.set_clock(&format!("{}T15:00:00Z", first_day()));
    let today = date(first_day());
    let with = |id: &str, kind, tool| task(id, kind, "lawn", &[tool]);
    let job = v1::Job {
        display_name: "Cut by notice".into(),
        site: SITE.into(),
        tasks: vec![
            with("mow", v1::TaskKind::Mow, v1::Capability::Mower),
            with("blow", v1::TaskKind::BlowOff, v1::Capability::Blower),
        ],
        windows: vec![window(today, today)],
        deadline: wall(today, hours, minutes, Some(-5)),
        deadline_source: "county notice".into(),
        ..v1::Job::default()
    };
    let request = v1::CreateJobRequest {
        parent: BRANCH.into(),
        job_id: "notice".into(),
        job: Some(job),
        request_id: String::new(),
    };
    let answer = job_client(house).create_job(asking(request)).await;
    answer.expect("created");
}

fn stop_of(proposal: &v1::Proposal) -> Option<&v1::Stop> {
    let days = &proposal.plan.as_ref().expect("a plan").crew_days;
    let mut stops = days.iter().flat_map(|day| &day.stops);
    stops.find(|stop| stop.job == NOTICE)
}

fn call_of(proposal: &v1::Proposal) -> &str {
    let call = proposal.calls.iter().find(|call| call.site == SITE);
    &call.expect("a call").text
}

/// Guards room: with two hours left one way on has it done by noon, misses nothing and phones nobody for it.
#[tokio::test]
async fn a_job_added_at_ten_is_done_by_noon() {
    on_both(async |house| {
        let mut api = Api::of(house);
        job_at_ten(house, &mut api, (12, 0)).await;
        let proposals = api.propose(first_day(), 100).await.expect("proposals");
        let noon = format!("{}T17:00:00Z", first_day());
        let noon: prost_types::Timestamp = noon.parse().expect("an instant");
        let in_time = |proposal: &&v1::Proposal| {
            let finish = stop_of(proposal).and_then(|stop| stop.finish_time);
            finish.is_some_and(|finish| finish.seconds <= noon.seconds)
        };
        let keeps = proposals.iter().find(in_time);
        let keeps = keeps.unwrap_or_else(|| panic!("no way on by noon: {proposals:#?}"));
        assert!(keeps.missed_deadlines.is_empty(), "{keeps:#?}");
        // Each other one tells that it misses it.
        for other in proposals.iter().filter(|other| !in_time(other)) {
            assert_eq!(other.missed_deadlines, [NOTICE], "{other:#?}");
            assert!(other.sites_to_phone.iter().any(|site| site == SITE));
        }
    })
    .await;
}

/// Guards an hour that nobody can keep: each way on says so, and what to tell the customer; read again it says the same.
#[tokio::test]
async fn a_deadline_that_nobody_can_keep_is_told() {
    on_both(async |house| {
        let mut api = Api::of(house);
        job_at_ten(house, &mut api, (10, 20)).await;
        let proposals = api.propose(first_day(), 100).await.expect("proposals");
        for proposal in &proposals {
            assert_eq!(proposal.missed_deadlines, [NOTICE], "{proposal:#?}");
            assert!(proposal.sites_to_phone.iter().any(|site| site == SITE));
            let words = match stop_of(proposal) {
                Some(_) => "past its deadline of 10:20",
                None => "not done by its deadline of 10:20",
            };
            let told = call_of(proposal);
            assert!(told.contains(words), "{told:?}");
            let change = proposal.changes.iter().find(|one| one.job == NOTICE);
            let text = change.map(|change| change.text.contains(words));
            assert_eq!(text, stop_of(proposal).map(|_| true), "{change:?}");
        }
    })
    .await;
}

/// Guards a day with no room at all: nobody goes on, so the deadline is missed and the customer is phoned.
#[tokio::test]
async fn a_day_with_no_room_misses_the_deadline() {
    on_both(async |house| {
        let mut api = Api::of(house);
        job_at_ten(house, &mut api, (12, 0)).await;
        let absent = |crew: &str| v1::Disruption {
            disruption: Some(v1::disruption::Disruption::AbsentCrew(name("crews", crew))),
        };
        let request = v1::ProposeReplanRequest {
            parent: BRANCH.into(),
            day: Some(date(first_day())),
            cause: "storm".into(),
            seed: 1,
            iterations: 50,
            disruptions: CREWS.map(absent).into(),
            ..Default::default()
        };
        let answer = api.plans.propose_replan(asking(request)).await;
        for proposal in answer.expect("proposals").into_inner().proposals {
            assert!(stop_of(&proposal).is_none());
            assert_eq!(proposal.missed_deadlines, [NOTICE]);
            let words = "Cut by notice: not done by its deadline of 12:00";
            assert!(call_of(&proposal).contains(words), "{:?}", proposal.calls);
        }
    })
    .await;
}
