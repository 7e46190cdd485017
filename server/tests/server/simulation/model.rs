//! How things stand, kept apart from the code under test.

use std::collections::BTreeMap;

use chrono::NaiveDate;
use forenoon_server::work::tag_out::Step;
use forenoon_store::value::{PlanState, TagOutState};
use uuid::Uuid;

/// What a command is to answer, and how many changes audit and events are to tell of it; or why it is to be refused.
pub(super) type Expected = Result<(String, u64), String>;

#[derive(Debug, Default)]
pub(super) struct Model {
    /// All tags by id, released ones too.
    pub(super) tags: BTreeMap<String, Tag>,
    pub(super) plans: BTreeMap<String, Planned>,
    /// Plans in the order in which they were made.
    pub(super) made: Vec<String>,
    /// Accepted commands, with the changes that audit and events tell of each.
    pub(super) accepted: BTreeMap<Uuid, u64>,
}

#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Tag {
    pub(super) unit: String,
    pub(super) state: TagOutState,
    pub(super) revision: i64,
}

#[derive(Clone, Debug)]
pub(super) struct Planned {
    pub(super) state: PlanState,
    pub(super) day: NaiveDate,
    pub(super) aboard: Vec<String>,
    pub(super) revision: i64,
}

impl Planned {
    fn move_to(&mut self, state: PlanState) {
        self.state = state;
        self.revision += 1;
    }
}

impl Model {
    pub(super) fn open_tags(&self) -> impl Iterator<Item = (&String, &Tag)> {
        let open = |(_, tag): &(&String, &Tag)| tag.state != TagOutState::Released;
        self.tags.iter().filter(open)
    }

    fn tagged(&self, units: &[String]) -> bool {
        self.open_tags().any(|(_, tag)| units.contains(&tag.unit))
    }

    pub(super) fn tag(&mut self, unit: &str) -> Expected {
        if self.tagged(&[unit.to_owned()]) {
            return Err("AlreadyTaggedOut".to_owned());
        }
        let id = format!("t-{}", self.tags.len() + 1);
        let tag = Tag {
            unit: unit.to_owned(),
            state: TagOutState::Tagged,
            revision: 1,
        };
        self.tags.insert(id.clone(), tag);
        Ok((id, 1))
    }

    /// `seen` is the revision that the caller has seen, where they mind.
    pub(super) fn step(&mut self, id: &str, step: &Step, seen: Option<i64>) -> Expected {
        let tag = self.tags.get_mut(id).expect("the tag");
        refuse_stale(seen, tag.revision)?;
        tag.state = after(step, tag.state).ok_or("TagOutState")?;
        tag.revision += 1;
        Ok((format!("{id} {:?}", tag.state), 1))
    }

    pub(super) fn draft(&mut self, day: NaiveDate, aboard: Vec<String>) -> Expected {
        if self.tagged(&aboard) {
            return Err("UnitTaggedOut".to_owned());
        }
        let of_day = self.plans.values().filter(|plan| plan.day == day);
        let id = format!("{day}-{}", of_day.count() + 1);
        self.made.push(id.clone());
        let plan = Planned {
            state: PlanState::Draft,
            day,
            aboard,
            revision: 1,
        };
        self.plans.insert(id.clone(), plan);
        Ok((id, 1))
    }

    pub(super) fn publish(&mut self, id: &str, seen: Option<i64>) -> Expected {
        let plan = self.plans.get(id).expect("the plan");
        refuse_stale(seen, plan.revision)?;
        if plan.state != PlanState::Draft {
            return Err("NotADraft".to_owned());
        }
        if self.tagged(&plan.aboard) {
            return Err("UnitTaggedOut".to_owned());
        }
        let day = plan.day;
        let mut changes = 0;
        // The day's other drafts do not know of it, and go.
        for (other, plan) in &mut self.plans {
            let next = match plan.state {
                PlanState::Draft if other == id => PlanState::Published,
                PlanState::Draft => PlanState::Discarded,
                PlanState::Published => PlanState::Replaced,
                _ => continue,
            };
            if plan.day == day {
                plan.move_to(next);
                changes += 1;
            }
        }
        Ok((id.to_owned(), changes))
    }

    pub(super) fn discard(&mut self, id: &str, seen: Option<i64>) -> Expected {
        let plan = self.plans.get_mut(id).expect("the plan");
        refuse_stale(seen, plan.revision)?;
        if plan.state != PlanState::Draft {
            return Err("NotADraft".to_owned());
        }
        plan.move_to(PlanState::Discarded);
        Ok((id.to_owned(), 1))
    }
}

fn refuse_stale(seen: Option<i64>, present: i64) -> Result<(), String> {
    if seen.is_some_and(|seen| seen != present) {
        return Err("StaleEtag".to_owned());
    }
    Ok(())
}

/// As the documents have it.
fn after(step: &Step, state: TagOutState) -> Option<TagOutState> {
    use TagOutState::{Diagnosed, Inspected, Released, Repaired, Tagged};
    match (step, state) {
        (Step::Diagnosis { .. }, Tagged | Diagnosed | Repaired | Inspected) => Some(Diagnosed),
        (Step::Repair { .. }, Diagnosed | Repaired | Inspected) => Some(Repaired),
        (Step::Inspection { .. }, Diagnosed | Repaired) => Some(Inspected),
        (Step::Release, Inspected) => Some(Released),
        _ => None,
    }
}
