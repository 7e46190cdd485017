//! Use cases played by chance against a model, with faults put in: transactions that meet others, that end before their
//! commit, answers that are lost, and clocks that jump. The same seed plays the same play.
//!
//! `FORENOON_SIMULATION_RUNS` sets how many plays, `FORENOON_SIMULATION_SEED` the first seed; a play that fails tells its
//! seed.

use std::collections::BTreeMap;
use std::env;
use std::path::Path;
use std::sync::atomic::{AtomicU32, Ordering};
use std::sync::{Arc, Mutex};
use std::time::Duration;

use chrono::{DateTime, Days, NaiveDate, TimeDelta, Utc};
use forenoon_desk::StoredPlan;
use forenoon_server::work::branch;
use forenoon_server::work::plan::{
    DiscardPlan, Draft, LeaseLimits, Leases, PublishPlan, StorePlan, plan_scope,
};
use forenoon_server::work::tag_out::{Advance, Step, TagOut, Tagged};
use forenoon_server::work::{
    Accepted, Call, Clock, Command, Error, ObstacleKind, Outcome, Retry, run_command,
};
use forenoon_store::entity::plan_draft::PlanParts;
use forenoon_store::entity::{
    audit_entry, outbox_event, plan, plan_crew_day, plan_load_out, tag_out,
};
use forenoon_store::sea_orm::{
    ColumnTrait, DatabaseTransaction, EntityTrait, PaginatorTrait, QueryFilter, QueryOrder,
    TryIntoModel,
};
use forenoon_store::value::{PlanState, Severity, TagOutState};
use forenoon_store::{Database, DatabaseOptions, GuardRule, StoreError};
use rand::{RngExt, SeedableRng};
use rand_xoshiro::Xoshiro256PlusPlus;
use tempfile::TempDir;
use uuid::Uuid;

use crate::mowing_yard::{self, MOWERS};
use crate::rows;

const BRANCH: &str = "larkmoor";
const CREW: &str = "ash";
const RUNS_DEFAULT: u64 = 2_000;
const STEPS: u32 = 6;

#[tokio::test]
async fn thousands_of_plays_go_as_the_model_says() {
    let first = number("FORENOON_SIMULATION_SEED", 1);
    let runs = number("FORENOON_SIMULATION_RUNS", RUNS_DEFAULT);
    let stage = Stage::open().await;
    let mut tally = BTreeMap::new();
    let mut model = Model::default();
    for seed in first..first + runs {
        let mut play = Play::new(&stage, model, seed);
        for line in play.run().await {
            let word = line.split(' ').take(2).collect::<Vec<_>>().join(" ");
            *tally.entry(word).or_insert(0) += 1;
        }
        model = play.model;
    }
    stage.agrees(&model).await;
    if runs >= 500 {
        // A play in which nothing is refused or accepted would tell nothing.
        for word in [
            "tag done",
            "tag refused",
            "step done",
            "step refused",
            "draft done",
            "draft refused",
            "publish done",
            "publish refused",
            "discard done",
            "discard refused",
        ] {
            assert!(
                tally.get(word).is_some_and(|count| *count > 20),
                "{word}: {tally:?}"
            );
        }
    }
}

#[tokio::test]
async fn the_same_seed_plays_the_same_play() {
    let mut told = Vec::new();
    for _ in 0..2 {
        let stage = Stage::open().await;
        let mut lines = Vec::new();
        let mut model = Model::default();
        for seed in 7..27 {
            let mut play = Play::new(&stage, model, seed);
            lines.extend(play.run().await);
            model = play.model;
        }
        told.push(lines);
    }
    assert_eq!(told[0], told[1]);
    assert!(told[0].len() > 50);
}

fn number(variable: &str, default: u64) -> u64 {
    env::var(variable).map_or(default, |text| text.parse().expect("a whole number"))
}

/// A database with a yard, and its clock.
struct Stage {
    database: Database,
    leases: Leases,
    now: Arc<Mutex<DateTime<Utc>>>,
    _folder: TempDir,
}

