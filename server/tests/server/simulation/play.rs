//! One play: two hands begin and finish commands in an order that chance chooses, each by what it saw when it began.

use std::sync::{Arc, Mutex};

use chrono::{DateTime, Days, NaiveDate, TimeDelta, Utc};
use forenoon_desk::StoredPlan;
use forenoon_server::work::branch;
use forenoon_server::work::plan::{DiscardPlan, Draft, Held, PublishPlan, StorePlan, plan_scope};
use forenoon_server::work::tag_out::{Advance, Step, TagOut, Tagged};
use forenoon_server::work::{Call, Command, Error, ObstacleKind, Retry, Seen};
use forenoon_store::entity::plan_draft::PlanParts;
use forenoon_store::entity::{plan, plan_crew_day, plan_load_out, tag_out};
use forenoon_store::sea_orm::{EntityTrait, TryIntoModel};
use forenoon_store::value::{Severity, TagOutState};
use forenoon_store::{GuardRule, Revisioned, StoreError};
use rand::{RngExt, SeedableRng};
use rand_xoshiro::Xoshiro256PlusPlus;
use uuid::Uuid;

use super::faults::{Ended, Fault, Sent};
use super::model::{Expected, Model};
use super::stage::{CREW, MECHANIC, Stage};
use crate::mowing_yard::{self, MOWERS};
use crate::rows;

/// Beginnings and ends of commands.
const STEPS: u32 = 12;
const HANDS: [&str; 2] = ["one", "other"];
/// Days that are planned.
const DAYS: u64 = 3;

/// What happened in a play, as it can be told again.
#[derive(Debug, PartialEq, Eq)]
pub(super) struct Line {
    at: DateTime<Utc>,
    hand: &'static str,
    what: &'static str,
    /// Of a command that is finished, its answer; of one that is begun, what it is about.
    words: Result<String, String>,
    /// The fault that it met.
    fault: Fault,
}

impl Line {
    /// What of it is counted.
    pub(super) fn tallied(&self) -> [String; 2] {
        let came = match &self.words {
            Ok(_) => format!("{} done", self.what),
            Err(reason) => format!("{} refused {reason}", self.what),
        };
        [came, self.fault.kind()]
    }
}

/// A command that a hand has begun.
enum Intent {
    Tag {
        unit: String,
    },
    Step {
        id: String,
        step: Step,
        seen: Option<Seen>,
    },
    Draft {
        day: NaiveDate,
        aboard: Vec<String>,
        held: Held,
    },
    Publish {
        id: String,
        seen: Option<Seen>,
    },
    Discard {
        id: String,
        seen: Option<Seen>,
    },
}

/// How a command came out in the end.
struct Came {
    request_id: Uuid,
    answer: Result<String, String>,
    fault: Fault,
}

pub(super) struct Play<'a> {
    stage: &'a Stage,
    branch: String,
    now: Arc<Mutex<DateTime<Utc>>>,
    chance: Xoshiro256PlusPlus,
    model: Model,
    begun: [Option<Intent>; 2],
    lines: Vec<Line>,
}

impl<'a> Play<'a> {
    /// All of it comes of the seed; the branch is furnished and otherwise new.
    pub(super) fn new(stage: &'a Stage, branch: String, seed: u64) -> Self {
        let start = "2027-04-20T11:45:00Z".parse().expect("an instant");
        Self {
            stage,
            branch,
            now: Arc::new(Mutex::new(start)),
            chance: Xoshiro256PlusPlus::seed_from_u64(seed),
            model: Model::default(),
            begun: [None, None],
            lines: Vec::new(),
        }
    }

    pub(super) async fn run(mut self) -> Vec<Line> {
        for _ in 0..STEPS {
            self.jump();
            let hand = self.chance.random_range(0..HANDS.len());
            match self.begun[hand].take() {
                Some(intent) => Box::pin(self.finish(hand, intent)).await,
                None => self.begin(hand).await,
            }
        }
        for hand in 0..HANDS.len() {
            if let Some(intent) = self.begun[hand].take() {
                Box::pin(self.finish(hand, intent)).await;
            }
        }
        self.stage.agrees(&self.branch, &self.model).await;
        self.lines
    }

