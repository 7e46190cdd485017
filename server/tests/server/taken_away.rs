//! Goal: work that a plan takes from a crew, or that is called off, leaves no visit open, and what was done by then can be told.
//! Method: a crew begins a job, a second plan gives the rest to another crew or leaves it, and reports come late.

use forenoon_proto::v1;
use forenoon_proto::v1::VisitState;
use forenoon_proto::v1::bench_service_client::BenchServiceClient;
use forenoon_server::work::bench::settle;
use forenoon_store::entity::job;
use forenoon_store::sea_orm::{
    ActiveModelTrait, DatabaseTransaction, EntityTrait, IntoActiveModel, Set,
};
use forenoon_store::value::{Continued, JobState, ProposalFacts, TaskKind, TaskLeft};
use forenoon_store::{StoreError, Write};
use prost_types::{Duration, Timestamp};
use tonic::Status;

use crate::booking::job_client;
use crate::house::{House, on_both};
use crate::motion::{
    PLAN, Word, at, furnish, job_name, job_state, kinds_after, plans, report, tag_mower, visits,
    why,
};
use crate::rows;
use crate::yard::NORTH;

/// Publishes the day's next plan after the first, in which the first job is the given crew's, or nobody's.
async fn publish_next(house: &House, revision: i32, first_job: Option<&str>) {
    let read_at = house.events().await.last().expect("an event").seq;
    let id = format!("2027-04-20-{revision}");
    let id = id.as_str();
    let mut plan = rows::plan("2027-04-20");
    plan.id = Set(id.to_owned());
    plan.day_revision = Set(revision);
    plan.base_plan_id = Set(Some(format!("2027-04-20-{}", revision - 1)));
    plan.proposal = Set(Some(ProposalFacts {
        continued: vec![Continued {
            job_id: "j-1".into(),
            crew_id: "ash".into(),
            tasks: vec![TaskLeft {
                task_id: "mow".into(),
                permille: 400,
            }],
        }],
        read_at: Some(read_at),
        ..ProposalFacts::default()
    }));
    rows::store(house, plan).await;
    for crew in ["ash", "birch"] {
        rows::store(house, rows::crew_day(id, crew)).await;
    }
    if let Some(crew) = first_job {
        let mut stop = rows::stop(id, crew, "j-1", "mill");
        stop.position = Set(1);
        rows::store(house, stop).await;
    }
    rows::store(house, rows::stop(id, "ash", "j-2", "mill")).await;
    rows::store(house, rows::stop(id, "birch", "j-3", "mill")).await;
    let accept = v1::AcceptProposalRequest {
        name: format!("{NORTH}/plans/{id}"),
        ..Default::default()
    };
    plans(house)
        .accept_proposal(accept)
        .await
        .expect("accepted");
}

/// The crew has begun the first job, and the plan takes it away at ten past one.
async fn taken_away(house: &House, to: Option<&str>) {
    furnish(house).await;
    house.set_clock("2027-04-20T13:10:00Z");
    report(house, "ash", "j-1", Word::Start, at("12:15"))
        .await
        .expect("begun");
    publish_next(house, 2, to).await;
    house.set_clock("2027-04-20T13:20:00Z");
}

async fn of_day(house: &House) -> Vec<v1::Visit> {
    let request = v1::ListVisitsRequest { plan: PLAN.into() };
    let answer = visits(house).list_visits(request).await.expect("a list");
    answer.into_inner().visits
}

#[track_caller]
fn words(outcome: Result<v1::Visit, Status>) -> String {
    outcome.expect_err("refused").message().to_owned()
}

/// Guards work that was done out of reach of a network just before a plan gave it to another crew.
#[tokio::test]
async fn what_was_done_before_it_was_handed_over_is_done() {
    on_both(async |house: &House| {
        taken_away(house, Some("birch")).await;
        assert_eq!(job_state(house, "j-1").await, JobState::Open);
        let finish = async |time| report(house, "ash", "j-1", Word::Finish, time).await;
        let before = house.counts().await;
        for too_late in [None, at("13:15")] {
            let refused = finish(too_late).await;
            assert_eq!(why(refused.clone()), "GIVEN_UP");
            let told = words(refused);
            assert!(
                told.contains("handed over to birch by plan 2027-04-20-2"),
                "{told}"
            );
        }
        // That it is not done is known.
        let visit = report(house, "ash", "j-1", Word::NotDone, at("13:05"))
            .await
            .expect("heard");
        assert!(visit.not_done_reason.contains("handed over"), "{visit:?}");
        assert_eq!(house.counts().await, before);

        let visit = finish(at("13:05")).await.expect("done");
        assert_eq!((visit.state(), visit.attempt), (VisitState::Done, 1));
        assert_eq!(visit.finish_time, at("13:05"));
        assert_eq!(visit.not_done_reason, "");
        assert_eq!(job_state(house, "j-1").await, JobState::Done);
        let done = house.counts().await;
        finish(at("13:05")).await.expect("heard");
        assert_eq!(house.counts().await, done);
        let other = report(house, "birch", "j-1", Word::Start, at("13:18")).await;
        assert_eq!(why(other), "ALREADY_STARTED");
    })
    .await;
}

