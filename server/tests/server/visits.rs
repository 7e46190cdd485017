//! Goal: a crew's reports make sense of the day, whenever and however often they come.
//! Method: days are reported in order, late, twice and wrongly; the visit, the job and the events are read back.

use forenoon_proto::v1;
use forenoon_proto::v1::VisitState;
use forenoon_store::sea_orm::Set;
use forenoon_store::value::{JobState, ProposalFacts};

use crate::house::{House, on_both};
use crate::motion::{
    JOBS, PLAN, Word, at, furnish, job_name, job_state, kinds_after, plan_day, plans, report,
    tag_mower, tag_outs, visits, why,
};
use crate::rows;
use crate::yard::NORTH;

/// Puts a fault into a sound request.
type Fault = fn(&mut v1::RecordWalkthroughRequest);

const ASH: &str = "branches/north/crews/ash";

async fn list(house: &House, plan: &str) -> Vec<v1::Visit> {
    visits(house)
        .list_visits(v1::ListVisitsRequest { plan: plan.into() })
        .await
        .expect("a list")
        .into_inner()
        .visits
}

fn walkthrough(outcome: v1::WalkthroughOutcome, before_work: bool) -> v1::RecordWalkthroughRequest {
    v1::RecordWalkthroughRequest {
        job: job_name("j-1"),
        crew: ASH.into(),
        walkthrough: Some(v1::Walkthrough {
            before_work,
            outcome: outcome.into(),
            walk_time: at("12:10"),
            note: "tall by the fence".into(),
            photos: vec![],
        }),
        request_id: String::new(),
    }
}

#[tokio::test]
async fn a_job_goes_from_departure_to_done() {
    on_both(async |house: &House| {
        furnish(house).await;
        let before = house.events().await.len();
        house.set_clock("2027-04-20T14:00:00Z");
        for (word, time, state) in [
            (Word::Depart, "12:00", VisitState::UnderWay),
            (Word::Arrive, "12:08", VisitState::Arrived),
            (Word::Start, "12:15", VisitState::Working),
            (Word::Pause, "12:30", VisitState::Paused),
            (Word::Resume, "12:50", VisitState::Working),
            (Word::Finish, "13:20", VisitState::Done),
        ] {
            let visit = report(house, "ash", "j-1", word, at(time))
                .await
                .expect("heard");
            assert_eq!(visit.state(), state, "{word:?}");
        }
        assert_eq!(job_state(house, "j-1").await, JobState::Done);
        let [visit] = list(house, PLAN).await.try_into().expect("one visit");
        assert_eq!(visit.depart_time, at("12:00"));
        assert_eq!(visit.arrive_time, at("12:08"));
        assert_eq!(visit.start_time, at("12:15"));
        assert_eq!(visit.finish_time, at("13:20"));
        assert_eq!(visit.paused.map(|paused| paused.seconds), Some(20 * 60));
        assert_eq!(visit.pauses[0].reason, "rain");
        assert_eq!((visit.attempt, visit.bags), (1, 2));
        assert_eq!(
            kinds_after(house, before).await,
            [
                "visit.departed",
                "visit.arrived",
                "visit.started",
                "visit.paused",
                "visit.resumed",
                "visit.finished"
            ]
        );
    })
    .await;
}

