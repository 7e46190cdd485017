//! The tag-out as a state machine.
//!
//! A tagged unit stays out until a mechanic releases it, and a mechanic can release it only after an inspection that
//! it passed. The words follow the terms of 29 CFR 1910.147 (the control of hazardous energy), where a tag warns and
//! only authorised people remove it; the machine keeps a record and certifies nothing. Local codes, the makers'
//! manuals and licensed practice decide how a repair is locked out, made and tested.
//!
//! ```text
//!   Tagged ── diagnose ──> Diagnosed <──> WaitingForParts
//!                             │  ^              │
//!                      repair │  │ inspect,     │ repair
//!                             v  │ failed       │
//!                          Repaired <───────────┘
//!                             │ inspect, passed
//!                             v
//!                         Inspected ── release ──> Released ── reopen ──> Tagged
//! ```
//! A unit in which no fault is found goes from diagnosed straight to inspection. A repair may be recorded again, after
//! an inspection too: then it wants a new inspection. Whoever finds the repair bad diagnoses the unit again, from repaired and
//! from inspected as well, and whatever was inspected before is void. Who repaired is remembered all the while, so that a
//! company that wants another inspector has one by this way round too. Whoever sees that the fault is worse than the tag says
//! raises an open tag: it stands as freshly tagged, whatever was done by then.

/// Where a tag-out stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum State {
    /// Tagged; nobody has looked yet.
    Tagged,
    /// A mechanic knows what is wrong.
    Diagnosed,
    /// Diagnosed, and waits for parts.
    WaitingForParts,
    /// Repaired, not yet inspected.
    Repaired,
    /// Inspected and passed.
    Inspected,
    /// Ended: the unit may go out.
    Released,
}

impl State {
    /// Whether the tag still holds.
    pub const fn is_open(self) -> bool {
        !matches!(self, Self::Released)
    }
}

/// How bad the fault is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Severity {
    /// Must not be used: on no load-out and no stop.
    Unsafe,
    /// May be used for what the tag does not forbid.
    Reduced,
}

/// Whether a unit with this tag may be on a load-out.
pub const fn may_go_out(state: State, severity: Severity) -> bool {
    !state.is_open() || matches!(severity, Severity::Reduced)
}

/// Whether somebody is still to be told that a tag is off: whoever applied it, where another took it off, and anybody where it
/// is not known who did. 29 CFR 1910.147(e)(3) has devices removed by the employee who applied them; where another removes
/// one under the employer's direction, the former is to know it before resuming work (iii). The machine lets any mechanic
/// release: whether the employer's procedure does, and whether that employee is at the facility (i), it cannot know.
pub fn is_to_be_told<Id: Copy + Eq>(applied_by: Option<Id>, released_by: Option<Id>) -> bool {
    released_by.is_some() && applied_by != released_by
}

/// Somebody who acts on a tag.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Person<Id> {
    /// Who.
    pub id: Id,
    /// Whether the company lets them repair, inspect and release.
    pub mechanic: bool,
}

/// What happens to a tag.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Event {
    /// A mechanic finds out what is wrong.
    Diagnose {
        /// Parts must come first.
        waiting_for_parts: bool,
    },
    /// A mechanic has repaired it.
    Repair,
    /// A mechanic has inspected it.
    Inspect {
        /// Whether it passed.
        passed: bool,
    },
    /// A mechanic ends the tag.
    Release,
    /// Somebody sees that the fault is back, or never went.
    Reopen,
    /// Somebody sees that the fault is worse than the tag says.
    Raise,
}

/// The company's own rules.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Rules {
    /// Whoever repaired must not be the one who passes the unit.
    pub inspector_differs_from_repairer: bool,
}

/// A tag as far as its rules are concerned.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Tag<Id> {
    /// Where it stands.
    pub state: State,
    /// Who repaired last, since it was tagged.
    pub repaired_by: Option<Id>,
    /// Who passed it, since the last repair and the last diagnosis.
    pub inspected_by: Option<Id>,
}

