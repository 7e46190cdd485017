//! Goal: a crew does not drive with a truck or trailer that is tagged out, takes nothing tagged out of the yard, and does not go
//! on with a tagged unit; where it stands it works on, and what was so before the tag is told after it.

use forenoon_proto::v1;
use prost_types::Timestamp;
use tonic::{Code, Status};

use crate::actors::{Api, asking};
use crate::house::{House, on_both, reason};
use crate::mowing_yard::{BRANCH, add_trailers, first_day, furnish, name};
use crate::tagged_units::breaches;

/// An instant of the day, in UTC. Crews begin at twelve.
#[expect(clippy::unnecessary_wraps, reason = "a field of a message")]
fn at(time: &str) -> Option<Timestamp> {
    Some(
        format!("2027-04-20T{time}:00Z")
            .parse()
            .expect("an instant"),
    )
}

fn set_clock(house: &House, time: &str) {
    house.set_clock(&format!("2027-04-20T{time}:00Z"));
}

/// The published plan's crew with the most stops.
struct Busy {
    /// Its resource name.
    crew: String,
    id: String,
    /// Its jobs, in order.
    jobs: Vec<String>,
    day: v1::CrewDay,
    plan: String,
}

fn busiest(plan: &v1::Plan) -> Busy {
    let day = plan.crew_days.iter().max_by_key(|day| day.stops.len());
    let day = day.expect("a crew").clone();
    assert!(day.stops.len() > 1, "{day:?}");
    Busy {
        crew: day.crew.clone(),
        id: day.crew.rsplit('/').next().expect("an id").to_owned(),
        jobs: day.stops.iter().map(|stop| stop.job.clone()).collect(),
        day,
        plan: plan.name.clone(),
    }
}

/// The yard with trailers on a published day.
async fn published(house: &House) -> (Api, Busy) {
    furnish(&house.database, &[]).await;
    add_trailers(&house.database).await;
    let mut api = Api::of(house);
    let plan = api.plan(first_day(), 300).await.expect("a plan");
    api.publish(plan.name.clone()).await.expect("published");
    (api, busiest(&plan))
}

/// The first proposal's plan, accepted.
async fn replanned(api: &mut Api) -> v1::Plan {
    let proposals = api.propose(first_day(), 100).await.expect("proposals");
    let best = proposals[0].plan.clone().expect("its plan");
    api.accept(best.name).await.expect("accepted")
}

#[track_caller]
fn refused(outcome: Result<(), Status>, kind: &str, words: &str) {
    let status = outcome.expect_err("refused");
    let expected = (Code::FailedPrecondition, kind.to_owned());
    assert_eq!(reason(&status), expected, "{status:?}");
    assert!(status.message().contains(words), "{status:?}");
}

/// Guards a truck that breaks in the morning: its crew reports no step that has it drive, and what it told late happened. Where
/// the crew stands it works, and then it is stuck.
#[tokio::test]
async fn a_crew_does_not_drive_with_a_tagged_truck() {
    on_both(async |house| {
        let (mut api, Busy { crew, id, jobs, .. }) = published(house).await;
        let (first, second) = (&jobs[0], &jobs[1]);
        set_clock(house, "12:30");
        api.tag(&format!("truck-{id}")).await.expect("tagged");
        set_clock(house, "12:35");
        let before = house.counts().await;
        for time in [None, at("12:32"), at("12:30")] {
            let told = api.depart(first, &crew, time).await;
            refused(told, "UNIT_TAGGED_OUT", "say in the report when");
            let told = api.arrive(first, &crew, time).await;
            refused(told, "UNIT_TAGGED_OUT", "report that departure first");
            let told = api.start_at(first, &crew, time).await;
            refused(told, "UNIT_TAGGED_OUT", "report that arrival first");
        }
        assert_eq!(house.counts().await, before);

        api.depart(first, &crew, at("12:10")).await.expect("before");
        api.arrive(first, &crew, None).await.expect("it set out");
        api.start(first, &crew).await.expect("it stands there");
        api.pause(first, &crew, None).await.expect("paused");
        api.resume(first, &crew, None)
            .await
            .expect("it stands there");
        set_clock(house, "12:50");
        api.finish(first, &crew, None).await.expect("done");
        for told in [
            api.depart(second, &crew, None).await,
            api.arrive(second, &crew, None).await,
            api.start(second, &crew).await,
        ] {
            refused(told, "UNIT_TAGGED_OUT", "plan again");
        }
        let plan = replanned(&mut api).await;
        let stays = plan.crew_days.iter().find(|day| day.crew == crew);
        assert_eq!(stays.expect("its day").stops.len(), 1, "it is stuck");
        refused(api.depart(second, &crew, None).await, "NOT_PLANNED", "");
    })
    .await;
}