#[tokio::test]
async fn late_and_repeated_reports_fill_in_and_never_do_work_twice() {
    on_both(async |house: &House| {
        furnish(house).await;
        house.set_clock("2027-04-20T14:00:00Z");
        let tell = async |word, time| report(house, "ash", "j-1", word, time).await;
        for early in [Word::Finish, Word::Pause, Word::Resume] {
            assert_eq!(why(tell(early, at("13:00")).await), "NOT_STARTED");
        }
        tell(Word::Start, at("12:15")).await.expect("begun");
        let once = house.counts().await;

        // Told again, with the same time, another, or none.
        for time in [at("12:15"), at("12:17"), None] {
            let visit = tell(Word::Start, time).await.expect("heard");
            assert_eq!(visit.start_time, at("12:15"));
        }
        assert_eq!(house.counts().await, once, "a repetition wrote");

        // The arrival comes after the start and fills in; one after it cannot be.
        let visit = tell(Word::Arrive, at("12:05")).await.expect("filled in");
        assert_eq!(visit.state(), VisitState::Working);
        assert_eq!(visit.arrive_time, at("12:05"));
        assert_eq!(
            why(tell(Word::Depart, at("12:06")).await),
            "event_time OUT_OF_RANGE"
        );
        assert_eq!(
            why(tell(Word::Finish, at("12:00")).await),
            "finish_time END_BEFORE_START"
        );

        // The resumption comes before its pause, the pause after the end.
        tell(Word::Resume, at("12:45")).await.expect("waits");
        tell(Word::Finish, at("13:00")).await.expect("done");
        let visit = tell(Word::Pause, at("12:30")).await.expect("filled in");
        assert_eq!(visit.state(), VisitState::Done);
        assert_eq!(visit.paused.map(|paused| paused.seconds), Some(15 * 60));

        // Done is done.
        let done = house.counts().await;
        tell(Word::Finish, at("13:00")).await.expect("heard");
        tell(Word::Finish, None).await.expect("heard");
        for (word, time) in [
            (Word::Finish, at("13:10")),
            (Word::Start, at("13:30")),
            (Word::NotDone, at("13:30")),
            (Word::Pause, at("13:30")),
        ] {
            assert_eq!(why(tell(word, time).await), "ALREADY_FINISHED", "{word:?}");
        }
        assert_eq!(house.counts().await, done);
    })
    .await;
}

#[tokio::test]
async fn what_was_not_done_is_open_again_and_tried_again() {
    on_both(async |house: &House| {
        furnish(house).await;
        house.set_clock("2027-04-20T14:00:00Z");
        let tell = async |word, time| report(house, "ash", "j-1", word, time).await;
        tell(Word::Start, at("12:15")).await.expect("begun");
        assert_eq!(job_state(house, "j-1").await, JobState::Running);
        let visit = tell(Word::NotDone, at("12:30")).await.expect("given up");
        assert_eq!(visit.state(), VisitState::NotDone);
        assert_eq!(visit.not_done_reason, "gate locked");
        assert_eq!(job_state(house, "j-1").await, JobState::Open);
        let given_up = house.counts().await;
        for time in [at("12:30"), None] {
            let visit = tell(Word::NotDone, time).await.expect("heard");
            assert_eq!(visit.attempt, 1, "no second attempt");
        }
        assert_eq!(house.counts().await, given_up);
        assert_eq!(why(tell(Word::Finish, at("12:20")).await), "GIVEN_UP");

        // A late arrival is of the first attempt; the next day brings another.
        let visit = tell(Word::Arrive, at("12:10")).await.expect("filled in");
        assert_eq!((visit.attempt, visit.state()), (1, VisitState::NotDone));
        // What a day's plan has is another day's only once that day is over.
        house.set_clock("2027-04-21T14:00:00Z");
        plan_day(house, "2027-04-21").await;
        let next = |time: &str| {
            Some(
                format!("2027-04-21T{time}:00Z")
                    .parse()
                    .expect("an instant"),
            )
        };
        let visit = tell(Word::Start, next("13:00")).await.expect("begun again");
        assert_eq!((visit.attempt, visit.state()), (2, VisitState::Working));
        tell(Word::Finish, next("13:40")).await.expect("done");
        assert_eq!(job_state(house, "j-1").await, JobState::Done);
        assert_eq!(list(house, PLAN).await.len(), 1);
        assert_eq!(
            list(house, "branches/north/plans/2027-04-21-1").await.len(),
            1
        );
    })
    .await;
}