/// Why an event is refused.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum Refusal {
    /// The person is no mechanic.
    #[error("only a mechanic may do this")]
    NotAMechanic,
    /// The tag does not stand where the event can happen.
    #[error("not possible while the tag is {}", describe(*.0))]
    WrongState(State),
    /// The repairer may not pass their own work.
    #[error("whoever repaired a unit must not pass it")]
    OwnRepair,
}

/// A state in words.
pub const fn describe(state: State) -> &'static str {
    match state {
        State::Tagged => "not yet diagnosed",
        State::Diagnosed => "diagnosed and not inspected",
        State::WaitingForParts => "waiting for parts",
        State::Repaired => "repaired and not inspected",
        State::Inspected => "inspected and not released",
        State::Released => "released",
    }
}

impl<Id: Copy + Eq> Tag<Id> {
    /// A fresh tag.
    pub const fn new() -> Self {
        Self {
            state: State::Tagged,
            repaired_by: None,
            inspected_by: None,
        }
    }

    /// The tag after an event.
    ///
    /// # Errors
    /// Refused for people who are no mechanics (anybody may reopen and raise), where the tag doesn't stand right, and where the
    /// company wants another inspector than the repairer.
    pub fn after(self, event: Event, by: Person<Id>, rules: Rules) -> Result<Self, Refusal> {
        if !by.mechanic && !matches!(event, Event::Reopen | Event::Raise) {
            return Err(Refusal::NotAMechanic);
        }
        match (event, self.state) {
            (
                Event::Diagnose { waiting_for_parts },
                State::Tagged
                | State::Diagnosed
                | State::WaitingForParts
                | State::Repaired
                | State::Inspected,
            ) => {
                let state = if waiting_for_parts {
                    State::WaitingForParts
                } else {
                    State::Diagnosed
                };
                Ok(Self {
                    state,
                    inspected_by: None,
                    ..self
                })
            }
            (
                Event::Repair,
                State::Diagnosed | State::WaitingForParts | State::Repaired | State::Inspected,
            ) => Ok(Self {
                state: State::Repaired,
                repaired_by: Some(by.id),
                inspected_by: None,
            }),
            (Event::Inspect { passed }, State::Diagnosed | State::Repaired) => {
                // That their repair is bad, its repairer may say.
                if passed
                    && rules.inspector_differs_from_repairer
                    && self.repaired_by == Some(by.id)
                {
                    return Err(Refusal::OwnRepair);
                }
                Ok(if passed {
                    Self {
                        state: State::Inspected,
                        inspected_by: Some(by.id),
                        ..self
                    }
                } else {
                    Self {
                        state: State::Diagnosed,
                        inspected_by: None,
                        ..self
                    }
                })
            }
            (Event::Release, State::Inspected) => Ok(Self {
                state: State::Released,
                ..self
            }),
            (Event::Reopen, State::Released) => Ok(Self::new()),
            (Event::Raise, state) if state.is_open() => Ok(Self {
                state: State::Tagged,
                inspected_by: None,
                ..self
            }),
            (_, state) => Err(Refusal::WrongState(state)),
        }
    }
}

impl<Id: Copy + Eq> Default for Tag<Id> {
    fn default() -> Self {
        Self::new()
    }
}

#[cfg(test)]
mod tests {
    use std::collections::{HashSet, VecDeque};

    use super::*;

    const EVENTS: [Event; 8] = [
        Event::Diagnose {
            waiting_for_parts: false,
        },
        Event::Diagnose {
            waiting_for_parts: true,
        },
        Event::Repair,
        Event::Inspect { passed: true },
        Event::Inspect { passed: false },
        Event::Release,
        Event::Reopen,
        Event::Raise,
    ];
    const PEOPLE: [Person<u8>; 3] = [
        Person {
            id: 1,
            mechanic: true,
        },
        Person {
            id: 2,
            mechanic: true,
        },
        Person {
            id: 3,
            mechanic: false,
        },
    ];

    type Step = (Tag<u8>, Event, Person<u8>, Tag<u8>);

