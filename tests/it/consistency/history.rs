//! What clients saw, written down in the order in which calls began and ended.

use std::collections::BTreeMap;
use std::sync::{Arc, Mutex};

use forenoon_proto::google::r#type::Date;

use super::Seen;
use super::model::{BenchOp, BenchRet, DayOp, DayRet, Step};
use super::tagged::{Out, Publication, Span};

type BenchSeen = Seen<BenchOp, BenchRet>;
type DaySeen = Seen<DayOp, DayRet>;

/// All that was seen, in the order in which calls began and ended.
#[derive(Clone, Default)]
pub(crate) struct History(Arc<Mutex<Vec<Entry>>>);

/// A call's beginning, or its end with what came of it.
pub(super) enum Entry {
    Began {
        call: u64,
        client: u64,
    },
    Bench {
        call: u64,
        unit: String,
        op: BenchOp,
        ret: BenchRet,
    },
    Day {
        call: u64,
        day: Date,
        op: DayOp,
        ret: DayRet,
    },
    /// A draft that was not published as a unit of it was tagged out.
    Kept {
        call: u64,
        plan: String,
    },
}

impl History {
    /// Writes down that a call begins; what it is is known to the tester once it ends.
    pub(super) fn began(&self, client: u64) -> u64 {
        let mut entries = self.0.lock().expect("the history");
        let call = u64::try_from(entries.len()).expect("few");
        entries.push(Entry::Began { call, client });
        call
    }

    pub(super) fn ended(&self, entry: Entry) {
        self.0.lock().expect("the history").push(entry);
    }

    pub(crate) fn of_unit(&self, spare: &str) -> Vec<BenchSeen> {
        self.told(|entry| match entry {
            Entry::Bench {
                call,
                unit,
                op,
                ret,
            } if unit == spare => Some((*call, op.clone(), ret.clone())),
            _ => None,
        })
    }

    pub(crate) fn of_day(&self, wanted: Date) -> Vec<DaySeen> {
        self.told(|entry| match entry {
            Entry::Day { call, day, op, ret } if *day == wanted => {
                Some((*call, op.clone(), ret.clone()))
            }
            _ => None,
        })
    }

    /// When which unit was out, and when which draft was published or kept back.
    pub(crate) fn outs_and_publications(&self) -> (Vec<Out>, Vec<Publication>) {
        let entries = self.0.lock().expect("the history");
        let mut outs: BTreeMap<String, Out> = BTreeMap::new();
        let mut publications = Vec::new();
        for (ended, entry) in (0..).zip(entries.iter()) {
            let span = |call: &u64| Span {
                began: *call,
                ended,
            };
            match entry {
                Entry::Bench {
                    call,
                    unit,
                    op: BenchOp::Tag(Some(tag)),
                    ..
                } => {
                    let out = outs.entry(tag.clone()).or_default();
                    out.unit.clone_from(unit);
                    out.tagged = Some(span(call));
                }
                Entry::Bench {
                    call,
                    unit,
                    op: BenchOp::Step(Step::Release, tag),
                    ret: BenchRet::Accepted,
                } => {
                    // The answer to the tag may come after that to its release.
                    let out = outs.entry(tag.clone()).or_default();
                    out.unit.clone_from(unit);
                    out.released = Some(span(call));
                }
                Entry::Day {
                    call,
                    op: DayOp::Publish(plan),
                    ret: DayRet::Accepted,
                    ..
                } => publications.push(Publication {
                    plan: plan.clone(),
                    span: span(call),
                    kept: false,
                }),
                Entry::Kept { call, plan } => publications.push(Publication {
                    plan: plan.clone(),
                    span: span(call),
                    kept: true,
                }),
                _ => {}
            }
        }
        (outs.into_values().collect(), publications)
    }

    fn told<O: Clone, R: Clone>(
        &self,
        of: impl Fn(&Entry) -> Option<(u64, O, R)>,
    ) -> Vec<Seen<O, R>> {
        let entries = self.0.lock().expect("the history");
        let ends: Vec<(u64, O, R)> = entries.iter().filter_map(&of).collect();
        let client_of = |wanted: u64| {
            entries
                .iter()
                .find_map(|entry| match entry {
                    Entry::Began { call, client } if *call == wanted => Some(*client),
                    _ => None,
                })
                .expect("a call that ended had begun")
        };
        let mut seen = Vec::new();
        for entry in entries.iter() {
            if let Entry::Began { call, client } = entry
                && let Some((_, op, _)) = ends.iter().find(|(ended, _, _)| ended == call)
            {
                seen.push(Seen::Began(*client, op.clone()));
            } else if let Some((call, _, ret)) = of(entry) {
                seen.push(Seen::Ended(client_of(call), ret));
            }
        }
        seen
    }
}