/// Guards a trailer that is tagged out on the road: the crew drives on once it is planned without.
#[tokio::test]
async fn a_crew_drives_on_without_its_tagged_trailer() {
    on_both(async |house| {
        let (mut api, Busy { crew, id, jobs, .. }) = published(house).await;
        set_clock(house, "12:30");
        api.depart(&jobs[0], &crew, at("12:05"))
            .await
            .expect("away");
        api.start_at(&jobs[0], &crew, at("12:15"))
            .await
            .expect("begun");
        api.tag(&format!("trailer-{id}")).await.expect("tagged");
        api.finish(&jobs[0], &crew, None).await.expect("done");
        let told = api.depart(&jobs[1], &crew, None).await;
        refused(told, "UNIT_TAGGED_OUT", "plan again");
        let plan = replanned(&mut api).await;
        let day = plan.crew_days.iter().find(|day| day.crew == crew);
        let day = day.expect("its day");
        let trailer = name("units", &format!("trailer-{id}"));
        assert!(!day.load_out.contains(&trailer), "{day:?}");
        let next = &day.stops.get(1).expect("it goes on").job;
        api.depart(next, &crew, None).await.expect("without it");
        assert_eq!(breaches(&house.database).await, Vec::<String>::new());
    })
    .await;
}

/// A tag that leaves a unit everything but to mow.
async fn limit(api: &mut Api, unit: &str) {
    let request = v1::TagOutRequest {
        parent: BRANCH.into(),
        tag_out: Some(v1::TagOut {
            unit: unit.into(),
            symptom: v1::Symptom::PowerLoss.into(),
            severity: v1::Severity::Reduced.into(),
            forbidden_tasks: vec![v1::TaskKind::Mow.into()],
            found_by: name("workers", "lead-ash"),
            ..Default::default()
        }),
        ..Default::default()
    };
    api.tags.tag_out(asking(request)).await.expect("limited");
}

/// The crew has paused its first job, and its mower is tagged at ten to one.
async fn paused(house: &House, limited: bool) -> (Api, Busy) {
    let (mut api, busy) = published(house).await;
    set_clock(house, "12:40");
    let (crew, job) = (&busy.crew, &busy.jobs[0]);
    api.start_at(job, crew, at("12:15")).await.expect("begun");
    api.pause(job, crew, None).await.expect("paused");
    set_clock(house, "12:50");
    let mower = &busy.day.stops[0].tasks[0].units[0];
    if limited {
        limit(&mut api, mower).await;
    } else {
        let id = mower.rsplit('/').next().expect("an id");
        api.tag(id).await.expect("tagged");
    }
    set_clock(house, "12:55");
    (api, busy)
}

/// Guards work that stood still: it does not go on with a unit that is tagged out, or that must not do it any more; told late, it
/// went on before.
#[tokio::test]
async fn work_does_not_go_on_with_a_tagged_unit() {
    on_both(async |house| {
        let (mut api, busy) = paused(house, false).await;
        let (crew, job) = (&busy.crew, &busy.jobs[0]);
        let before = house.counts().await;
        for time in [None, at("12:51")] {
            let told = api.resume(job, crew, time).await;
            refused(told, "UNIT_TAGGED_OUT", "before you go on");
        }
        assert_eq!(house.counts().await, before);
        api.resume(job, crew, at("12:45")).await.expect("before");
    })
    .await;
}

/// Guards the same with a unit that may do other work.
#[tokio::test]
async fn work_does_not_go_on_with_a_unit_that_must_not_do_it() {
    on_both(async |house| {
        let (mut api, busy) = paused(house, true).await;
        let (crew, job) = (&busy.crew, &busy.jobs[0]);
        refused(
            api.resume(job, crew, None).await,
            "UNIT_LIMITED",
            "before you go on",
        );
        api.resume(job, crew, at("12:45")).await.expect("before");
    })
    .await;
}

