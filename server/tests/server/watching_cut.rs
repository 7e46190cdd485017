//! Goal: whatever breaks, a watcher is told every change once and in order; and one that does not listen holds up nobody.
//! Method: streams cut at points drawn by a seed while the day changes; what was told is compared with the events.

use std::time::Duration;

use forenoon_proto::v1;
use forenoon_proto::v1::watch_day_response::Event;
use forenoon_server::work::day::WatchLimits;

use crate::house::{House, on_both};
use crate::motion::{Word, at, day, furnish, report};
use crate::rows;
use crate::watching::{next, watch};

/// Draws numbers: xorshift, seeded.
struct Draw(u64);

impl Draw {
    fn below(&mut self, bound: u64) -> u64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        self.0 % bound
    }
}

/// Pauses and resumes without end, a change each.
async fn change_the_day(house: &House, changes: u32) {
    for number in 0..changes {
        let minute = 10 + number / 60;
        let word = if number % 2 == 0 {
            Word::Pause
        } else {
            Word::Resume
        };
        let time = format!("2027-04-20T12:{minute}:{:02}Z", number % 60);
        let time = Some(time.parse().expect("an instant"));
        report(house, "ash", "j-1", word, time)
            .await
            .expect("heard");
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn after_every_cut_nothing_is_missed_and_nothing_comes_twice() {
    const CHANGES: u32 = 120;
    on_both(async |house: &House| {
        furnish(house).await;
        house.set_clock("2027-04-20T14:00:00Z");
        report(house, "ash", "j-1", Word::Start, at("12:00"))
            .await
            .expect("begun");
        // One who watched the whole time has the token of the beginning.
        let mut whole = watch(house, day(), "").await.expect("watched");
        let begin = next(&mut whole).await.resume_token;
        let before = house.events().await.len();
        let wanted = usize::try_from(CHANGES).expect("small");
        let seeds = [11, 12, 13];
        let (one, two, three, ()) = tokio::join!(
            follow_from(house, &begin, seeds[0], wanted),
            follow_from(house, &begin, seeds[1], wanted),
            follow_from(house, &begin, seeds[2], wanted),
            change_the_day(house, CHANGES),
        );
        let truth: Vec<_> = house
            .events()
            .await
            .into_iter()
            .skip(before)
            .map(|event| (event.kind, event.subject, event.body["state"].clone()))
            .collect();
        assert_eq!(truth.len(), wanted);
        let mut streams = vec![one, two, three];
        let mut all = Vec::new();
        while all.len() < wanted {
            if let Some(Event::Change(change)) = next(&mut whole).await.event {
                all.push(change);
            }
        }
        streams.push((all, 0));
        for (seed, (told, cuts)) in seeds.into_iter().chain([0]).zip(streams) {
            let told: Vec<_> = told
                .into_iter()
                .map(|change| {
                    let Some(v1::day_change::State::Visit(visit)) = change.state else {
                        panic!("no visit");
                    };
                    let state = match visit.state() {
                        v1::VisitState::Paused => "paused",
                        v1::VisitState::Working => "working",
                        other => panic!("{other:?}"),
                    };
                    (change.kind, change.subject, serde_json::Value::from(state))
                })
                .collect();
            assert_eq!(told, truth, "seed {seed}");
            assert!(seed == 0 || cuts > 10, "seed {seed}: {cuts} cuts");
        }
    })
    .await;
}

/// Follows from a token, cut at points drawn by the seed. What was told, and how often it was cut.
async fn follow_from(
    house: &House,
    begin: &str,
    seed: u64,
    changes: usize,
) -> (Vec<v1::DayChange>, u32) {
    let mut draw = Draw(seed);
    let mut token = begin.to_owned();
    let mut told = Vec::new();
    let mut cuts = 0;
    while told.len() < changes {
        let mut stream = watch(house, day(), &token).await.expect("watched");
        for _ in 0..=draw.below(9) {
            let message = next(&mut stream).await;
            token = message.resume_token;
            if let Some(Event::Change(change)) = message.event {
                told.push(change);
            }
            if told.len() == changes {
                break;
            }
        }
        // Dropped with whatever was on its way.
        drop(stream);
        cuts += 1;
        if draw.below(3) == 0 {
            tokio::time::sleep(Duration::from_millis(draw.below(20))).await;
        }
    }
    (told, cuts)
}

/// A watcher that takes nothing, while more is told than any buffer on the way holds: calls go on, and in the end it
/// gets all of it.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_watcher_that_does_not_listen_holds_up_nobody_and_misses_nothing() {
    const CHANGES: u32 = 100;
    let house = House::with_watching(WatchLimits {
        heartbeat: Duration::from_mins(10),
        ..WatchLimits::default()
    })
    .await;
    furnish(&house).await;
    house.set_clock("2027-04-20T14:00:00Z");
    // A note that makes each change some ten thousand bytes long.
    report(&house, "ash", "j-1", Word::Start, at("12:00"))
        .await
        .expect("begun");
    let long = "n".repeat(10_000);
    rows::execute(&house, &format!("UPDATE visit SET note = '{long}'")).await;
    let mut deaf = watch(&house, day(), "").await.expect("watched");
    let mut keen = watch(&house, day(), "").await.expect("watched");
    next(&mut keen).await;
    let changes = usize::try_from(CHANGES).expect("small");
    let all_told = async {
        let mut count = 0;
        while count < changes {
            if let Some(Event::Change(_)) = next(&mut keen).await.event {
                count += 1;
            }
        }
    };
    tokio::join!(change_the_day(&house, CHANGES), all_told);
    next(&mut deaf).await;
    for number in 0..changes {
        let message = next(&mut deaf).await;
        assert!(
            matches!(message.event, Some(Event::Change(_))),
            "change {number}"
        );
    }
}