impl Stage {
    async fn open() -> Self {
        // In memory where there is such a place: thousands of commits need not reach a disk.
        let memory = Path::new("/dev/shm");
        let folder = TempDir::new_in(memory)
            .or_else(|_| TempDir::new())
            .expect("a folder");
        let database = Database::open(&DatabaseOptions {
            url: format!("sqlite://{}", folder.path().join("a.db").display()),
            connections_max: 2,
            wait_max: Duration::from_secs(30),
        })
        .await
        .expect("the database opens");
        mowing_yard::furnish(&database, &[]).await;
        Self {
            leases: Leases::new(database.clone(), LeaseLimits::default()),
            database,
            now: Arc::new(Mutex::new(
                "2027-04-20T11:45:00Z".parse().expect("an instant"),
            )),
            _folder: folder,
        }
    }

    fn clock(&self) -> impl Clock {
        let now = Arc::clone(&self.now);
        move || *now.lock().expect("the clock")
    }

    /// Everything stored is as the model has it, and told once.
    async fn agrees(&self, model: &Model) {
        let read = self.database.read();
        let open = tag_out::Entity::find()
            .filter(tag_out::Column::State.ne(TagOutState::Released))
            .all(read)
            .await
            .expect("tags");
        let open: BTreeMap<_, _> = open
            .into_iter()
            .map(|tag| (tag.unit_id, (tag.id, tag.state)))
            .collect();
        assert_eq!(open, model.tags);
        let plans = plan::Entity::find().all(read).await.expect("plans");
        let plans: BTreeMap<_, _> = plans
            .into_iter()
            .map(|plan| (plan.id, plan.state))
            .collect();
        let expected: BTreeMap<_, _> = model
            .plans
            .iter()
            .map(|(id, plan)| (id.clone(), plan.state))
            .collect();
        assert_eq!(plans, expected);
        let audit = audit_entry::Entity::find()
            .order_by_asc(audit_entry::Column::Seq)
            .all(read)
            .await
            .expect("audit");
        let numbers: Vec<i64> = audit.iter().map(|entry| entry.seq).collect();
        let told = i64::try_from(model.changes).expect("few");
        assert_eq!(numbers, (1..=told).collect::<Vec<_>>());
        let events = outbox_event::Entity::find().count(read).await;
        assert_eq!(events.expect("events"), model.changes);
    }
}

/// How things stand, kept apart from the code under test.
#[derive(Clone, Debug, Default)]
struct Model {
    /// Open tags by unit.
    tags: BTreeMap<String, (String, TagOutState)>,
    plans: BTreeMap<String, Planned>,
    /// Plans in the order in which they were made.
    made: Vec<String>,
    tag_number: u64,
    /// Changes that audit and events tell.
    changes: u64,
}

#[derive(Clone, Debug)]
struct Planned {
    state: PlanState,
    day: NaiveDate,
    aboard: Vec<String>,
}

impl Model {
    fn tagged(&self, units: &[String]) -> bool {
        units.iter().any(|unit| self.tags.contains_key(unit))
    }
}

/// As the documents have it.
fn after(step: &Step, state: TagOutState) -> Option<TagOutState> {
    use TagOutState::{Diagnosed, Inspected, Released, Repaired, Tagged};
    match (step, state) {
        (Step::Diagnosis { .. }, Tagged | Diagnosed) => Some(Diagnosed),
        (Step::Repair { .. }, Diagnosed | Repaired | Inspected) => Some(Repaired),
        (Step::Inspection { .. }, Diagnosed | Repaired) => Some(Inspected),
        (Step::Release, Inspected) => Some(Released),
        _ => None,
    }
}

/// What goes wrong with a command.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Fault {
    Nothing,
    /// Others write at the same time, so often.
    Meets(u32),
    /// The server ends before the commit; the command is sent again.
    EndsBeforeCommit,
    /// The answer is lost; the command is sent again.
    AnswerLost,
}

