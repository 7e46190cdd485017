//! Goal: who watches a day is told everything once, and harms nobody.
//! Method: streams over a socket beside the calls that change the day.

use std::time::Duration;

use forenoon_proto::google::r#type::Date;
use forenoon_proto::v1;
use forenoon_proto::v1::day_change::State;
use forenoon_proto::v1::day_service_client::DayServiceClient;
use forenoon_proto::v1::watch_day_response::Event;
use forenoon_server::work::day::WatchLimits;
use tokio::time::timeout;
use tonic::{Code, Status, Streaming};

use crate::house::{House, on_both, reason};
use crate::motion::{PLAN, Word, at, day, furnish, job_name, plan_day, report, tag_mower, why};
use crate::rows;
use crate::yard::NORTH;

/// Puts a fault into a sound request.
type Fault = fn(&mut v1::WatchDayRequest);

/// Long enough for a busy machine, short enough to fail.
const SOON: Duration = Duration::from_secs(10);

pub(crate) async fn watch(
    house: &House,
    day: Date,
    resume_token: &str,
) -> Result<Streaming<v1::WatchDayResponse>, Status> {
    let request = v1::WatchDayRequest {
        parent: NORTH.into(),
        day: Some(day),
        resume_token: resume_token.into(),
    };
    let mut client = DayServiceClient::new(house.channel());
    Ok(client.watch_day(request).await?.into_inner())
}

pub(crate) async fn next(stream: &mut Streaming<v1::WatchDayResponse>) -> v1::WatchDayResponse {
    timeout(SOON, stream.message())
        .await
        .expect("told in time")
        .expect("told")
        .expect("not at an end")
}

pub(crate) fn change(message: v1::WatchDayResponse) -> v1::DayChange {
    let Some(Event::Change(change)) = message.event else {
        unreachable!("no change: {message:?}");
    };
    change
}

fn snapshot(message: v1::WatchDayResponse) -> v1::DaySnapshot {
    let Some(Event::Snapshot(snapshot)) = message.event else {
        unreachable!("no snapshot: {message:?}");
    };
    snapshot
}

#[tokio::test]
async fn the_day_is_told_as_it_stands_and_then_as_it_changes() {
    on_both(async |house: &House| {
        furnish(house).await;
        house.set_clock("2027-04-20T14:00:00Z");
        report(house, "ash", "j-1", Word::Start, at("12:00"))
            .await
            .expect("begun");
        let mut stream = watch(house, day(), "").await.expect("watched");
        let stands = snapshot(next(&mut stream).await);
        let plan = stands.plan.expect("the published plan");
        assert_eq!((plan.name.as_str(), plan.crew_days.len()), (PLAN, 2));
        assert_eq!(stands.visits.len(), 1);
        assert!(stands.tag_outs.is_empty());

        let visit = report(house, "ash", "j-1", Word::Finish, at("13:00"))
            .await
            .expect("done");
        let told = change(next(&mut stream).await);
        assert_eq!(
            (told.kind.as_str(), &told.subject),
            ("visit.finished", &job_name("j-1"))
        );
        assert_eq!(told.state, Some(State::Visit(visit)));

        let tag = tag_mower(house).await;
        let told = change(next(&mut stream).await);
        assert_eq!(told.kind, "tag_out.tagged");
        assert_eq!(told.state, Some(State::TagOut(tag)));
        let again = snapshot(next(&mut watch(house, day(), "").await.expect("watched")).await);
        assert_eq!(again.tag_outs.len(), 1);
    })
    .await;
}

#[tokio::test]
async fn changes_of_another_day_are_left_out_and_a_publish_carries_the_plan() {
    let house = House::on_sqlite().await;
    furnish(&house).await;
    let tomorrow = Date { day: 21, ..day() };
    let mut today = watch(&house, day(), "").await.expect("watched");
    let mut next_day = watch(&house, tomorrow, "").await.expect("watched");
    snapshot(next(&mut today).await);
    assert_eq!(snapshot(next(&mut next_day).await).plan, None);
    // Today is over, so that its jobs are free. Published for tomorrow; then the mower is tagged, which concerns both.
    house.set_clock("2027-04-21T11:45:00Z");
    plan_day(&house, "2027-04-21").await;
    let tagged = tag_mower(&house).await;
    let told = change(next(&mut next_day).await);
    assert_eq!(told.kind, "plan.published");
    let Some(State::Plan(plan)) = told.state else {
        panic!("no plan: {told:?}");
    };
    assert_eq!(plan.state(), v1::PlanState::Published);
    assert_eq!(plan.crew_days[0].stops.len(), 2);
    let both = [
        change(next(&mut today).await),
        change(next(&mut next_day).await),
    ];
    for told in both {
        assert_eq!(told.subject, tagged.name);
    }
}