    /// Time goes on; now and then the clock jumps, either way.
    fn jump(&mut self) {
        let seconds = match self.chance.random_range(0..10) {
            0 => -self.chance.random_range(1..40_000_000_i64),
            1 => self.chance.random_range(1..40_000_000),
            _ => self.chance.random_range(1..600),
        };
        *self.now.lock().expect("the clock") += TimeDelta::seconds(seconds);
    }

    fn line(
        &mut self,
        hand: usize,
        what: &'static str,
        words: Result<String, String>,
        fault: Fault,
    ) {
        let at = *self.now.lock().expect("the clock");
        let hand = HANDS[hand];
        self.lines.push(Line {
            at,
            hand,
            what,
            words,
            fault,
        });
    }

    fn unit(&mut self) -> String {
        MOWERS[self.chance.random_range(0..MOWERS.len())].to_owned()
    }

    async fn begin(&mut self, hand: usize) {
        let intent = match self.chance.random_range(0..10) {
            0 => None,
            1..=3 => self.step().await,
            4 => Some(self.draft().await),
            chosen => match self.any_plan() {
                Some(id) => {
                    let seen = self.plan_seen(&id).await;
                    Some(if chosen < 8 {
                        Intent::Publish { id, seen }
                    } else {
                        Intent::Discard { id, seen }
                    })
                }
                None => Some(self.draft().await),
            },
        };
        let intent = match intent {
            Some(intent) => intent,
            None => Intent::Tag { unit: self.unit() },
        };
        let about = match &intent {
            Intent::Tag { unit } => format!("tag {unit}"),
            Intent::Step { id, step, .. } => format!("{step:?} {id}"),
            Intent::Draft { day, aboard, .. } => format!("draft {day} {aboard:?}"),
            Intent::Publish { id, .. } => format!("publish {id}"),
            Intent::Discard { id, .. } => format!("discard {id}"),
        };
        self.line(hand, "begin", Ok(about), Fault::Nothing);
        self.begun[hand] = Some(intent);
    }

    /// A step of an open tag; none where there is no such tag.
    async fn step(&mut self) -> Option<Intent> {
        let id = self.any_tag()?;
        let tag = self.model.tags.get(&id).expect("the tag");
        let (state, revision) = (tag.state, tag.revision);
        let text = "as found".to_owned();
        // The right one most often, so that units come back.
        let right = match state {
            TagOutState::Tagged => 0,
            TagOutState::Diagnosed => 1,
            TagOutState::Repaired => 2,
            _ => 3,
        };
        let chosen = if self.chance.random_ratio(3, 4) {
            right
        } else {
            self.chance.random_range(0..4)
        };
        let step = match chosen {
            0 => Step::Diagnosis {
                text,
                waiting_for_parts: false,
                expected_return_time: None,
            },
            1 => Step::Repair { text },
            2 => Step::Inspection { text, passed: true },
            _ => Step::Release,
        };
        let key = (self.branch.clone(), id.clone());
        let read = self.stage.database.read();
        let row = tag_out::Entity::find_by_id(key).one(read).await;
        let row = row.expect("read").expect("the tag");
        let seen = self.seen(&row, revision);
        Some(Intent::Step { id, step, seen })
    }

    /// A draft of one of three days that the other hand does not plan, with two mowers aboard.
    async fn draft(&mut self) -> Intent {
        let first = self.chance.random_range(0..DAYS);
        let taken = self.begun.iter().flatten().find_map(|intent| match intent {
            Intent::Draft { day, .. } => Some(*day),
            _ => None,
        });
        let day = (first..first + DAYS)
            .map(|number| mowing_yard::first_day() + Days::new(number % DAYS))
            .find(|day| Some(*day) != taken)
            .expect("a day that is free");
        let mut aboard = vec![self.unit(), self.unit()];
        aboard.sort();
        aboard.dedup();
        let scope = plan_scope(day);
        let held = self.stage.leases.hold(&self.branch, &scope).await;
        Intent::Draft {
            day,
            aboard,
            held: held.expect("a lease"),
        }
    }

    /// Often what the other hand is about to change.
    fn any_tag(&mut self) -> Option<String> {
        let others = self.begun.iter().flatten().find_map(|intent| match intent {
            Intent::Step { id, .. } => Some(id.clone()),
            _ => None,
        });
        let count = self.model.open_tags().count();
        let place = self.chance.random_range(0..Ord::max(count, 1));
        let any = self.model.open_tags().nth(place).map(|(id, _)| id.clone());
        others.filter(|_| self.chance.random_ratio(3, 4)).or(any)
    }

