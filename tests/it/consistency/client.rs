//! A client that does what a seed says, through any server, and writes down what it saw.

use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

use forenoon_proto::google::r#type::Date;
use forenoon_proto::v1::{
    GetPublishedPlanRequest, ListTagOutsRequest, PublishPlanRequest, RecordDiagnosisRequest,
    RecordInspectionRequest, RecordRepairRequest, ReleaseTagOutRequest, Symptom, TagOutRequest,
    TagOutState,
};
use forenoon_tests::actors::{Api, request_id};
use forenoon_tests::refusal::Refusal;
use forenoon_tests::small_branch::{BRANCH, MECHANIC, unit_name, unsafe_tag};
use rand::rngs::StdRng;
use rand::{RngExt, SeedableRng};
use tonic::{Code, Status};

use super::history::{Entry, History};
use super::model::{BenchOp, BenchRet, DayOp, DayRet, Step};
use super::tagged::Draft;

/// Longest time for one answer; a frozen server gives none.
const ANSWER_MAX: Duration = Duration::from_secs(2);
/// Longest time in which a call must be answered by some server.
const CALL_MAX: Duration = Duration::from_mins(1);
/// Pause before a call is sent again.
const PAUSE: Duration = Duration::from_millis(25);

/// The servers that run now.
#[derive(Default)]
pub(crate) struct Servers(Mutex<Vec<Api>>);

impl Servers {
    pub(crate) fn put(&self, place: usize, api: Api) {
        let mut servers = self.0.lock().expect("the list");
        if place < servers.len() {
            servers[place] = api;
        } else {
            servers.push(api);
        }
    }

    pub(crate) fn any(&self, chance: u64) -> Api {
        let servers = self.0.lock().expect("the list");
        let count = u64::try_from(servers.len()).expect("few");
        servers[usize::try_from(chance % count).expect("small")].clone()
    }
}

/// How things stand before a round.
pub(crate) struct Standing {
    pub(crate) bench: Vec<Option<(String, TagOutState)>>,
    pub(crate) published: Vec<Option<String>>,
}

pub(crate) async fn standing(api: &Api, units: &[String], days: &[Date]) -> Standing {
    let mut bench = Vec::new();
    for unit in units {
        bench.push(open_tag(api, unit).await.expect("read"));
    }
    let mut before = Vec::new();
    for day in days {
        before.push(published(api, *day).await.expect("read"));
    }
    Standing {
        bench,
        published: before,
    }
}

async fn open_tag(api: &Api, spare: &str) -> Result<Option<(String, TagOutState)>, Status> {
    let request = ListTagOutsRequest {
        parent: BRANCH.to_owned(),
        open_only: true,
        unit: unit_name(spare),
        ..Default::default()
    };
    let answer = api.tag_outs().list_tag_outs(request).await?.into_inner();
    assert!(answer.tag_outs.len() < 2, "{answer:?}");
    Ok(answer
        .tag_outs
        .into_iter()
        .next()
        .map(|tag| (tag.name.clone(), tag.state())))
}

async fn published(api: &Api, day: Date) -> Result<Option<String>, Status> {
    let request = GetPublishedPlanRequest {
        parent: BRANCH.to_owned(),
        day: Some(day),
    };
    match api.plans().get_published_plan(request).await {
        Ok(answer) => Ok(answer.into_inner().plan.map(|plan| plan.name)),
        Err(status) if status.code() == Code::NotFound => Ok(None),
        Err(status) => Err(status),
    }
}

/// Somebody who works.
pub(crate) struct Client {
    pub(crate) number: u64,
    pub(crate) servers: Arc<Servers>,
    pub(crate) history: History,
    pub(crate) drafts: Arc<Vec<Draft>>,
    /// Units that are tagged out.
    pub(crate) units: Vec<String>,
    /// How many of them, from the first on, no plan has.
    pub(crate) spares: usize,
    pub(crate) seed: u64,
    /// Request ids of commands that were accepted.
    pub(crate) accepted: Arc<Mutex<Vec<String>>>,
}

impl Client {
    pub(crate) async fn work(self, calls: u64) {
        let mut chance = StdRng::seed_from_u64(self.seed);
        let mut known: Vec<Option<(String, TagOutState)>> = vec![None; self.units.len()];
        for _ in 0..calls {
            self.rest(&mut chance).await;
            if chance.random_ratio(2, 5) {
                self.on_the_day(&mut chance).await;
                continue;
            }
            let place = chance.random_range(0..self.units.len());
            self.on_the_bench(&mut chance, place, &mut known).await;
            // A unit that is wanted is not left lying, so that drafts that have it can be published as well as not.
            while place >= self.spares && known[place].is_some() {
                self.rest(&mut chance).await;
                self.on_the_bench(&mut chance, place, &mut known).await;
            }
        }
    }

