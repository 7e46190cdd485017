//! Goal: a day that is planned anew, and anew again, sends crews from where they are.
//! Method: a crew loses the job at which it stands, or to which it drives; the drives of the plans after it are reckoned beside the
//! server.

use forenoon_planner::travel::Coordinate;
use forenoon_proto::v1;
use forenoon_proto::v1::disruption::Disruption as One;
use prost_types::{Duration, Timestamp};

use crate::actors::{Api, asking, date};
use crate::booking::job_client;
use crate::house::{House, on_both};
use crate::mowing_yard::{BRANCH, CREWS, first_day, furnish, name};

const YARD: Coordinate = Coordinate {
    latitude: 41.2,
    longitude: -92.8,
};

/// Where a lawn of the yard's is.
fn lawn(site: &str) -> Coordinate {
    let number = site.rsplit('-').next().expect("a number");
    let number: u32 = number.parse().expect("a number");
    Coordinate {
        latitude: 41.18 + 0.02 * f64::from(number / 3),
        longitude: -92.82 + 0.02 * f64::from(number % 3),
    }
}

/// A drive by the branch's travel rule: seconds.
fn drive(from: Coordinate, to: Coordinate) -> i64 {
    let metres = from.distance_metres(to) * 1.3;
    let seconds = metres * 3.6 / 40.0;
    #[expect(clippy::cast_possible_truncation, reason = "some minutes")]
    let whole = seconds.round() as i64;
    whole + 60
}

fn seconds(told: Option<&Timestamp>) -> i64 {
    told.expect("a time").seconds
}

fn length(told: Option<&Duration>) -> i64 {
    told.expect("a length").seconds
}

fn day_of<'a>(plan: &'a v1::Plan, crew: &str) -> &'a v1::CrewDay {
    let mut days = plan.crew_days.iter();
    days.find(|day| day.crew == crew).expect("the crew's day")
}

async fn published(house: &House, api: &mut Api) -> v1::Plan {
    furnish(&house.database, &[]).await;
    let plan = api.plan(first_day(), 300).await.expect("a plan");
    api.publish(plan.name.clone()).await.expect("published");
    plan
}

async fn told(api: &mut Api, happened: Vec<One>) -> Vec<v1::Proposal> {
    let request = v1::ProposeReplanRequest {
        parent: BRANCH.into(),
        day: Some(date(first_day())),
        cause: "it is so".into(),
        seed: 1,
        iterations: 100,
        disruptions: happened
            .into_iter()
            .map(|one| v1::Disruption {
                disruption: Some(one),
            })
            .collect(),
        ..Default::default()
    };
    let answer = api.plans.propose_replan(asking(request)).await;
    answer.expect("proposals").into_inner().proposals
}

/// Guards a crew that broke off, had nothing more to do by the next plan, and is there again by the one after: it comes from the
/// lawn where it stands and not from the yard, with what it has aboard or fetches on the way.
#[tokio::test]
async fn a_crew_whose_job_was_taken_off_goes_on_from_where_it_stands() {
    on_both(async |house| {
        let mut api = Api::of(house);
        let plan = published(house, &mut api).await;
        let away = |day: &&v1::CrewDay| {
            let first = day.stops.first();
            first.is_some_and(|stop| drive(YARD, lawn(&stop.site)) > 120)
        };
        let day = plan.crew_days.iter().find(away).expect("a crew").clone();
        let first = &day.stops[0];
        let begins = first.start_time.expect("a time");
        house.set_clock_after(begins, 0);
        api.start(&first.job, &day.crew).await.expect("begun");
        house.set_clock_after(begins, 600);
        let proposals = told(&mut api, vec![One::AbsentCrew(day.crew.clone())]).await;
        let second = proposals[0].plan.as_ref().expect("its plan");
        assert!(day_of(second, &day.crew).stops.is_empty(), "{second:?}");
        api.accept(second.name.clone()).await.expect("accepted");

        let now = house.set_clock_after(begins, 900).timestamp();
        let mut happened = vec![One::PresentCrew(day.crew.clone())];
        let others = CREWS.map(|crew| name("crews", crew)).into_iter();
        happened.extend(others.filter(|crew| *crew != day.crew).map(One::AbsentCrew));
        let mut sent = 0;
        for proposal in told(&mut api, happened).await {
            let third = proposal.plan.expect("its plan");
            let again = day_of(&third, &day.crew);
            let fetched: Vec<&String> = again
                .yard_calls
                .iter()
                .flat_map(|call| &call.load)
                .collect();
            let has = |unit: &&String| day.load_out.contains(unit) || fetched.contains(unit);
            assert!(again.load_out.iter().all(|unit| has(&unit)), "{again:?}");
            let Some(next) = again.stops.first().filter(|_| again.yard_calls.is_empty()) else {
                continue;
            };
            sent += 1;
            let from_there = if next.site == first.site {
                0
            } else {
                drive(lawn(&first.site), lawn(&next.site))
            };
            assert_eq!(length(next.drive.as_ref()), from_there, "{next:?}");
            assert!(seconds(next.arrive_time.as_ref()) >= now + from_there);
        }
        assert!(sent > 0, "it has nothing to do");
    })
    .await;
}