#[tokio::test]
async fn reports_of_others_of_the_future_and_of_tagged_units_are_refused() {
    on_both(async |house: &House| {
        furnish(house).await;
        house.set_clock("2027-04-20T12:30:00Z");
        let before = house.counts().await;
        assert_eq!(
            why(report(house, "birch", "j-1", Word::Depart, at("12:00")).await),
            "NOT_PLANNED"
        );
        assert_eq!(
            why(report(house, "ash", "j-1", Word::Depart, at("12:36")).await),
            "event_time OUT_OF_RANGE"
        );
        assert_eq!(house.counts().await, before);
        report(house, "ash", "j-1", Word::Depart, at("12:35"))
            .await
            .expect("phones differ by five minutes");
        tag_mower(house).await;
        let tagged = house.counts().await;
        assert_eq!(
            why(report(house, "ash", "j-1", Word::Start, at("12:35")).await),
            "UNIT_TAGGED_OUT"
        );
        assert_eq!(house.counts().await, tagged);
        assert_eq!(job_state(house, "j-1").await, JobState::Open);
        report(house, "ash", "j-2", Word::Start, at("12:30"))
            .await
            .expect("the second job does without the mower");
        assert_eq!(
            why(report(house, "birch", "j-2", Word::Finish, at("12:30")).await),
            "OTHER_CREW"
        );
        assert_eq!(
            why(report(house, "birch", "j-2", Word::Start, at("12:30")).await),
            "ALREADY_STARTED"
        );
    })
    .await;
}

/// The first job's mower may go out still, and must not mow.
fn limited() -> v1::TagOutRequest {
    v1::TagOutRequest {
        parent: NORTH.into(),
        tag_out: Some(v1::TagOut {
            unit: format!("{NORTH}/units/m-1"),
            symptom: v1::Symptom::Guard.into(),
            severity: v1::Severity::Reduced.into(),
            forbidden_tasks: vec![v1::TaskKind::Mow.into()],
            found_by: format!("{NORTH}/workers/ada"),
            ..v1::TagOut::default()
        }),
        request_id: String::new(),
    }
}

/// Guards a crew that runs late: by the plan its work with the unit was over when the tag came, and it is not.
#[tokio::test]
async fn late_work_does_not_begin_with_a_limited_unit() {
    on_both(async |house: &House| {
        furnish(house).await;
        house.set_clock("2027-04-20T12:30:00Z");
        let told = tag_outs(house).tag_out(limited()).await.expect("tagged");
        assert_eq!(told.into_inner().affected_plans, [PLAN]);
        let tagged = house.counts().await;
        let refused = report(house, "ash", "j-1", Word::Start, at("12:30")).await;
        assert_eq!(why(refused.clone()), "UNIT_LIMITED");
        // The plan alone has it over by now.
        let told = refused.expect_err("refused");
        assert!(told.message().contains("report the arrival"), "{told:?}");
        assert_eq!(house.counts().await, tagged);
        report(house, "ash", "j-2", Word::Start, at("12:30"))
            .await
            .expect("the second job does without the mower");
    })
    .await;
}

/// Guards a crew whose telephone was out of reach: its work had begun when the unit was limited, and is told after it.
#[tokio::test]
async fn work_that_began_before_a_limit_is_told_after_it() {
    on_both(async |house: &House| {
        furnish(house).await;
        house.set_clock("2027-04-20T12:30:00Z");
        tag_outs(house).tag_out(limited()).await.expect("tagged");
        house.set_clock("2027-04-20T12:35:00Z");
        assert_eq!(
            why(report(house, "ash", "j-1", Word::Start, at("12:31")).await),
            "UNIT_LIMITED"
        );
        report(house, "ash", "j-1", Word::Start, at("12:15"))
            .await
            .expect("begun before the tag");
        assert_eq!(job_state(house, "j-1").await, JobState::Running);
        report(house, "ash", "j-1", Word::Finish, at("12:34"))
            .await
            .expect("done");
        assert_eq!(job_state(house, "j-1").await, JobState::Done);
    })
    .await;
}

