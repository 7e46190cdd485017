//! A crew's day with the real command and the real server: load, drive, walk, work, pause, finish, what goes wrong, and
//! the desk that watches it, over a crash of the server.

use std::fs;
use std::io::{BufRead, BufReader};
use std::process::{Child, Command, Stdio};

use chrono::{Datelike, Days, NaiveDate, Timelike, Utc};
use forenoon_proto::google::r#type::Date;
use forenoon_proto::v1::{
    Branch, Capability, Crew, Job, Role, Site, Task, TaskKind, UnitKind, VisitWindow, Worker,
};
use forenoon_tests::actors::Api;
use forenoon_tests::cli::{Run, forenoon};
use forenoon_tests::database::Database;
use forenoon_tests::make::{
    crew_record, date, inches, job_record, litres, place, shift, site_record, square_metres, task,
    unit, unit_record, worker_record,
};
use forenoon_tests::on_both;
use forenoon_tests::programs;
use forenoon_tests::server::Server;
use forenoon_tests::small_branch::{BRANCH, BRANCH_ID, branch};
use serde_json::Value;

on_both!(a_crews_day_is_reported_watched_and_kept);

/// A PNG of one black pixel, made by hand.
pub(crate) const PNG: &[u8] =
    b"\x89PNG\r\n\x1a\n\0\0\0\x0dIHDR\0\0\0\x01\0\0\0\x01\x08\0\0\0\0\x3a\x7e\x9b\x55\
    \0\0\0\x0aIDAT\x78\x9c\x63\x60\0\0\0\x02\0\x01\x48\xaf\xa4\x71\0\0\0\0IEND\xae\x42\x60\x82";

fn wire(day: NaiveDate) -> Date {
    let part = |value: u32| i32::try_from(value).expect("small");
    date(day.year(), part(day.month()), part(day.day()))
}

/// A time zone in which it is day: a day that has begun is planned from now on, and nothing is planned into the night.
fn zone_at_day() -> &'static str {
    match Utc::now().hour() {
        0..8 => "Etc/GMT-8",
        8..16 => "Etc/GMT",
        _ => "Etc/GMT+8",
    }
}

/// One crew that works around the clock, and two lawns to mow on the days around now.
async fn prepare(api: &Api) {
    let branch = Branch {
        time_zone: zone_at_day().to_owned(),
        ..branch()
    };
    api.create_branch(BRANCH_ID, branch).await;
    let mower = forenoon_proto::v1::Unit {
        capabilities: vec![Capability::Mower.into()],
        cutting_width: Some(inches(30.0)),
        max_slope_percent: 25.0,
        ..unit(BRANCH, "m-30", UnitKind::WalkMower, 500.0)
    };
    let truck = forenoon_proto::v1::Unit {
        capabilities: vec![Capability::Carrier.into()],
        carries: Some(litres(4_000.0)),
        ..unit(BRANCH, "truck", UnitKind::Vehicle, 0.0)
    };
    let crew = Crew {
        name: format!("{BRANCH}/crews/ash"),
        display_name: "Ash".to_owned(),
        shifts: (1..=7).map(|day| shift(day, (0, 30), (23, 30))).collect(),
        vehicle: format!("{BRANCH}/units/truck"),
        ..Default::default()
    };
    let worker = Worker {
        name: format!("{BRANCH}/workers/ada"),
        display_name: "Ada".to_owned(),
        crew: format!("{BRANCH}/crews/ash"),
        roles: vec![Role::CrewLead.into(), Role::Crew.into()],
        ..Default::default()
    };
    let mut records = vec![
        unit_record(mower),
        unit_record(truck),
        crew_record(crew),
        worker_record(worker),
    ];
    let today = Utc::now().date_naive();
    for (number, id) in ["alder", "birch"].into_iter().enumerate() {
        records.push(site_record(Site {
            name: format!("{BRANCH}/sites/{id}"),
            display_name: format!("Site {id}"),
            customer: format!("Customer {id}"),
            location: Some(place(41.21 + 0.01 * number as f64, -92.81)),
            areas: vec![forenoon_proto::v1::Area {
                area_id: "lawn".to_owned(),
                display_name: "lawn".to_owned(),
                kind: forenoon_proto::v1::AreaKind::Turf.into(),
                surface: Some(square_metres(500.0)),
                obstacles: forenoon_proto::v1::Obstacles::Few.into(),
                shape: forenoon_proto::v1::AreaShape::Ordinary.into(),
                ..Default::default()
            }],
            clippings: forenoon_proto::v1::Clippings::MayLie.into(),
            ..Default::default()
        }));
        records.push(job_record(Job {
            name: format!("{BRANCH}/jobs/j-{id}"),
            display_name: format!("Mow {id}"),
            site: format!("{BRANCH}/sites/{id}"),
            tasks: vec![Task {
                ..task(TaskKind::Mow, "lawn", &[Capability::Mower], 20.0)
            }],
            windows: vec![VisitWindow {
                first_day: Some(wire(today - Days::new(2))),
                last_day: Some(wire(today + Days::new(2))),
                times: vec![],
            }],
            priority: 3,
            ..Default::default()
        }));
    }
    api.import(BRANCH, records).await;
}

struct Phone {
    url: String,
}

impl Phone {
    async fn says(&self, words: &[&str]) -> Run {
        let mut arguments = vec!["--server".to_owned(), self.url.clone()];
        arguments.extend(words.iter().map(|&word| word.to_owned()));
        tokio::task::spawn_blocking(move || forenoon(arguments))
            .await
            .expect("the command ends")
    }

    async fn does(&self, words: &[&str]) -> String {
        self.says(words).await.output_of_success()
    }