    async fn rest(&self, chance: &mut StdRng) {
        tokio::time::sleep(Duration::from_millis(chance.random_range(0..30))).await;
    }

    /// Brings a unit back that may be out, whoever tagged it.
    pub(crate) async fn bring_back(&self, unit: &str) {
        let mut chance = StdRng::seed_from_u64(self.seed);
        let open = async |chance: &mut StdRng| {
            self.read(chance, async |api| open_tag(&api, unit).await)
                .await
        };
        while let Some((tag, state)) = open(&mut chance).await {
            self.step(&mut chance, next(state), &tag).await;
        }
    }

    async fn on_the_day(&self, chance: &mut StdRng) {
        let draft = &self.drafts[chance.random_range(0..self.drafts.len())];
        let day = draft.day;
        if chance.random_ratio(1, 3) {
            let call = self.history.began(self.number);
            let found = self
                .read(chance, async |api| published(&api, day).await)
                .await;
            let (op, ret) = (DayOp::Read, DayRet::Published(found));
            self.history.ended(Entry::Day { call, day, op, ret });
            return;
        }
        let plan = draft.name.clone();
        let call = self.history.began(self.number);
        let answer = self
            .until_answered(chance, async |api, request_id| {
                let request = PublishPlanRequest {
                    name: plan.clone(),
                    etag: String::new(),
                    request_id,
                };
                api.plans().publish_plan(request).await
            })
            .await;
        let ret = match answer {
            Ok(_) => DayRet::Accepted,
            Err(refusal) if refusal.reason == "UNIT_TAGGED_OUT" => {
                self.history.ended(Entry::Kept { call, plan });
                return;
            }
            Err(refusal) => {
                let overtaken = ["NOT_A_DRAFT", "BASE_REPLACED"];
                assert!(overtaken.contains(&refusal.reason.as_str()), "{refusal:?}");
                DayRet::Refused
            }
        };
        let op = DayOp::Publish(plan);
        self.history.ended(Entry::Day { call, day, op, ret });
    }

    async fn on_the_bench(
        &self,
        chance: &mut StdRng,
        place: usize,
        known: &mut [Option<(String, TagOutState)>],
    ) {
        let unit = self.units[place].clone();
        let call = self.history.began(self.number);
        let (op, ret) = match (chance.random_range(0..4), known[place].clone()) {
            (0, _) => {
                let open = self
                    .read(chance, async |api| open_tag(&api, &unit).await)
                    .await;
                known[place].clone_from(&open);
                (BenchOp::Read, BenchRet::Open(open))
            }
            (_, Some((name, state))) => {
                let step = next(state);
                let answer = self.step(chance, step, &name).await;
                known[place] = match (&answer, step) {
                    (BenchRet::Accepted, Step::Diagnose) => {
                        Some((name.clone(), TagOutState::Diagnosed))
                    }
                    (BenchRet::Accepted, Step::Repair) => {
                        Some((name.clone(), TagOutState::Repaired))
                    }
                    (BenchRet::Accepted, Step::Inspect) => {
                        Some((name.clone(), TagOutState::Inspected))
                    }
                    _ => None,
                };
                (BenchOp::Step(step, name), answer)
            }
            (_, None) => {
                let tagged = self.tag(chance, &unit).await;
                let ret = if tagged.is_some() {
                    BenchRet::Accepted
                } else {
                    BenchRet::Refused
                };
                known[place] = tagged.clone().map(|name| (name, TagOutState::Tagged));
                (BenchOp::Tag(tagged), ret)
            }
        };
        self.history.ended(Entry::Bench {
            call,
            unit,
            op,
            ret,
        });
    }

    async fn tag(&self, chance: &mut StdRng, unit: &str) -> Option<String> {
        let answer = self
            .until_answered(chance, async |api, request_id| {
                let request = TagOutRequest {
                    parent: BRANCH.to_owned(),
                    tag_out: Some(unsafe_tag(&unit_name(unit), Symptom::Leak)),
                    request_id,
                };
                api.tag_outs().tag_out(request).await
            })
            .await;
        match answer {
            Ok(answer) => Some(answer.into_inner().tag_out.expect("the tag").name),
            Err(refusal) => {
                assert_eq!(refusal.reason, "ALREADY_TAGGED_OUT", "{refusal:?}");
                None
            }
        }
    }