/// Guards the same where the unit must not go out at all; what began as the tag came, by clocks that differ, counts as after it.
#[tokio::test]
async fn work_that_was_over_before_a_tag_is_told_after_it() {
    on_both(async |house: &House| {
        furnish(house).await;
        house.set_clock("2027-04-20T12:30:00Z");
        tag_mower(house).await;
        house.set_clock("2027-04-20T12:35:00Z");
        let tagged = house.counts().await;
        for late in ["12:31", "12:30", "12:29"] {
            let told = report(house, "ash", "j-1", Word::Start, at(late)).await;
            assert_eq!(why(told), "UNIT_TAGGED_OUT", "{late}");
        }
        assert_eq!(house.counts().await, tagged);
        report(house, "ash", "j-1", Word::Start, at("12:10"))
            .await
            .expect("begun before the tag");
        report(house, "ash", "j-1", Word::Finish, at("12:25"))
            .await
            .expect("done before the tag");
        assert_eq!(job_state(house, "j-1").await, JobState::Done);
    })
    .await;
}

#[tokio::test]
async fn a_load_says_what_is_missing() {
    on_both(async |house: &House| {
        furnish(house).await;
        let load = |crew: &str, missing: &[&str]| v1::ConfirmLoadRequest {
            plan: PLAN.into(),
            crew: format!("{NORTH}/crews/{crew}"),
            missing_units: missing
                .iter()
                .map(|unit| format!("{NORTH}/units/{unit}"))
                .collect(),
            load_time: at("11:40"),
            request_id: String::new(),
        };
        let send = async |request: v1::ConfirmLoadRequest| {
            visits(house)
                .confirm_load(request)
                .await
                .map(|answer| answer.into_inner().wants_replan)
        };
        assert!(!send(load("ash", &[])).await.expect("loaded"));
        let once = house.counts().await;
        assert!(!send(load("ash", &[])).await.expect("heard"));
        assert_eq!(house.counts().await, once);
        assert!(send(load("ash", &["m-1"])).await.expect("corrected"));
        assert_eq!(
            why(send(load("birch", &["m-1"])).await),
            "missing_units[0] UNKNOWN_REFERENCE"
        );
        tag_mower(house).await;
        let now = v1::ConfirmLoadRequest {
            load_time: None,
            ..load("ash", &[])
        };
        assert_eq!(why(send(now).await), "UNIT_TAGGED_OUT");
        // It was loaded before the tag.
        assert!(send(load("ash", &[])).await.expect("told late"));
    })
    .await;
}

#[tokio::test]
async fn walks_are_kept_one_before_and_one_after() {
    on_both(async |house: &House| {
        furnish(house).await;
        house.set_clock("2027-04-20T14:00:00Z");
        let send = async |request: v1::RecordWalkthroughRequest| {
            visits(house)
                .record_walkthrough(request)
                .await
                .map(|answer| answer.into_inner().visit.expect("a visit"))
        };
        let met = walkthrough(v1::WalkthroughOutcome::Met, true);
        assert_eq!(why(send(met.clone()).await), "NOT_ARRIVED");
        report(house, "ash", "j-1", Word::Arrive, at("12:05"))
            .await
            .expect("there");
        let visit = send(met.clone()).await.expect("recorded");
        assert_eq!(visit.walkthroughs.len(), 1);
        let once = house.counts().await;
        send(met.clone()).await.expect("heard");
        assert_eq!(house.counts().await, once);
        assert_eq!(
            why(send(walkthrough(v1::WalkthroughOutcome::NotHome, false)).await),
            "walkthrough.photos REQUIRED"
        );
        let visit = send(walkthrough(v1::WalkthroughOutcome::CrewOnly, false))
            .await
            .expect("recorded");
        assert_eq!(visit.walkthroughs.len(), 2);
        assert!(visit.walkthroughs[0].before_work);
        let faults: [(Fault, &str); 6] = [
            (|request| request.walkthrough = None, "walkthrough REQUIRED"),
            (
                |request| walk_of(request).outcome = 0,
                "walkthrough.outcome REQUIRED",
            ),
            (
                |request| walk_of(request).note = "n".repeat(2_001),
                "walkthrough.note TOO_LONG",
            ),
            (
                |request| walk_of(request).walk_time = at("14:06"),
                "walkthrough.walk_time OUT_OF_RANGE",
            ),
            (
                |request| walk_of(request).photos = vec!["ABC".into()],
                "walkthrough.photos[0] MALFORMED",
            ),
            (
                |request| walk_of(request).photos = vec!["a".repeat(64)],
                "walkthrough.photos[0] UNKNOWN_REFERENCE",
            ),
        ];
        let before = house.counts().await;
        for (fault, blamed) in faults {
            let mut request = met.clone();
            fault(&mut request);
            assert_eq!(why(send(request).await), blamed);
        }
        assert_eq!(house.counts().await, before);
    })
    .await;
}