#[tokio::test]
async fn another_servers_changes_are_told() {
    on_both(async |house: &House| {
        furnish(house).await;
        let beside = house.beside().await;
        let mut stream = watch(&beside, day(), "").await.expect("watched");
        snapshot(next(&mut stream).await);
        let tag = tag_mower(house).await;
        assert_eq!(change(next(&mut stream).await).subject, tag.name);
    })
    .await;
}

#[tokio::test]
async fn a_quiet_stream_beats_and_ends_when_the_server_goes_down() {
    let house = House::with_watching(WatchLimits {
        heartbeat: Duration::from_millis(100),
        ..WatchLimits::default()
    })
    .await;
    furnish(&house).await;
    let mut stream = watch(&house, day(), "").await.expect("watched");
    let first = next(&mut stream).await;
    for _ in 0..3 {
        let beat = next(&mut stream).await;
        assert_eq!(beat.event, Some(Event::Heartbeat(v1::Heartbeat {})));
        assert_eq!(beat.resume_token, first.resume_token);
    }
    house.going_down.cancel();
    let ended = timeout(SOON, async {
        loop {
            match stream.message().await {
                Ok(Some(_)) => {}
                other => return other,
            }
        }
    })
    .await
    .expect("ended in time");
    let status = ended.expect_err("told why");
    assert_eq!(
        reason(&status),
        (Code::Unavailable, "GOING_DOWN".to_owned())
    );
    timeout(SOON, house.served)
        .await
        .expect("stopped in time")
        .expect("no panic")
        .expect("in order");
}

#[tokio::test]
async fn tokens_are_good_for_their_day_and_while_their_events_last() {
    on_both(async |house: &House| {
        furnish(house).await;
        let token = next(&mut watch(house, day(), "").await.expect("watched"))
            .await
            .resume_token;
        let tomorrow = Date { day: 21, ..day() };
        for (day, token) in [(tomorrow, token.as_str()), (day(), "nonsense")] {
            assert_eq!(
                why(watch(house, day, token).await),
                "resume_token MALFORMED"
            );
        }
        tag_mower(house).await;
        watch(house, day(), &token).await.expect("goes on");
        // Taken away by an archive, or never there in a database that was put back.
        rows::execute(house, "DELETE FROM outbox_event").await;
        let status = watch(house, day(), &token).await.expect_err("too old");
        assert_eq!(
            reason(&status),
            (Code::OutOfRange, "TOKEN_TOO_OLD".to_owned())
        );
    })
    .await;
}

#[tokio::test]
async fn faulty_watches_are_refused() {
    let house = House::with_watching(WatchLimits {
        watchers_max: 1,
        ..WatchLimits::default()
    })
    .await;
    furnish(&house).await;
    let sound = v1::WatchDayRequest {
        parent: NORTH.into(),
        day: Some(day()),
        resume_token: String::new(),
    };
    let faults: [(Fault, &str); 4] = [
        (|request| request.parent.clear(), "parent REQUIRED"),
        (|request| request.day = None, "day REQUIRED"),
        (
            |request| request.day = Some(Date { month: 13, ..day() }),
            "day MALFORMED",
        ),
        (
            |request| request.parent = "branches/nowhere".into(),
            "NOT_FOUND",
        ),
    ];
    for (fault, blamed) in faults {
        let mut request = sound.clone();
        fault(&mut request);
        let answer = DayServiceClient::new(house.channel())
            .watch_day(request)
            .await;
        let blame = why(answer.map(|_| ()));
        assert!(
            blame.starts_with(blamed.split(' ').next().unwrap_or("")),
            "{blame}"
        );
    }
    let _only = watch(&house, day(), "")
        .await
        .expect("the sound one is taken");
    assert_eq!(why(watch(&house, day(), "").await.map(|_| ())), "TOO_MUCH");
}