    /// Every step that can be taken from a fresh tag, under the given rules.
    fn explore(rules: Rules) -> Vec<Step> {
        let mut seen = HashSet::from([Tag::new()]);
        let mut queue = VecDeque::from([Tag::new()]);
        let mut steps = Vec::new();
        while let Some(tag) = queue.pop_front() {
            for event in EVENTS {
                for by in PEOPLE {
                    if let Ok(next) = tag.after(event, by, rules) {
                        steps.push((tag, event, by, next));
                        if seen.insert(next) {
                            queue.push_back(next);
                        }
                    }
                }
            }
        }
        steps
    }

    fn both_rules() -> [Rules; 2] {
        [false, true].map(|inspector_differs_from_repairer| Rules {
            inspector_differs_from_repairer,
        })
    }

    /// Guards the invariant itself: over the whole reachable state space, a tag ends only by a mechanic's release of
    /// a unit that a mechanic passed after its last repair.
    #[test]
    fn a_tag_ends_only_by_a_mechanic_after_a_passed_inspection() {
        for rules in both_rules() {
            let steps = explore(rules);
            let ends: Vec<_> = steps
                .iter()
                .filter(|s| s.0.state.is_open() && !s.3.state.is_open())
                .collect();
            assert!(!ends.is_empty(), "a tag must be able to end");
            for (before, event, by, _) in ends {
                assert_eq!(*event, Event::Release);
                assert!(by.mechanic);
                assert_eq!(before.state, State::Inspected);
                assert!(before.inspected_by.is_some());
            }
        }
    }

    /// Guards the setting: with it no reachable tag was passed by its repairer; without it some is.
    #[test]
    fn the_inspector_differs_where_the_company_wants_it() {
        let own = |rules| {
            explore(rules)
                .iter()
                .any(|s| s.3.inspected_by.is_some() && s.3.inspected_by == s.3.repaired_by)
        };
        assert!(own(Rules {
            inspector_differs_from_repairer: false
        }));
        assert!(!own(Rules {
            inspector_differs_from_repairer: true
        }));
    }

    /// Guards against a dead end: every reachable open tag can still be brought to release.
    #[test]
    fn every_open_tag_can_still_be_released() {
        for rules in both_rules() {
            let steps = explore(rules);
            let mut good: Vec<Tag<u8>> = steps
                .iter()
                .map(|s| s.3)
                .filter(|t| !t.state.is_open())
                .collect();
            loop {
                let more: Vec<_> = steps
                    .iter()
                    .filter(|s| good.contains(&s.3) && !good.contains(&s.0))
                    .map(|s| s.0)
                    .collect();
                if more.is_empty() {
                    break;
                }
                good.extend(more);
            }
            assert!(steps.iter().all(|s| good.contains(&s.0)));
        }
    }

    /// Guards who may act: nobody but a mechanic changes an open tag, unless to say that it is worse, which starts it anew.
    #[test]
    fn others_bring_an_open_tag_no_step_on() {
        for rules in both_rules() {
            assert!(explore(rules).iter().all(|s| s.2.mechanic
                || !s.0.state.is_open()
                || (s.1 == Event::Raise && s.3.state == State::Tagged)));
        }
    }

    /// What the events say, kept apart from the machine: who repaired last, and who has passed the unit since anybody
    /// repaired it or found a fault.
    #[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Default)]
    struct Told {
        repaired_by: Option<u8>,
        passed_by: Option<u8>,
    }

    impl Told {
        fn after(self, event: Event, by: u8) -> Self {
            match event {
                Event::Diagnose { .. } | Event::Inspect { passed: false } | Event::Raise => Self {
                    passed_by: None,
                    ..self
                },
                Event::Repair => Self {
                    repaired_by: Some(by),
                    passed_by: None,
                },
                Event::Inspect { passed: true } => Self {
                    passed_by: Some(by),
                    ..self
                },
                Event::Release => self,
                Event::Reopen => Self::default(),
            }
        }
    }