    /// Often what the other hand is about to change.
    fn any_plan(&mut self) -> Option<String> {
        let others = self.begun.iter().flatten().find_map(|intent| match intent {
            Intent::Publish { id, .. } | Intent::Discard { id, .. } => Some(id.clone()),
            _ => None,
        });
        // The latest are drafts most often.
        let place = self.chance.random_range(0..4);
        let any = self.model.made.iter().rev().nth(place).cloned();
        others.filter(|_| self.chance.random_ratio(3, 4)).or(any)
    }

    async fn plan_seen(&mut self, id: &str) -> Option<Seen> {
        let key = (self.branch.clone(), id.to_owned());
        let read = self.stage.database.read();
        let row = plan::Entity::find_by_id(key).one(read).await;
        let row = row.expect("read").expect("the plan");
        let revision = self.model.plans.get(id).expect("the plan").revision;
        self.seen(&row, revision)
    }

    /// What a hand has seen, where it minds.
    fn seen(&mut self, row: &impl Revisioned, expected: i64) -> Option<Seen> {
        assert_eq!(row.revision(), expected);
        let seen = Seen {
            revision: row.revision(),
            create_time: row.create_time(),
        };
        self.chance.random_ratio(2, 3).then_some(seen)
    }

    async fn finish(&mut self, hand: usize, intent: Intent) {
        let branch = self.branch.clone();
        let revision = |seen: Option<Seen>| seen.map(|seen| seen.revision);
        match intent {
            Intent::Tag { unit } => {
                let row = rows::tag(0, &unit, Severity::Unsafe)
                    .try_into_model()
                    .expect("a tag");
                let tag = tag_out::Model {
                    branch_id: branch,
                    ..row
                };
                let words = |tagged: &Tagged| tagged.tag.id.clone();
                let came = self.send(hand, &TagOut { tag }, &words).await;
                let expected = self.model.tag(&unit);
                self.compare(hand, "tag", came, expected);
            }
            Intent::Step { id, step, seen } => {
                let command = Advance {
                    branch,
                    id: id.clone(),
                    mechanic: MECHANIC.to_owned(),
                    step: step.clone(),
                    seen,
                    inspector_differs: false,
                };
                let words =
                    |(tag, _): &(tag_out::Model, String)| format!("{} {:?}", tag.id, tag.state);
                let came = self.send(hand, &command, &words).await;
                let expected = self.model.step(&id, &step, revision(seen));
                self.compare(hand, "step", came, expected);
            }
            Intent::Draft { day, aboard, held } => {
                let read = self.stage.database.read();
                let row = branch::get(read, &branch).await.expect("the branch");
                let command = StorePlan {
                    // Right for a day's first, and to be numbered anew for its others.
                    draft: Draft::new(stored(&branch, day, &aboard), 1).expect("a document"),
                    lease: held.lease().clone(),
                    branch: row,
                };
                let came = self.send(hand, &command, &plan_id).await;
                let expected = self.model.draft(day, aboard);
                self.compare(hand, "draft", came, expected);
            }
            Intent::Publish { id, seen } => {
                let command = PublishPlan {
                    branch,
                    id: id.clone(),
                    seen,
                };
                let came = self.send(hand, &command, &plan_id).await;
                let expected = self.model.publish(&id, revision(seen));
                self.compare(hand, "publish", came, expected);
            }
            Intent::Discard { id, seen } => {
                let command = DiscardPlan {
                    branch,
                    id: id.clone(),
                    seen,
                };
                let came = self.send(hand, &command, &plan_id).await;
                let expected = self.model.discard(&id, revision(seen));
                self.compare(hand, "discard", came, expected);
            }
        }
    }

    fn compare(&mut self, hand: usize, what: &'static str, came: Came, expected: Expected) {
        let words = expected.map(|(words, changes)| {
            self.model.accepted.insert(came.request_id, changes);
            words
        });
        assert_eq!(came.answer, words, "{what}");
        self.line(hand, what, came.answer, came.fault);
    }

