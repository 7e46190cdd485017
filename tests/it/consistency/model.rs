//! What clients may see of a unit's tag and of a day's plans, one operation after another.

use forenoon_proto::v1::TagOutState;
use stateright::semantics::SequentialSpec;

/// An operation on a unit's tag.
#[derive(Clone, Debug, PartialEq)]
pub(crate) enum BenchOp {
    /// Tags the unit out; the name that the tag was given, if it was accepted.
    Tag(Option<String>),
    /// Takes a tag a step on.
    Step(Step, String),
    /// Reads the unit's open tag.
    Read,
}

/// A step of a tag at the bench.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Step {
    Diagnose,
    Repair,
    Inspect,
    Release,
}

/// What came of it.
#[derive(Clone, Debug, PartialEq)]
pub(crate) enum BenchRet {
    Accepted,
    Refused,
    Open(Option<(String, TagOutState)>),
}

/// The unit's open tag, if there is one.
#[derive(Clone, Debug)]
pub(crate) struct BenchModel {
    pub(crate) open: Option<(String, TagOutState)>,
}

impl SequentialSpec for BenchModel {
    type Op = BenchOp;
    type Ret = BenchRet;

    fn invoke(&mut self, op: &BenchOp) -> BenchRet {
        match op {
            BenchOp::Read => BenchRet::Open(self.open.clone()),
            BenchOp::Tag(name) => {
                if self.open.is_some() {
                    return BenchRet::Refused;
                }
                self.open = name.clone().map(|name| (name, TagOutState::Tagged));
                BenchRet::Accepted
            }
            BenchOp::Step(step, name) => {
                let next = match &self.open {
                    Some((open, state)) if open == name => after(*step, *state),
                    _ => None,
                };
                match next {
                    None => BenchRet::Refused,
                    Some(TagOutState::Released) => {
                        self.open = None;
                        BenchRet::Accepted
                    }
                    Some(state) => {
                        self.open = Some((name.clone(), state));
                        BenchRet::Accepted
                    }
                }
            }
        }
    }
}

/// As the documents have it: diagnosis first and again from any state, release after an inspection alone.
fn after(step: Step, state: TagOutState) -> Option<TagOutState> {
    use TagOutState::{Diagnosed, Inspected, Released, Repaired, Tagged};
    match (step, state) {
        (Step::Diagnose, Tagged | Diagnosed | Repaired | Inspected) => Some(Diagnosed),
        (Step::Repair, Diagnosed | Repaired | Inspected) => Some(Repaired),
        (Step::Inspect, Diagnosed | Repaired) => Some(Inspected),
        (Step::Release, Inspected) => Some(Released),
        _ => None,
    }
}

/// An operation on a day's plans.
#[derive(Clone, Debug, PartialEq)]
pub(crate) enum DayOp {
    Publish(String),
    Read,
}

/// What came of it.
#[derive(Clone, Debug, PartialEq)]
pub(crate) enum DayRet {
    Accepted,
    Refused,
    Published(Option<String>),
}

/// The day's published plan, and whether it was published by one of the drafts that are played with: all of these were
/// made before, so that none can be published after another.
#[derive(Clone, Debug)]
pub(crate) struct DayModel {
    published: Option<String>,
    overtaken: bool,
}

impl DayModel {
    pub(crate) fn with(published: Option<String>) -> Self {
        Self {
            published,
            overtaken: false,
        }
    }
}

impl SequentialSpec for DayModel {
    type Op = DayOp;
    type Ret = DayRet;

    fn invoke(&mut self, op: &DayOp) -> DayRet {
        match op {
            DayOp::Read => DayRet::Published(self.published.clone()),
            DayOp::Publish(plan) => {
                if self.overtaken {
                    return DayRet::Refused;
                }
                self.overtaken = true;
                self.published = Some(plan.clone());
                DayRet::Accepted
            }
        }
    }
}

#[test]
fn the_tester_sees_a_read_of_the_past_and_a_tag_accepted_twice() {
    use stateright::semantics::{ConsistencyTester, LinearizabilityTester};
    let name = || "t-1".to_owned();
    let tag = || BenchOp::Tag(Some(name()));
    let free = || LinearizabilityTester::new(BenchModel { open: None });
    let mut sound = free();
    sound
        .on_invret(1, tag(), BenchRet::Accepted)
        .and_then(|it| it.on_invret(2, BenchOp::Tag(None), BenchRet::Refused))
        .expect("well formed");
    assert!(sound.is_consistent());
    let mut past = free();
    past.on_invret(1, tag(), BenchRet::Accepted)
        .and_then(|it| it.on_invret(2, BenchOp::Read, BenchRet::Open(None)))
        .expect("well formed");
    assert!(!past.is_consistent());
    let mut twice = free();
    twice
        .on_invret(1, tag(), BenchRet::Accepted)
        .and_then(|it| it.on_invret(2, tag(), BenchRet::Accepted))
        .expect("well formed");
    assert!(!twice.is_consistent());
}