/// A command with its fault.
struct Faulty<'a, C> {
    inner: &'a C,
    meets: AtomicU32,
    ends: bool,
}

impl<C: Command> Command for Faulty<'_, C> {
    type Answer = C::Answer;

    async fn run(
        &self,
        transaction: &DatabaseTransaction,
        now: DateTime<Utc>,
    ) -> Result<Accepted<C::Answer>, Error> {
        let accepted = self.inner.run(transaction, now).await?;
        let left = self.meets.load(Ordering::Relaxed);
        if left > 0 {
            self.meets.store(left - 1, Ordering::Relaxed);
            let detail = "put in".to_owned();
            return Err(Error::Store(StoreError::Contention { detail }));
        }
        if self.ends {
            return Err(Error::Internal("ended before the commit".to_owned()));
        }
        Ok(accepted)
    }
}

/// One play.
struct Play<'a> {
    stage: &'a Stage,
    model: Model,
    seed: u64,
    chance: Xoshiro256PlusPlus,
    lines: Vec<String>,
}

impl<'a> Play<'a> {
    fn new(stage: &'a Stage, model: Model, seed: u64) -> Self {
        Self {
            stage,
            model,
            seed,
            chance: Xoshiro256PlusPlus::seed_from_u64(seed),
            lines: Vec::new(),
        }
    }

    async fn run(&mut self) -> Vec<String> {
        for _ in 0..STEPS {
            self.jump();
            match self.chance.random_range(0..8) {
                0 => self.tag().await,
                1..=3 => self.step().await,
                4 | 5 => self.draft().await,
                6 => self.publish().await,
                _ => self.discard().await,
            }
        }
        std::mem::take(&mut self.lines)
    }

    /// Time goes on; now and then the clock jumps, either way.
    fn jump(&mut self) {
        let seconds = match self.chance.random_range(0..10) {
            0 => -self.chance.random_range(1..40_000_000_i64),
            1 => self.chance.random_range(1..40_000_000),
            _ => self.chance.random_range(1..600),
        };
        let mut now = self.stage.now.lock().expect("the clock");
        let next = *now + TimeDelta::seconds(seconds);
        // Not so far that years have five digits.
        if (1..=20_000).contains(&(next - DateTime::UNIX_EPOCH).num_days()) || seconds.abs() < 600 {
            *now = next;
        }
    }

    fn unit(&mut self) -> String {
        MOWERS[self.chance.random_range(0..MOWERS.len())].to_owned()
    }

    async fn tag(&mut self) {
        let unit = self.unit();
        let row = rows::tag(0, &unit, Severity::Unsafe)
            .try_into_model()
            .expect("a tag");
        let command = TagOut {
            tag: tag_out::Model {
                branch_id: BRANCH.to_owned(),
                ..row
            },
        };
        let answer = self
            .send(&command, |tagged: &Tagged| tagged.tag.id.clone())
            .await;
        let expected = if self.model.tags.contains_key(&unit) {
            Err("AlreadyTaggedOut".to_owned())
        } else {
            self.model.tag_number += 1;
            self.model.changes += 1;
            let id = format!("t-{}", self.model.tag_number);
            self.model
                .tags
                .insert(unit, (id.clone(), TagOutState::Tagged));
            Ok(id)
        };
        self.compare("tag", &answer, &expected);
    }

    async fn step(&mut self) {
        let Some((unit, (id, state))) = self.any_tag() else {
            return;
        };
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
        let expected = match after(&step, state) {
            None => Err("TagOutState".to_owned()),
            Some(next) => {
                self.model.changes += 1;
                if next == TagOutState::Released {
                    self.model.tags.remove(&unit);
                } else {
                    self.model.tags.insert(unit, (id.clone(), next));
                }
                Ok(format!("{id} {next:?}"))
            }
        };
        let command = Advance {
            branch: BRANCH.to_owned(),
            id,
            mechanic: "moss".to_owned(),
            step,
            seen: None,
            inspector_differs: false,
        };
        let answer = self
            .send(&command, |(tag, _): &(tag_out::Model, String)| {
                format!("{} {:?}", tag.id, tag.state)
            })
            .await;
        self.compare("step", &answer, &expected);
    }