    /// Sends a command with a fault that chance chooses, until there is an answer.
    async fn send<C: Command>(
        &mut self,
        hand: usize,
        command: &C,
        words: &(dyn Fn(&C::Answer) -> String + Send + Sync),
    ) -> Came {
        let fault = Fault::drawn(&mut self.chance);
        let request_id = Uuid::from_u128(self.chance.random());
        let call = Call {
            actor: HANDS[hand].to_owned(),
            branch: self.branch.clone(),
            method: "forenoon.v1.Simulated/Simulated",
            retry: Some(Retry {
                request_id,
                fingerprint: vec![1],
            }),
        };
        let now = Arc::clone(&self.now);
        let clock = move || *now.lock().expect("the clock");
        let sent = Sent {
            database: &self.stage.database,
            clock: &clock,
            call: &call,
            command,
            words,
        };
        let (ended, reached) = if fault == Fault::Nothing {
            sent.with(fault).await
        } else {
            self.whole_or_not(request_id, fault, &sent).await
        };
        let answer = match ended {
            Ended::Answered(bytes, _) => Ok(String::from_utf8(bytes).expect("words")),
            Ended::Refused(error) => Err(refusal(&error)),
            Ended::BrokenOff(_) => unreachable!("it was sent until it was answered"),
        };
        Came {
            request_id,
            answer,
            fault: if reached { fault } else { Fault::Nothing },
        }
    }

    /// Sends a command with a fault, again where no answer came. After the fault all of it is there or nothing; in the end it
    /// was done once, or not at all.
    async fn whole_or_not<C: Command>(
        &self,
        request_id: Uuid,
        fault: Fault,
        sent: &Sent<'_, C>,
    ) -> (Ended, bool) {
        let look = async || self.stage.snapshot(&self.branch, request_id).await;
        let before = look().await;
        let (first, reached) = sent.with(fault).await;
        let last = match first {
            Ended::BrokenOff(lost) => {
                assert!(reached);
                let between = look().await;
                let done = between != before;
                if done {
                    assert!(fault.may_be_done(), "written: {fault:?}");
                    before.grew_whole(&between);
                } else {
                    assert!(fault.may_be_undone(), "lost: {fault:?}");
                }
                let (again, _) = sent.with(Fault::Nothing).await;
                if let Ended::Answered(bytes, replayed) = &again {
                    assert_eq!(*replayed, done, "done once: {fault:?}");
                    assert!(lost.is_none_or(|lost| lost == *bytes));
                }
                if done {
                    assert_eq!(look().await, between, "done twice: {fault:?}");
                }
                again
            }
            first => first,
        };
        let after = look().await;
        match &last {
            Ended::Refused(_) => assert_eq!(after, before, "{fault:?}"),
            Ended::Answered(..) | Ended::BrokenOff(_) => before.grew_whole(&after),
        }
        (last, reached)
    }
}

/// Why a command was refused, in a word.
fn refusal(error: &Error) -> String {
    match error {
        Error::Obstructed(obstacles) => {
            let kinds: Vec<ObstacleKind> = obstacles.iter().map(|one| one.kind).collect();
            assert!(kinds.iter().all(|kind| *kind == kinds[0]), "{obstacles:?}");
            format!("{:?}", kinds[0])
        }
        Error::Store(StoreError::Guard(GuardRule::UnitTaggedOut)) => "UnitTaggedOut".to_owned(),
        Error::StaleEtag { .. } => "StaleEtag".to_owned(),
        error => error.to_string(),
    }
}

fn plan_id(stored: &StoredPlan) -> String {
    stored.plan.id.clone()
}

/// A plan of a day as a search would make it, with one crew and no stop.
fn stored(branch: &str, day: NaiveDate, aboard: &[String]) -> StoredPlan {
    let plan = rows::plan(&day.to_string())
        .try_into_model()
        .expect("a plan");
    let crew_day = rows::crew_day(&plan.id, CREW)
        .try_into_model()
        .expect("a crew day");
    let parts = PlanParts {
        crew_days: vec![plan_crew_day::Model {
            branch_id: branch.to_owned(),
            ..crew_day
        }],
        load_outs: aboard
            .iter()
            .map(|unit| plan_load_out::Model {
                branch_id: branch.to_owned(),
                plan_id: plan.id.clone(),
                unit_id: unit.clone(),
                spell: 0,
                crew_id: CREW.to_owned(),
                from_time: None,
                until_time: None,
            })
            .collect(),
        ..Default::default()
    };
    StoredPlan {
        plan: plan::Model {
            branch_id: branch.to_owned(),
            ..plan
        },
        parts: Arc::new(parts),
    }
}