    /// Starts to watch and waits until it sees how the day stands.
    fn watch(&self, changes: usize) -> (Child, BufReader<std::process::ChildStdout>) {
        let mut child = Command::new(programs::client())
            .args(["--server", &self.url, "--output", "json"])
            .args(["watch", "--changes", &changes.to_string()])
            .env_clear()
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .stderr(Stdio::inherit())
            .spawn()
            .expect("the command starts");
        let mut lines = BufReader::new(child.stdout.take().expect("its output"));
        let mut first = String::new();
        lines.read_line(&mut first).expect("a line");
        assert!(first.contains("\"snapshot\""), "{first}");
        (child, lines)
    }
}

#[track_caller]
fn holds(output: &str, words: &[&str]) {
    for word in words {
        assert!(output.contains(word), "{word:?} is not in:\n{output}");
    }
}

async fn a_crews_day_is_reported_watched_and_kept(database: Database) {
    let server = Server::start(&database).await;
    prepare(&Api::of(&server)).await;
    let phone = Phone { url: server.url() };
    phone.does(&["plan", "today", "--iterations", "500"]).await;
    phone.does(&["publish", "--day", "today"]).await;
    let expected = [
        "load.confirmed",
        "visit.departed",
        "visit.arrived",
        "photo.stored",
        "walk.recorded",
        "visit.started",
        "visit.paused",
        "visit.resumed",
        "visit.finished",
        "visit.not_done",
        "site.changed",
        "case.opened",
        "job.created",
        "case.opened",
        "case.closed",
    ];
    let (mut watching, lines) = phone.watch(expected.len());
    let watched = tokio::task::spawn_blocking(move || {
        lines
            .lines()
            .map(|line| serde_json::from_str::<Value>(&line.expect("a line")).expect("JSON"))
            .filter_map(|message| Some(message.get("change")?["kind"].as_str()?.to_owned()))
            .collect::<Vec<_>>()
    });
    let picture = database.folder().join("lawn.png");
    fs::write(&picture, PNG).expect("a file");
    let picture = picture.to_str().expect("a path in UTF-8");
    let crew = ["-c", "ash"];
    let report = async |words: &[&str]| phone.does(&[words, &crew].concat()).await;

    holds(&report(&["load"]).await, &["everything aboard"]);
    report(&["depart", "j-alder"]).await;
    // Work cannot end before it begins, and a report is of a crew that has the job.
    let early = phone.says(&["finish", "j-alder", "-c", "ash"]).await;
    assert_eq!(early.code, Some(5), "{early:?}");
    let nobody = phone.says(&["arrive", "j-alder"]).await;
    assert_eq!(nobody.code, Some(2), "{nobody:?}");
    report(&["arrive", "j-alder"]).await;

    // The server dies and comes back; watcher and crew go on.
    let address = server.address().to_string();
    server.kill();
    let server = Server::start_with(&database, ["--listen", &address]).await;

    let walk = ["walk", "j-alder", "before", "not-home"];
    let without = phone.says(&[&walk[..], &crew].concat()).await;
    assert_eq!(without.code, Some(3), "{without:?}");
    report(&[&walk[..], &["--photo", picture]].concat()).await;
    report(&["start", "j-alder"]).await;
    report(&["start", "j-alder"]).await;
    holds(&report(&["pause", "j-alder", "rain"]).await, &["paused"]);
    report(&["pause", "j-alder", "rain"]).await;
    report(&["resume", "j-alder"]).await;
    let done = report(&["finish", "j-alder", "--bags", "2", "--output", "plain"]).await;
    holds(&done, &["j-alder\tash\t", "\tdone\t"]);
    let given_up = report(&["not-done", "j-birch", "gate locked"]).await;
    holds(&given_up, &["gate locked"]);
    holds(&phone.does(&["job", "show", "j-birch"]).await, &["open"]);

    let damaged = phone
        .does(&["damage", "j-alder", "edge of the west window is chipped"])
        .await;
    holds(&damaged, &["c-1", "every later sheet"]);
    holds(
        &phone.does(&["sheets", "today"]).await,
        &["west window is chipped"],
    );
    let callback = phone
        .does(&["callback", "j-alder", "strip left", "mower too wide"])
        .await;
    holds(&callback, &["c-2", "return-2", "no charge"]);
    holds(&phone.does(&["case"]).await, &["c-1", "c-2"]);
    phone
        .does(&["case", "c-1", "--close", "glass replaced"])
        .await;
    let closed_twice = phone.says(&["case", "c-1", "--close", "otherwise"]).await;
    assert_eq!(closed_twice.code, Some(5), "{closed_twice:?}");

    let told = watched.await.expect("watched to the end");
    assert_eq!(told, expected);
    assert_eq!(watching.wait().expect("it ends").code(), Some(0));

    // A picture comes back as it was, and a text is none.
    let stored = phone
        .does(&["photo", picture, "--case", "c-2", "--output", "plain"])
        .await;
    let sha256 = stored.trim_end().split('\t').nth(1).expect("a digest");
    let copy = database.folder().join("copy.png");
    let to = copy.to_str().expect("a path in UTF-8");
    phone.does(&["photo", "--get", sha256, "--to", to]).await;
    assert_eq!(fs::read(&copy).expect("a file"), PNG);
    let text = database.folder().join("text.png");
    fs::write(&text, "no picture").expect("a file");
    let text = text.to_str().expect("a path in UTF-8");
    let refused = phone.says(&["photo", text, "--job", "j-alder"]).await;
    assert_eq!(refused.code, Some(3), "{refused:?}");
    drop(server);
}