/// Guards a crew that leaves a job for another and comes back: it drives for that, too.
#[tokio::test]
async fn a_crew_does_not_come_back_with_a_tagged_truck() {
    on_both(async |house| {
        let (mut api, Busy { crew, id, jobs, .. }) = published(house).await;
        let (first, second) = (&jobs[0], &jobs[1]);
        set_clock(house, "12:50");
        api.start_at(first, &crew, at("12:15"))
            .await
            .expect("begun");
        api.pause(first, &crew, at("12:30")).await.expect("paused");
        api.depart(second, &crew, at("12:40")).await.expect("away");
        api.tag(&format!("truck-{id}")).await.expect("tagged");
        set_clock(house, "12:55");
        refused(
            api.resume(first, &crew, None).await,
            "UNIT_TAGGED_OUT",
            "you were elsewhere since",
        );
        // It went on, and stood still again, before the crew left.
        api.resume(first, &crew, at("12:35")).await.expect("before");
    })
    .await;
}

/// Guards a stop that counts as begun with nobody having told anything: the plan that goes on from there has the crew drive with
/// nothing, and its tagged truck is its own all the same.
#[tokio::test]
async fn a_crew_does_not_drive_with_its_tagged_truck_by_a_plan_without() {
    on_both(async |house| {
        let (
            mut api,
            Busy {
                crew,
                id,
                jobs,
                day,
                ..
            },
        ) = published(house).await;
        let start = day.stops[0].start_time.expect("a start");
        house.set_clock_after(start, 300);
        api.tag(&format!("truck-{id}")).await.expect("tagged");
        let plan = replanned(&mut api).await;
        let later = plan.crew_days.iter().find(|day| day.crew == crew);
        let later = later.expect("its day");
        assert_eq!(later.load_out, [""; 0]);
        assert_eq!(later.stops[0].job, jobs[0]);
        for told in [
            api.depart(&jobs[0], &crew, None).await,
            api.start(&jobs[0], &crew).await,
        ] {
            refused(told, "UNIT_TAGGED_OUT", "plan again");
        }
        let told = api.start_at(&jobs[0], &crew, Some(start)).await;
        told.expect("begun before the tag");
    })
    .await;
}

async fn load(
    api: &mut Api,
    busy: &Busy,
    missing: &[&str],
    time: Option<Timestamp>,
) -> Result<bool, Status> {
    let request = v1::ConfirmLoadRequest {
        plan: busy.plan.clone(),
        crew: busy.crew.clone(),
        missing_units: missing.iter().map(|unit| (*unit).into()).collect(),
        load_time: time,
        ..Default::default()
    };
    let answer = api.visits.confirm_load(asking(request)).await?;
    Ok(answer.into_inner().wants_replan)
}

/// Guards a unit that is tagged out once it is loaded: the load is told late, and the crew does not set out with it. On the road
/// it rides along.
#[tokio::test]
async fn what_is_tagged_out_stays_in_the_yard() {
    on_both(async |house| {
        let (mut api, busy) = published(house).await;
        let (crew, jobs) = (&busy.crew, &busy.jobs);
        let aboard = |kind: &str| {
            let mut units = busy.day.load_out.iter();
            let unit = units.find(|unit| unit.contains(&format!("/units/{kind}-")));
            unit.expect("a unit").clone()
        };
        let [mower, blower] = ["m", "b"].map(aboard);
        let id = |unit: &str| unit.rsplit('/').next().expect("an id").to_owned();
        set_clock(house, "11:50");
        api.tag(&id(&mower)).await.expect("tagged");
        set_clock(house, "11:55");
        let before = house.counts().await;
        for time in [None, at("11:50")] {
            let told = load(&mut api, &busy, &[], time).await.map(drop);
            refused(told, "UNIT_TAGGED_OUT", "leave it in the yard");
        }
        assert_eq!(house.counts().await, before);
        let late = load(&mut api, &busy, &[], at("11:40")).await;
        assert!(late.expect("loaded before"), "it wants a re-plan");
        let told = api.depart(&jobs[0], crew, None).await;
        refused(told, "UNIT_TAGGED_OUT", "leave it in the yard");

        let left = load(&mut api, &busy, &[&mower], None).await;
        assert!(left.expect("loaded without"));
        api.depart(&jobs[0], crew, None).await.expect("without it");
        set_clock(house, "12:30");
        api.tag(&id(&blower)).await.expect("tagged");
        api.depart(&jobs[1], crew, None).await.expect("on the road");
    })
    .await;
}