/// Guards the crew that took the rest over: once it has begun, the first crew hears so.
#[tokio::test]
async fn a_late_end_does_not_undo_what_another_crew_has_begun() {
    on_both(async |house: &House| {
        taken_away(house, Some("birch")).await;
        report(house, "birch", "j-1", Word::Start, at("13:15"))
            .await
            .expect("begun");
        let before = house.counts().await;
        let late = report(house, "ash", "j-1", Word::Finish, at("13:05")).await;
        assert_eq!(why(late.clone()), "OTHER_CREW");
        let told = words(late);
        assert!(
            told.contains("handed over to birch") && told.contains("birch has begun it"),
            "{told}"
        );
        assert_eq!(house.counts().await, before);
    })
    .await;
}

/// Guards work that was done before it was handed over, and is told when the other crew is on its way: it is done, and the other
/// crew hears so.
#[tokio::test]
async fn a_late_end_counts_until_another_crew_has_begun() {
    on_both(async |house: &House| {
        taken_away(house, Some("birch")).await;
        report(house, "birch", "j-1", Word::Depart, at("13:15"))
            .await
            .expect("on its way");
        let before = house.counts().await;
        for too_late in [None, at("13:11")] {
            let refused = report(house, "ash", "j-1", Word::Finish, too_late).await;
            assert_eq!(why(refused), "OTHER_CREW");
        }
        assert_eq!(house.counts().await, before);
        done_before_birch_came(house, "13:05").await;
    })
    .await;
}

/// Ash tells when the first job was done, which birch is on its way for.
async fn done_before_birch_came(house: &House, time: &str) {
    let before = house.events().await.len();
    let finish = async || report(house, "ash", "j-1", Word::Finish, at(time)).await;
    let visit = finish().await.expect("done");
    assert_eq!((visit.state(), visit.attempt), (VisitState::Done, 2));
    assert_eq!(visit.finish_time, at(time));
    assert_eq!(job_state(house, "j-1").await, JobState::Done);
    assert_eq!(
        kinds_after(house, before).await,
        ["visit.not_done", "visit.finished"]
    );
    let once = house.counts().await;
    assert_eq!(finish().await.expect("heard"), visit);
    assert_eq!(house.counts().await, once);
    let mut told = of_day(house).await;
    told.retain(|visit| visit.job == job_name("j-1"));
    told.sort_by_key(|visit| visit.attempt);
    let [of_birch, of_ash] = <[_; 2]>::try_from(told).expect("two visits");
    assert_eq!(of_ash, visit);
    assert_eq!(of_birch.state(), VisitState::NotDone);
    assert!(
        of_birch
            .not_done_reason
            .starts_with("ash had done it before"),
        "{of_birch:?}"
    );
    for word in [Word::Arrive, Word::Start] {
        let comes = report(house, "birch", "j-1", word, None).await;
        let expected = match word {
            Word::Start => "ALREADY_STARTED",
            _ => "OTHER_CREW",
        };
        assert_eq!(why(comes), expected);
    }
}