    fn any_tag(&mut self) -> Option<(String, (String, TagOutState))> {
        let place = self
            .chance
            .random_range(0..Ord::max(self.model.tags.len(), 1));
        let (unit, tag) = self.model.tags.iter().nth(place)?;
        Some((unit.clone(), tag.clone()))
    }

    /// A draft of one of three days, with two mowers aboard.
    async fn draft(&mut self) {
        let day = mowing_yard::first_day() + Days::new(self.chance.random_range(0..3));
        let mut aboard = vec![self.unit(), self.unit()];
        aboard.sort();
        aboard.dedup();
        let held = self
            .stage
            .leases
            .hold(BRANCH, &plan_scope(day))
            .await
            .expect("a lease");
        let read = self.stage.database.read();
        let branch = branch::get(read, BRANCH).await.expect("the branch");
        let command = StorePlan {
            // Right for a day's first, and to be numbered anew for its others.
            draft: Draft::new(stored(day, &aboard), 1).expect("a document"),
            lease: held.lease().clone(),
            branch,
        };
        let answer = self
            .send(&command, |stored: &StoredPlan| stored.plan.id.clone())
            .await;
        let expected = if self.model.tagged(&aboard) {
            Err("UnitTaggedOut".to_owned())
        } else {
            let of_day = self.model.plans.values().filter(|plan| plan.day == day);
            let id = format!("{day}-{}", of_day.count() + 1);
            self.model.changes += 1;
            self.model.made.push(id.clone());
            let state = PlanState::Draft;
            self.model
                .plans
                .insert(id.clone(), Planned { state, day, aboard });
            Ok(id)
        };
        self.compare("draft", &answer, &expected);
    }

    fn any_plan(&mut self) -> Option<(String, Planned)> {
        // The latest are drafts most often.
        let place = self.chance.random_range(0..6);
        let id = self.model.made.iter().rev().nth(place)?;
        let plan = self.model.plans.get(id)?;
        Some((id.clone(), plan.clone()))
    }

    async fn publish(&mut self) {
        let Some((id, chosen)) = self.any_plan() else {
            return;
        };
        let command = PublishPlan {
            branch: BRANCH.to_owned(),
            id: id.clone(),
            seen: None,
        };
        let answer = self
            .send(&command, |stored: &StoredPlan| stored.plan.id.clone())
            .await;
        let expected = if chosen.state != PlanState::Draft {
            Err("NotADraft".to_owned())
        } else if self.model.tagged(&chosen.aboard) {
            Err("UnitTaggedOut".to_owned())
        } else {
            // The day's other drafts do not know of it, and go.
            for (other, plan) in &mut self.model.plans {
                let next = match plan.state {
                    PlanState::Published => PlanState::Replaced,
                    PlanState::Draft => PlanState::Discarded,
                    _ => continue,
                };
                if plan.day == chosen.day && *other != id {
                    plan.state = next;
                    self.model.changes += 1;
                }
            }
            self.move_to(&id, PlanState::Published);
            Ok(id)
        };
        self.compare("publish", &answer, &expected);
    }

    async fn discard(&mut self) {
        let Some((id, chosen)) = self.any_plan() else {
            return;
        };
        let command = DiscardPlan {
            branch: BRANCH.to_owned(),
            id: id.clone(),
            seen: None,
        };
        let answer = self
            .send(&command, |stored: &StoredPlan| stored.plan.id.clone())
            .await;
        let expected = if chosen.state == PlanState::Draft {
            self.move_to(&id, PlanState::Discarded);
            Ok(id)
        } else {
            Err("NotADraft".to_owned())
        };
        self.compare("discard", &answer, &expected);
    }