/// A crew, and a stop to which it drives for some minutes from another.
fn on_the_road(plan: &v1::Plan) -> (v1::CrewDay, v1::Stop) {
    let stops = plan.crew_days.iter().flat_map(|day| {
        let later = day.stops.iter().skip(1);
        later.map(move |stop| (day, stop))
    });
    let mut long = stops
        .filter(|(day, stop)| length(stop.drive.as_ref()) > 120 && day.stops.last() != Some(stop));
    let (day, stop) = long.next().expect("a drive");
    (day.clone(), stop.clone())
}

/// The first stop of a crew that has not begun.
fn next<'a>(plan: &'a v1::Plan, crew: &str) -> Option<&'a v1::Stop> {
    day_of(plan, crew).stops.iter().find(|stop| !stop.fixed)
}

/// Guards a crew on the road while the day is planned anew: it drives on, arrives when it was expected, and the drive is told as
/// long as it is. Where its job is called off meanwhile, it comes from there.
#[tokio::test]
async fn a_crew_on_the_road_is_not_put_back() {
    on_both(async |house| {
        let mut api = Api::of(house);
        let plan = published(house, &mut api).await;
        let (day, stop) = on_the_road(&plan);
        let arrival = seconds(stop.arrive_time.as_ref());
        let there = stop.arrive_time.expect("a time");
        house.set_clock_after(there, 60 - length(stop.drive.as_ref()));
        let request = v1::DepartForJobRequest {
            job: stop.job.clone(),
            crew: day.crew.clone(),
            event_time: Some(Timestamp {
                seconds: arrival - length(stop.drive.as_ref()),
                nanos: 0,
            }),
            ..Default::default()
        };
        let left = api.visits.depart_for_job(asking(request)).await;
        left.expect("it leaves");
        let proposals = told(&mut api, Vec::new()).await;
        assert_eq!(proposals[0].changes, []);
        let second = proposals[0].plan.as_ref().expect("its plan");
        let goes_on = next(second, &day.crew).expect("a stop");
        assert_eq!(goes_on.job, stop.job);
        assert_eq!(goes_on.arrive_time, stop.arrive_time);
        assert_eq!(goes_on.drive, stop.drive);
        api.accept(second.name.clone()).await.expect("accepted");

        let request = v1::CancelJobRequest {
            name: stop.job.clone(),
            reason: "sold".into(),
            ..Default::default()
        };
        job_client(house).cancel_job(request).await.expect("off");
        for _ in 0..2 {
            let proposals = told(&mut api, Vec::new()).await;
            let mut sent = 0;
            for proposal in &proposals {
                let plan = proposal.plan.as_ref().expect("its plan");
                if !day_of(plan, &day.crew).yard_calls.is_empty() {
                    continue;
                }
                let Some(next) = next(plan, &day.crew) else {
                    continue;
                };
                sent += 1;
                let from_there = drive(lawn(&stop.site), lawn(&next.site));
                assert_eq!(length(next.drive.as_ref()), from_there, "{next:?}");
                let arrives = seconds(next.arrive_time.as_ref());
                assert!(arrives >= arrival + from_there, "{next:?}");
            }
            assert!(sent > 0, "it has nothing to do");
            let best = proposals[0].plan.as_ref().expect("its plan");
            api.accept(best.name.clone()).await.expect("accepted");
        }
    })
    .await;
}