    /// Guards every way round, those by a second diagnosis too: what ends a tag is an inspection that was passed after the
    /// last repair and the last fault found, and where the company wants it, by another than the last repairer.
    #[test]
    fn no_way_round_ends_a_tag_by_an_inspection_of_before() {
        for rules in both_rules() {
            let start = (Tag::new(), Told::default());
            let mut seen = HashSet::from([start]);
            let mut queue = VecDeque::from([start]);
            let mut ends = 0;
            while let Some((tag, told)) = queue.pop_front() {
                for event in EVENTS {
                    for by in PEOPLE {
                        let Ok(next) = tag.after(event, by, rules) else {
                            continue;
                        };
                        if event == Event::Release {
                            ends += 1;
                            assert!(told.passed_by.is_some(), "{tag:?} {told:?}");
                            assert!(
                                !rules.inspector_differs_from_repairer
                                    || told.passed_by != told.repaired_by,
                                "{tag:?} {told:?}"
                            );
                        }
                        let next = (next, told.after(event, by.id));
                        if seen.insert(next) {
                            queue.push_back(next);
                        }
                    }
                }
            }
            assert!(ends > 0, "a tag must be able to end");
        }
    }

    /// Guards whoever finds a repair bad, their own too: they can say so from every state of an open tag, and the unit is as
    /// it is after any diagnosis.
    #[test]
    fn a_bad_repair_is_diagnosed_again_and_may_fail_by_its_own_mechanic() {
        let diagnoses = EVENTS
            .iter()
            .filter(|event| matches!(event, Event::Diagnose { .. }));
        for rules in both_rules() {
            let tags: HashSet<Tag<u8>> = explore(rules).iter().map(|step| step.3).collect();
            let open = tags.iter().filter(|tag| tag.state.is_open());
            for (tag, event) in open.flat_map(|tag| diagnoses.clone().map(move |one| (tag, one))) {
                let next = tag.after(*event, PEOPLE[0], rules).unwrap();
                assert!(matches!(
                    next.state,
                    State::Diagnosed | State::WaitingForParts
                ));
                assert_eq!(next.inspected_by, None);
                assert_eq!(next.repaired_by, tag.repaired_by);
            }
            let by = PEOPLE[0];
            let repaired = [EVENTS[0], Event::Repair]
                .into_iter()
                .try_fold(Tag::new(), |tag, event| tag.after(event, by, rules))
                .unwrap();
            let failed = repaired.after(Event::Inspect { passed: false }, by, rules);
            assert_eq!(failed.map(|tag| tag.state), Ok(State::Diagnosed));
            let passed = repaired.after(Event::Inspect { passed: true }, by, rules);
            assert_eq!(
                passed.is_ok(),
                !rules.inspector_differs_from_repairer,
                "{passed:?}"
            );
        }
    }

    /// Guards the way to a second repair after inspection: it wants a new inspection.
    #[test]
    fn a_repair_after_inspection_voids_it() {
        let rules = Rules {
            inspector_differs_from_repairer: false,
        };
        let by = PEOPLE[0];
        let tag = [
            EVENTS[0],
            Event::Repair,
            Event::Inspect { passed: true },
            Event::Repair,
        ]
        .into_iter()
        .try_fold(Tag::new(), |tag, event| tag.after(event, by, rules))
        .unwrap();
        assert_eq!(tag.inspected_by, None);
        assert_eq!(
            tag.after(Event::Release, by, rules),
            Err(Refusal::WrongState(State::Repaired))
        );
    }

    /// Guards the guard: only an open tag of unsafe severity keeps a unit in.
    #[test]
    fn unsafe_and_open_keeps_a_unit_in() {
        for state in [
            State::Tagged,
            State::Diagnosed,
            State::WaitingForParts,
            State::Repaired,
            State::Inspected,
        ] {
            assert!(!may_go_out(state, Severity::Unsafe));
            assert!(may_go_out(state, Severity::Reduced));
        }
        assert!(may_go_out(State::Released, Severity::Unsafe));
    }
}