    fn move_to(&mut self, id: &str, state: PlanState) {
        self.model.plans.get_mut(id).expect("the plan").state = state;
        self.model.changes += 1;
    }

    fn compare(
        &mut self,
        what: &str,
        answer: &Result<String, String>,
        expected: &Result<String, String>,
    ) {
        assert_eq!(
            answer, expected,
            "{what} with FORENOON_SIMULATION_SEED={}",
            self.seed
        );
        self.lines.push(match answer {
            Ok(words) => format!("{what} done {words}"),
            Err(words) => format!("{what} refused {words}"),
        });
    }

    /// Sends a command with a fault that chance chose, again where it broke off or its answer was lost.
    async fn send<C: Command>(
        &mut self,
        command: &C,
        words: impl Fn(&C::Answer) -> String + Send + Sync,
    ) -> Result<String, String> {
        let fault = match self.chance.random_range(0..8) {
            0 => Fault::Meets(self.chance.random_range(1..3)),
            1 => Fault::EndsBeforeCommit,
            2 => Fault::AnswerLost,
            _ => Fault::Nothing,
        };
        let call = Call {
            actor: "simulated".to_owned(),
            branch: BRANCH.to_owned(),
            method: "forenoon.v1.Simulated/Simulated",
            retry: Some(Retry {
                request_id: Uuid::from_u128(self.chance.random()),
                fingerprint: vec![1],
            }),
        };
        let encode = |answer: &C::Answer| words(answer).into_bytes();
        let clock = self.stage.clock();
        let attempt = async |meets: u32, ends: bool| {
            let inner = Faulty {
                inner: command,
                meets: AtomicU32::new(meets),
                ends,
            };
            let database = &self.stage.database;
            match run_command(database, &clock, &call, &inner, &encode).await {
                Ok(Outcome::Done(answer)) => Ok((encode(&answer), false)),
                Ok(Outcome::Replayed(bytes)) => Ok((bytes, true)),
                Err(error) => Err(error),
            }
        };
        let first = match fault {
            Fault::Meets(times) => attempt(times, false).await,
            Fault::EndsBeforeCommit => match attempt(0, true).await {
                Err(Error::Internal(_)) => attempt(0, false).await,
                refused => refused,
            },
            Fault::Nothing | Fault::AnswerLost => attempt(0, false).await,
        };
        let answer = match (fault, first) {
            (Fault::AnswerLost, Ok((lost, _))) => {
                let again = attempt(0, false).await.expect("answered as before");
                assert_eq!(again, (lost, true), "seed {}", self.seed);
                Ok(again)
            }
            (_, first) => first,
        };
        match answer {
            Ok((bytes, _)) => Ok(String::from_utf8(bytes).expect("words")),
            Err(Error::Obstructed(obstacles)) => {
                let kinds: Vec<ObstacleKind> = obstacles.iter().map(|one| one.kind).collect();
                assert!(kinds.iter().all(|kind| *kind == kinds[0]), "{obstacles:?}");
                Err(format!("{:?}", kinds[0]))
            }
            Err(Error::Store(StoreError::Guard(GuardRule::UnitTaggedOut))) => {
                Err("UnitTaggedOut".to_owned())
            }
            Err(error) => Err(error.to_string()),
        }
    }
}

/// A plan of a day as a search would make it, with one crew and no stop.
fn stored(day: NaiveDate, aboard: &[String]) -> StoredPlan {
    let of_branch = BRANCH.to_owned();
    let plan = rows::plan(&day.to_string())
        .try_into_model()
        .expect("a plan");
    let crew_day = rows::crew_day(&plan.id, CREW)
        .try_into_model()
        .expect("a crew day");
    let parts = PlanParts {
        crew_days: vec![plan_crew_day::Model {
            branch_id: of_branch.clone(),
            ..crew_day
        }],
        load_outs: aboard
            .iter()
            .map(|unit| plan_load_out::Model {
                branch_id: of_branch.clone(),
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
            branch_id: of_branch,
            ..plan
        },
        parts: Arc::new(parts),
    }
}