/// Guards the same where nothing at all was told when the plan gave the job away: the start is taken as if it had been told in
/// time, and the crew that has the job now goes on its way until the end is told.
#[tokio::test]
async fn work_of_which_nothing_was_told_is_told_after_it_was_given_away() {
    on_both(async |house: &House| {
        furnish(house).await;
        house.set_clock("2027-04-20T13:00:00Z");
        publish_next(house, 2, Some("birch")).await;
        house.set_clock("2027-04-20T13:20:00Z");
        report(house, "birch", "j-1", Word::Depart, at("13:02"))
            .await
            .expect("on its way");
        let before = house.counts().await;
        for late in [None, at("13:10"), at("13:00")] {
            let refused = report(house, "ash", "j-1", Word::Start, late).await;
            assert_eq!(why(refused), "NOT_PLANNED");
        }
        assert_eq!(house.counts().await, before);
        let events = house.events().await.len();
        let begun = report(house, "ash", "j-1", Word::Start, at("12:15"))
            .await
            .expect("heard");
        assert_eq!((begun.state(), begun.attempt), (VisitState::NotDone, 1));
        assert_eq!(begun.finish_time, at("13:00"));
        assert_eq!(
            begun.not_done_reason,
            "handed over to birch by plan 2027-04-20-2"
        );
        assert_eq!(job_state(house, "j-1").await, JobState::Open);
        assert_eq!(
            kinds_after(house, events).await,
            ["visit.started", "visit.departed"]
        );
        let mut told = of_day(house).await;
        told.retain(|visit| visit.state() == VisitState::UnderWay);
        let [of_birch] = <[_; 1]>::try_from(told).expect("one on its way");
        assert_eq!((of_birch.attempt, of_birch.depart_time), (2, at("13:02")));
        done_before_birch_came(house, "12:50").await;
    })
    .await;
}

/// Guards the same against tags and against who has begun.
#[tokio::test]
async fn what_was_not_right_or_is_begun_by_another_is_not_told_so() {
    on_both(async |house: &House| {
        furnish(house).await;
        house.set_clock("2027-04-20T12:10:00Z");
        tag_mower(house).await;
        house.set_clock("2027-04-20T13:00:00Z");
        publish_next(house, 2, Some("birch")).await;
        house.set_clock("2027-04-20T13:20:00Z");
        let start = async |time| report(house, "ash", "j-1", Word::Start, at(time)).await;
        let before = house.counts().await;
        assert_eq!(why(start("12:15").await), "UNIT_TAGGED_OUT");
        assert_eq!(house.counts().await, before);
        report(house, "birch", "j-1", Word::Start, at("13:15"))
            .await
            .expect("begun");
        assert_eq!(why(start("12:05").await), "ALREADY_STARTED");
    })
    .await;
}

/// Guards a job that was broken off and that the accepted way on leaves for another day: nobody is at it any more.
#[tokio::test]
async fn what_a_plan_leaves_half_done_is_open_again() {
    on_both(async |house: &House| {
        taken_away(house, None).await;
        assert_eq!(job_state(house, "j-1").await, JobState::Open);
        let [visit] = of_day(house).await.try_into().expect("one visit");
        assert_eq!(visit.state(), VisitState::NotDone);
        assert_eq!(visit.finish_time, at("13:10"));
        let told = "broken off and left for another day by plan 2027-04-20-2";
        assert!(visit.not_done_reason.starts_with(told), "{visit:?}");
        let events = house.events().await;
        let ended = events.iter().filter(|event| event.kind == "visit.not_done");
        assert_eq!(ended.count(), 1);

        report(house, "ash", "j-1", Word::Finish, at("13:05"))
            .await
            .expect("it was done after all");
        assert_eq!(job_state(house, "j-1").await, JobState::Done);
    })
    .await;
}

/// Guards visits to jobs that are called off while a crew is on its way: they are over, and say why.
#[tokio::test]
async fn who_is_on_the_way_to_a_job_called_off_does_not_come() {
    on_both(async |house: &House| {
        furnish(house).await;
        house.set_clock("2027-04-20T14:00:00Z");
        report(house, "ash", "j-1", Word::Depart, at("12:00"))
            .await
            .expect("on the way");
        let request = v1::CancelJobRequest {
            name: job_name("j-1"),
            reason: "sold".into(),
            ..Default::default()
        };
        job_client(house).cancel_job(request).await.expect("off");
        let [visit] = of_day(house).await.try_into().expect("one visit");
        assert_eq!(visit.state(), VisitState::NotDone);
        assert_eq!(visit.not_done_reason, "called off: sold");
        assert_eq!(visit.finish_time, at("14:00"));
    })
    .await;
}

