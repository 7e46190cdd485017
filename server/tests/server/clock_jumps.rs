//! Goal: a server whose clock jumps, as after a pause of its machine or a wrong setting, breaks nothing and stays usable.
//! Method: actors at work while the clock leaps hours and days to and fro; then the events are replayed and the day is
//! gone on with.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use forenoon_proto::v1;
use rand::{RngExt, SeedableRng};
use rand_xoshiro::Xoshiro256PlusPlus;
use tonic::Code;
use uuid::Uuid;

use crate::actors::{Api, asking, date};
use crate::house::{House, faults, on_both};
use crate::mowing_yard::{BRANCH, add_trailers, first_day, furnish, name};
use crate::tagged_units::{act, breaches};

/// Where the clock goes, between the day before and the day after.
fn leap(chance: &mut Xoshiro256PlusPlus) -> String {
    let day = 19 + chance.random_range(0..3);
    let (hour, minute) = (chance.random_range(0..24), chance.random_range(0..60));
    format!("2027-04-{day}T{hour:02}:{minute:02}:00Z")
}

async fn work_while_it_jumps(house: &House, seed: u64) -> u32 {
    let over = Arc::new(AtomicBool::new(false));
    let ended = Arc::clone(&over);
    let actors: Vec<_> = (0..5)
        .map(|actor| tokio::spawn(act(Api::of(house), seed + actor, 24)))
        .collect();
    let work = async {
        let mut done = 0;
        for actor in actors {
            done += actor.await.expect("an actor ends");
        }
        ended.store(true, Ordering::Relaxed);
        done
    };
    let jumps = async {
        let mut chance = Xoshiro256PlusPlus::seed_from_u64(seed);
        while !over.load(Ordering::Relaxed) {
            house.set_clock(&leap(&mut chance));
            tokio::time::sleep(Duration::from_millis(3)).await;
        }
    };
    tokio::join!(work, jumps).0
}

/// Guards the invariant of tag-outs, the numbers of events and the lease of a day against a clock that jumps under load.
#[tokio::test(flavor = "multi_thread")]
async fn a_clock_that_jumps_under_load_breaks_nothing() {
    on_both(async |house| {
        furnish(&house.database, &[]).await;
        add_trailers(&house.database).await;
        let mut api = Api::of(house);
        let plan = api.plan(first_day(), 300).await.expect("a plan");
        api.publish(plan.name).await.expect("published");
        for seed in [10, 20, 30] {
            let done = work_while_it_jumps(house, seed).await;
            // A day under way is not planned from scratch, so that many steps are refused.
            assert!(done > 4, "too little was accepted: {done}");
            assert_eq!(breaches(&house.database).await, Vec::<String>::new());
        }
        let numbers: Vec<i64> = house.events().await.iter().map(|one| one.seq).collect();
        let counted: Vec<i64> = (1..).take(numbers.len()).collect();
        assert_eq!(numbers, counted, "each change is told once");
        // Nothing stays locked: another day is planned, published and gone on with.
        house.set_clock("2027-04-21T11:45:00Z");
        let tomorrow = first_day().succ_opt().expect("a date");
        let plan = api.plan(tomorrow, 300).await.expect("a plan");
        api.publish(plan.name).await.expect("published");
        let proposals = api.propose(tomorrow, 60).await.expect("proposals");
        let best = proposals[0].plan.clone().expect("its plan");
        api.accept(best.name).await.expect("accepted");
    })
    .await;
}