    async fn step(&self, chance: &mut StdRng, step: Step, name: &str) -> BenchRet {
        let (name, mechanic) = (name.to_owned(), MECHANIC.to_owned());
        let answer = self
            .until_answered(chance, async |api, request_id| {
                let (name, mechanic) = (name.clone(), mechanic.clone());
                let mut bench = api.tag_outs();
                match step {
                    Step::Diagnose => {
                        let request = RecordDiagnosisRequest {
                            name,
                            mechanic,
                            diagnosis: "Seal worn.".to_owned(),
                            request_id,
                            ..Default::default()
                        };
                        bench.record_diagnosis(request).await.map(drop)
                    }
                    Step::Repair => {
                        let request = RecordRepairRequest {
                            name,
                            mechanic,
                            repair: "Seal replaced.".to_owned(),
                            request_id,
                            ..Default::default()
                        };
                        bench.record_repair(request).await.map(drop)
                    }
                    Step::Inspect => {
                        let request = RecordInspectionRequest {
                            name,
                            mechanic,
                            inspection: "Tight at full pressure.".to_owned(),
                            passed: true,
                            request_id,
                            ..Default::default()
                        };
                        bench.record_inspection(request).await.map(drop)
                    }
                    Step::Release => {
                        let request = ReleaseTagOutRequest {
                            name,
                            mechanic,
                            etag: String::new(),
                            request_id,
                        };
                        bench.release_tag_out(request).await.map(drop)
                    }
                }
            })
            .await;
        match answer {
            Ok(()) => BenchRet::Accepted,
            Err(refusal) => {
                let reasons = ["TAG_OUT_STATE", "TAG_OUT_RELEASED"];
                assert!(reasons.contains(&refusal.reason.as_str()), "{refusal:?}");
                BenchRet::Refused
            }
        }
    }

    async fn read<T>(
        &self,
        chance: &mut StdRng,
        send: impl AsyncFn(Api) -> Result<T, Status>,
    ) -> T {
        let (answer, _) = self.sent(chance, async |api, _| send(api).await).await;
        answer.expect("reads are not refused")
    }

    /// Sends a command, and writes down that it was accepted.
    async fn until_answered<T>(
        &self,
        chance: &mut StdRng,
        send: impl AsyncFn(Api, String) -> Result<T, Status>,
    ) -> Result<T, Refusal> {
        let (answer, request_id) = self.sent(chance, send).await;
        if answer.is_ok() {
            self.accepted.lock().expect("the list").push(request_id);
        }
        answer
    }

    /// Sends a call to one server after another, with one request id, until it is done or refused.
    async fn sent<T>(
        &self,
        chance: &mut StdRng,
        send: impl AsyncFn(Api, String) -> Result<T, Status>,
    ) -> (Result<T, Refusal>, String) {
        let request_id = request_id();
        let begun = Instant::now();
        loop {
            let api = self.servers.any(chance.random_range(0..1_000));
            let answer = tokio::time::timeout(ANSWER_MAX, send(api, request_id.clone())).await;
            match answer {
                Ok(Ok(answer)) => return (Ok(answer), request_id),
                Ok(Err(status)) => {
                    let refusal = Refusal::from(status);
                    if !is_lost(&refusal) {
                        return (Err(refusal), request_id);
                    }
                    assert!(begun.elapsed() < CALL_MAX, "no server answers: {refusal:?}");
                }
                Err(_) => assert!(begun.elapsed() < CALL_MAX, "no server answers in time"),
            }
            tokio::time::sleep(PAUSE).await;
        }
    }
}

/// The step that brings a unit back soonest.
fn next(state: TagOutState) -> Step {
    match state {
        TagOutState::Tagged => Step::Diagnose,
        TagOutState::Diagnosed => Step::Repair,
        TagOutState::Repaired => Step::Inspect,
        _ => Step::Release,
    }
}

/// Whether it is unknown what came of a call, or it is to be sent again. What a server itself says has a reason.
fn is_lost(refusal: &Refusal) -> bool {
    matches!(
        refusal.reason.as_str(),
        "" | "DATABASE_AWAY" | "CONTENTION" | "GOING_DOWN"
    )
}