/// Guards hours of machines at jobs that were given up half-way.
#[tokio::test]
async fn what_was_worked_before_giving_up_can_be_told() {
    on_both(async |house: &House| {
        furnish(house).await;
        house.set_clock("2027-04-20T14:00:00Z");
        report(house, "ash", "j-1", Word::Start, at("12:15"))
            .await
            .expect("begun");
        let unknown = visits(house)
            .report_not_done(mown("prune", at("12:45"), 1_500))
            .await;
        assert_eq!(why(unknown), "task_actuals[0].task_id UNKNOWN_REFERENCE");
        let mut request = mown("mow", at("12:45"), 1_500);
        let unit = request.task_actuals[0].units[0].clone();
        request.task_actuals[0].units.push(unit);
        let twice = visits(house).report_not_done(request.clone()).await;
        assert_eq!(why(twice), "task_actuals[0].units[1] DUPLICATE");
        request.task_actuals[0].units.pop();
        let answer = visits(house).report_not_done(request.clone()).await;
        let visit = answer.expect("heard").into_inner().visit.expect("a visit");
        assert_eq!(visit.state(), VisitState::NotDone);
        assert_eq!(visit.task_actuals, request.task_actuals);
        let once = house.counts().await;
        visits(house).report_not_done(request).await.expect("heard");
        assert_eq!(house.counts().await, once);
        // Told once more without a time and with other figures, it is not taken for the same.
        let other = visits(house).report_not_done(mown("mow", None, 600)).await;
        assert_eq!(why(other), "GIVEN_UP");
        assert_eq!(house.counts().await, once);
    })
    .await;
}

/// Guards the same at a job that a plan took away: what was worked by then counts once, and the plan's reason stays.
#[tokio::test]
async fn what_was_worked_before_it_was_handed_over_can_be_told() {
    on_both(async |house: &House| {
        taken_away(house, Some("birch")).await;
        let told = async |request| visits(house).report_not_done(request).await;
        let unknown = told(mown("prune", at("13:05"), 1_500)).await;
        assert_eq!(why(unknown), "task_actuals[0].task_id UNKNOWN_REFERENCE");
        let request = mown("mow", at("13:05"), 1_500);
        let visit = told(request.clone()).await.expect("heard").into_inner();
        let visit = visit.visit.expect("a visit");
        assert_eq!(visit.task_actuals, request.task_actuals);
        assert!(visit.not_done_reason.contains("handed over"), "{visit:?}");
        assert_eq!(visit.finish_time, at("13:10"));
        let once = house.counts().await;
        told(request).await.expect("heard");
        assert_eq!(house.counts().await, once);
        let other = told(mown("mow", at("13:05"), 600)).await;
        assert_eq!(why(other), "GIVEN_UP");
        assert_eq!(house.counts().await, once);
    })
    .await;
}

/// Guards hours of machines that were summed meanwhile: what was told with the giving up and is told again with the end counts
/// once, and of other figures the difference.
#[tokio::test]
async fn what_was_worked_and_is_told_again_with_the_end_counts_once() {
    on_both(async |house: &House| {
        taken_away(house, Some("birch")).await;
        let new = life_hours(house).await;
        let request = mown("mow", at("13:05"), 1_500);
        let told = visits(house).report_not_done(request.clone()).await;
        told.expect("heard");
        let once = life_hours(house).await - new;
        let later = "2027-04-24T11:00:00Z";
        house.set_clock(later);
        let now = later.parse().expect("an instant");
        let settled = settle(&house.database, "north", now).await;
        settled.expect("settled");
        same_hours(life_hours(house).await - new, once);
        let mut task_actuals = request.task_actuals;
        task_actuals[0].duration = Some(Duration {
            seconds: 3_000,
            nanos: 0,
        });
        let request = v1::FinishJobRequest {
            job: job_name("j-1"),
            crew: format!("{NORTH}/crews/ash"),
            finish_time: at("13:05"),
            task_actuals,
            ..Default::default()
        };
        visits(house).finish_job(request).await.expect("done");
        same_hours(life_hours(house).await - new, 2.0 * once);
    })
    .await;
}

#[track_caller]
fn same_hours(hours: f64, expected: f64) {
    assert!(expected > 0.1, "{expected}");
    assert!((hours - expected).abs() < 1e-9, "{hours}, not {expected}");
}

/// Effective hours of the mower.
async fn life_hours(house: &House) -> f64 {
    let unit = format!("{NORTH}/units/m-1");
    let request = v1::GetUnitHistoryRequest { unit };
    let mut bench = BenchServiceClient::new(house.channel());
    let told = bench.get_unit_history(request).await;
    told.expect("a history").into_inner().effective_hours
}