/// Guards a re-plan after a report under a clock that was days ahead, and the words where the day itself is over.
#[tokio::test]
async fn a_report_from_the_future_does_not_stop_a_replan() {
    on_both(async |house| {
        furnish(&house.database, &[]).await;
        let mut api = Api::of(house);
        let plan = api.plan(first_day(), 300).await.expect("a plan");
        let crew = plan.crew_days.iter().find(|crew| !crew.stops.is_empty());
        let crew = crew.expect("a crew with stops");
        api.publish(plan.name.clone()).await.expect("published");
        let begun = &crew.stops[0].job;
        // By now nothing else of its day should have begun.
        let start = crew.stops[0].start_time.expect("a start");
        house.set_clock_after(start, 60);
        api.start(begun, &crew.crew).await.expect("started");
        house.set_clock("2027-04-24T15:10:00Z");
        let request = v1::FinishJobRequest {
            job: begun.clone(),
            crew: crew.crew.clone(),
            ..Default::default()
        };
        let finished = api.visits.finish_job(asking(request)).await;
        finished.expect("finished");
        let late = api.propose(first_day(), 60).await.expect_err("it is over");
        assert_eq!(
            faults(&late),
            [("from_time".to_owned(), "OUT_OF_RANGE".to_owned())]
        );
        house.set_clock_after(start, 60);
        let proposals = api.propose(first_day(), 60).await.expect("proposals");
        let plan = proposals[0].plan.as_ref().expect("its plan");
        let of_crew = plan.crew_days.iter().find(|day| day.crew == crew.crew);
        let stops: Vec<_> = of_crew
            .expect("the crew")
            .stops
            .iter()
            .map(|stop| &stop.job)
            .collect();
        assert_eq!(stops, [begun], "its day is used up by what it reported");
    })
    .await;
}

/// Guards retries: the answer to a call is found again when the clock has jumped in between.
#[tokio::test]
async fn a_retry_is_known_whatever_the_clock_says() {
    on_both(async |house| {
        furnish(&house.database, &[]).await;
        let mut api = Api::of(house);
        let request = v1::TagOutRequest {
            parent: BRANCH.into(),
            tag_out: Some(v1::TagOut {
                unit: name("units", "m-1"),
                symptom: v1::Symptom::Leak.into(),
                severity: v1::Severity::Unsafe.into(),
                found_by: name("workers", "lead-ash"),
                ..Default::default()
            }),
            request_id: Uuid::new_v4().to_string(),
        };
        let mut answers = Vec::new();
        for clock in [
            "2027-04-20T15:10:00Z",
            "2027-04-19T03:00:00Z",
            "2027-04-24T15:10:00Z",
        ] {
            house.set_clock(clock);
            let answer = api.tags.tag_out(asking(request.clone())).await;
            answers.push(answer.expect("tagged").into_inner());
        }
        assert!(answers.iter().all(|answer| *answer == answers[0]));
        let tagged = house.events().await;
        let tagged = tagged.iter().filter(|one| one.kind == "tag_out.tagged");
        assert_eq!(tagged.count(), 1);
        // And the unit stays in whatever the clock says.
        let mut plans = api.plans.clone();
        let request = v1::PlanDayRequest {
            parent: BRANCH.into(),
            day: Some(date(first_day())),
            seed: 1,
            iterations: 200,
            ..Default::default()
        };
        house.set_clock("2027-04-18T11:00:00Z");
        let plan = plans.plan_day(asking(request)).await.expect("a plan");
        let plan = plan.into_inner().plan.expect("a plan");
        let aboard = plan.crew_days.iter().flat_map(|crew| &crew.load_out);
        assert!(aboard.clone().count() > 0);
        assert!(aboard.clone().all(|unit| *unit != name("units", "m-1")));
    })
    .await;
}

/// Guards a tagged unit from starting under a clock that was set back to before its tag.
#[tokio::test]
async fn a_clock_set_back_lets_no_tagged_unit_out() {
    on_both(async |house| {
        furnish(&house.database, &[]).await;
        let mut api = Api::of(house);
        let plan = api.plan(first_day(), 300).await.expect("a plan");
        let crew = plan.crew_days.iter().find(|crew| !crew.stops.is_empty());
        let crew = crew.expect("a crew with stops");
        api.publish(plan.name.clone()).await.expect("published");
        let (stop, unit) = (&crew.stops[0], &crew.load_out[0]);
        house.set_clock_after(stop.start_time.expect("a start"), 1_200);
        let unit = unit.rsplit('/').next().expect("an id");
        api.tag(unit).await.expect("tagged");
        house.set_clock_after(stop.start_time.expect("a start"), 0);
        let refused = api.start(&stop.job, &crew.crew).await.expect_err("tagged");
        assert_eq!(refused.code(), Code::FailedPrecondition, "{refused:?}");
        assert_eq!(breaches(&house.database).await, Vec::<String>::new());
    })
    .await;
}