/// Guards reports that arrive out of order: what was told of the later time holds, whichever comes first, and a late report of
/// before is heard, writes nothing and tells nobody.
#[tokio::test]
async fn loads_and_walks_hold_as_of_the_later_time_whichever_arrives_first() {
    on_both(async |house: &House| {
        furnish(house).await;
        house.set_clock("2027-04-20T14:00:00Z");
        let mut known = Vec::new();
        for (turn, job) in [[0, 1], [1, 0]].into_iter().zip(["j-1", "j-2"]) {
            report(house, "ash", job, Word::Arrive, at("12:05"))
                .await
                .expect("there");
            let mut later = walkthrough(v1::WalkthroughOutcome::Met, true);
            let mut earlier = walkthrough(v1::WalkthroughOutcome::CrewOnly, true);
            for request in [&mut later, &mut earlier] {
                request.job = job_name(job);
            }
            walk_of(&mut later).walk_time = at("12:12");
            walk_of(&mut earlier).walk_time = at("12:11");
            walk_of(&mut earlier).note = "nobody there yet".into();
            let walks = [later, earlier];
            for which in turn {
                let answer = visits(house)
                    .record_walkthrough(walks[which].clone())
                    .await
                    .expect("heard");
                known.push(answer.into_inner().visit.expect("a visit").walkthroughs);
            }
        }
        assert_eq!(known[0], known[1], "the late report changed the walk");
        assert_eq!(known[1], known[3], "the order of arrival tells");
        assert_eq!(known[3][0].note, "tall by the fence");

        let load = |time: &str, missing: &[&str]| v1::ConfirmLoadRequest {
            plan: PLAN.into(),
            crew: ASH.into(),
            missing_units: missing
                .iter()
                .map(|unit| format!("{NORTH}/units/{unit}"))
                .collect(),
            load_time: at(time),
            request_id: String::new(),
        };
        // Each pair as it was, then the other way round.
        let in_order = [load("11:35", &["m-1"]), load("11:40", &[])];
        let late = [load("11:50", &["m-1"]), load("11:45", &[])];
        let mut wants = Vec::new();
        for (pair, written) in [(in_order, true), (late, false)] {
            let mut before = house.counts().await;
            for (number, request) in pair.into_iter().enumerate() {
                let answer = visits(house).confirm_load(request).await.expect("heard");
                let after = house.counts().await;
                assert_eq!(after != before, number == 0 || written, "{number}");
                before = after;
                wants.push(answer.into_inner().wants_replan);
            }
        }
        assert_eq!(wants, [true, false, true, true]);
        // What came late of before is no reason to refuse either.
        tag_mower(house).await;
        let tagged = house.counts().await;
        let answer = visits(house).confirm_load(load("11:45", &[])).await;
        assert!(answer.expect("heard").into_inner().wants_replan);
        assert_eq!(house.counts().await, tagged);
    })
    .await;
}

/// Giving up on another day is another attempt, however alike the words; and one by another day's plan counts for that day.
#[tokio::test]
async fn giving_up_is_of_the_day_on_which_it_is_told() {
    on_both(async |house: &House| {
        furnish(house).await;
        house.set_clock("2027-04-20T14:00:00Z");
        report(house, "ash", "j-1", Word::NotDone, None)
            .await
            .expect("given up");
        // On its way for the second job in the evening, and there the next morning.
        report(house, "ash", "j-2", Word::Depart, None)
            .await
            .expect("on the way");
        // What a day's plan has is another day's only once that day is over.
        house.set_clock("2027-04-21T14:00:00Z");
        plan_day(house, "2027-04-21").await;
        for (job, attempt) in [("j-1", 2), ("j-2", 1)] {
            let visit = report(house, "ash", job, Word::NotDone, None)
                .await
                .expect("given up");
            assert_eq!(visit.attempt, attempt, "{job}");
        }
        let next = list(house, "branches/north/plans/2027-04-21-1").await;
        assert_eq!(next.len(), 2, "{next:?}");
    })
    .await;
}