/// Guards a job that comes back to the crew from which it was taken: it is this day's, and not planned for the next.
#[tokio::test]
async fn what_was_handed_back_is_not_planned_for_another_day() {
    on_both(async |house: &House| {
        taken_away(house, Some("birch")).await;
        publish_next(house, 3, Some("ash")).await;
        let next = "2027-04-21-1";
        rows::store(house, rows::plan("2027-04-21")).await;
        rows::store(house, rows::crew_day(next, "birch")).await;
        rows::store(house, rows::stop(next, "birch", "j-1", "mill")).await;
        let request = v1::PublishPlanRequest {
            name: format!("{NORTH}/plans/{next}"),
            ..Default::default()
        };
        let refused = plans(house).publish_plan(request).await;
        let refused = refused.expect_err("it is today's");
        assert_eq!(crate::house::reason(&refused).1, "DAY_CHANGED");
        assert!(refused.message().contains(&job_name("j-1")), "{refused:?}");
    })
    .await;
}

/// Ash says of the first job that it is not done, and for how long it was worked at.
fn mown(task: &str, time: Option<Timestamp>, seconds: i64) -> v1::ReportNotDoneRequest {
    v1::ReportNotDoneRequest {
        job: job_name("j-1"),
        crew: format!("{NORTH}/crews/ash"),
        event_time: time,
        request_id: String::new(),
        reason: "thunder".into(),
        task_actuals: vec![v1::TaskActual {
            task_id: task.into(),
            duration: Some(Duration { seconds, nanos: 0 }),
            units: vec![format!("{NORTH}/units/m-1")],
        }],
    }
}

/// Makes of every job a walk, which wants no tool.
struct OnFoot;

impl Write for OnFoot {
    type Output = ();
    type Error = StoreError;

    async fn run(&self, transaction: &DatabaseTransaction) -> Result<(), StoreError> {
        for job in job::Entity::find().all(transaction).await? {
            let mut tasks = job.tasks.clone();
            for task in &mut tasks.0 {
                task.kind = TaskKind::WalkBefore;
                task.area_id = None;
            }
            let mut row = job.into_active_model();
            row.tasks = Set(tasks);
            row.update(transaction).await?;
        }
        Ok(())
    }
}

/// Does a job in so many seconds, beginning at a quarter past one.
async fn done_in(house: &House, crew: &str, job: &str, seconds: i64) {
    report(house, crew, job, Word::Start, at("13:15"))
        .await
        .expect("begun");
    let request = v1::FinishJobRequest {
        job: job_name(job),
        crew: format!("{NORTH}/crews/{crew}"),
        finish_time: at("13:18"),
        task_actuals: vec![v1::TaskActual {
            task_id: "mow".into(),
            duration: Some(Duration { seconds, nanos: 0 }),
            units: vec![],
        }],
        ..Default::default()
    };
    visits(house).finish_job(request).await.expect("done");
}

async fn estimate(house: &House) -> v1::Estimate {
    let request = v1::EstimateJobRequest {
        parent: NORTH.into(),
        job: Some(v1::Job {
            name: job_name("j-3"),
            ..Default::default()
        }),
        ..Default::default()
    };
    let answer = job_client(house).estimate_job(request).await;
    let estimate = answer.expect("an estimate").into_inner().estimate;
    estimate.expect("an estimate")
}

/// Guards rates against rests: what a second crew took for what was left says nothing of how long all of it takes.
#[tokio::test]
async fn the_rest_of_a_job_teaches_nothing_of_all_of_it() {
    on_both(async |house: &House| {
        taken_away(house, Some("birch")).await;
        let written = house.database.write("north", &OnFoot).await;
        written.expect("written");
        house.set_clock("2027-04-21T11:00:00Z");
        let before = estimate(house).await;
        done_in(house, "birch", "j-1", 90).await;
        assert_eq!(estimate(house).await, before);
        done_in(house, "ash", "j-2", 90).await;
        assert_ne!(estimate(house).await, before);
    })
    .await;
}

/// Guards the same where the crew that gave a job up finishes it by the same plan.
#[tokio::test]
async fn the_rest_of_a_job_given_up_teaches_nothing_of_all_of_it() {
    on_both(async |house: &House| {
        furnish(house).await;
        house.set_clock("2027-04-20T13:10:00Z");
        for (word, time) in [(Word::Start, "12:15"), (Word::NotDone, "12:45")] {
            report(house, "ash", "j-1", word, at(time))
                .await
                .expect("heard");
        }
        let written = house.database.write("north", &OnFoot).await;
        written.expect("written");
        house.set_clock("2027-04-21T11:00:00Z");
        let before = estimate(house).await;
        done_in(house, "ash", "j-1", 90).await;
        assert_eq!(estimate(house).await, before);
        done_in(house, "ash", "j-2", 90).await;
        assert_ne!(estimate(house).await, before);
    })
    .await;
}