/// A crew that has walked the site is sent elsewhere before it begins: what it saw stays with the visit of the crew that comes.
#[tokio::test]
async fn a_walk_outlasts_the_crew_that_is_sent_elsewhere() {
    on_both(async |house: &House| {
        furnish(house).await;
        house.set_clock("2027-04-20T14:00:00Z");
        report(house, "ash", "j-1", Word::Arrive, at("12:05"))
            .await
            .expect("there");
        visits(house)
            .record_walkthrough(walkthrough(v1::WalkthroughOutcome::Met, true))
            .await
            .expect("recorded");
        let mut plan = rows::plan("2027-04-20");
        let second = "2027-04-20-2";
        plan.id = Set(second.to_owned());
        plan.day_revision = Set(2);
        // Crews are at work: it goes on from the plan before, and knows of all that was told.
        plan.base_plan_id = Set(Some("2027-04-20-1".to_owned()));
        plan.proposal = Set(Some(ProposalFacts {
            read_at: Some(1_000),
            ..ProposalFacts::default()
        }));
        rows::store(house, plan).await;
        rows::store(house, rows::crew_day(second, "birch")).await;
        rows::store(house, rows::stop(second, "birch", "j-1", "mill")).await;
        let publish = v1::PublishPlanRequest {
            name: format!("{NORTH}/plans/{second}"),
            ..Default::default()
        };
        plans(house).publish_plan(publish).await.expect("published");
        let visit = report(house, "birch", "j-1", Word::Depart, at("13:00"))
            .await
            .expect("on the way");
        assert_eq!(visit.crew, "branches/north/crews/birch");
        assert_eq!(visit.walkthroughs.len(), 1, "the walk is gone");
        assert_eq!(visit.walkthroughs[0].note, "tall by the fence");
    })
    .await;
}

fn walk_of(request: &mut v1::RecordWalkthroughRequest) -> &mut v1::Walkthrough {
    request.walkthrough.as_mut().expect("a walk")
}

/// All orders in which six true reports of one visit can arrive, each sent until it is heard, come to the same visit.
#[tokio::test]
async fn any_order_of_arrival_comes_to_the_same_visit() {
    let house = House::on_sqlite().await;
    furnish(&house).await;
    house.set_clock("2027-04-20T14:00:00Z");
    let truth = [
        (Word::Depart, "12:00"),
        (Word::Arrive, "12:08"),
        (Word::Start, "12:15"),
        (Word::Pause, "12:30"),
        (Word::Resume, "12:50"),
        (Word::Finish, "13:20"),
    ];
    let mut seen = Vec::new();
    for (turn, job) in JOBS.into_iter().enumerate() {
        let crew = if job == "j-3" { "birch" } else { "ash" };
        let mut waiting = truth.to_vec();
        // Three orders that differ: as it was, backwards, and from the middle.
        match turn {
            1 => waiting.reverse(),
            2 => waiting.rotate_left(3),
            _ => {}
        }
        for _ in 0..truth.len() {
            let mut refused = Vec::new();
            for (word, time) in waiting {
                if report(&house, crew, job, word, at(time)).await.is_err() {
                    refused.push((word, time));
                }
            }
            waiting = refused;
        }
        assert!(waiting.is_empty(), "never heard: {waiting:?}");
        let mut visit = list(&house, PLAN)
            .await
            .into_iter()
            .find(|visit| visit.job == job_name(job))
            .expect("a visit");
        visit.job.clear();
        visit.crew.clear();
        seen.push(visit);
    }
    assert_eq!(seen[0], seen[1]);
    assert_eq!(seen[0], seen[2]);
    assert_eq!(seen[0].paused.map(|paused| paused.seconds), Some(20 * 60));
}
