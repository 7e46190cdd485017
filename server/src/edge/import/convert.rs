//! Records of an import, from the wire.

use std::collections::HashMap;

use forenoon_proto::v1;
use forenoon_proto::v1::import_record::Record;
use forenoon_store::entity::branch;

use crate::edge::checks::Checks;
use crate::edge::{crew, job, site, unit};
use crate::work::Reason;
use crate::work::import::{Fault, Import, Numbered, Records, Unread};

/// Reads all records; what is at fault is noted and left out.
pub(super) fn from_wire(branch: &branch::Model, wire: Vec<v1::ImportRecord>) -> Import {
    let mut reader = Reader {
        branch,
        records: Records::default(),
        unread: Unread::default(),
        faults: Vec::new(),
        first_at: HashMap::new(),
    };
    for (index, record) in wire.into_iter().enumerate() {
        reader.read(index, record);
    }
    let Reader {
        records,
        unread,
        faults,
        ..
    } = reader;
    Import {
        branch: branch.clone(),
        records,
        unread,
        faults,
    }
}

struct Reader<'a> {
    branch: &'a branch::Model,
    records: Records,
    unread: Unread,
    faults: Vec<Fault>,
    /// Where each name came first.
    first_at: HashMap<String, usize>,
}

impl Reader<'_> {
    fn read(&mut self, index: usize, record: v1::ImportRecord) {
        let mut checks = Checks::new();
        let branch = self.branch;
        macro_rules! read {
            ($kind:literal, $collection:literal, $wire:ident, $from_wire:path, $list:ident) => {
                checks.within($kind, |checks| {
                    let id = self.id(checks, index, $collection, &$wire.name)?;
                    let row = $from_wire(checks, branch, id, $wire)?;
                    self.records.$list.push(Numbered { index, row });
                    Some(())
                })
            };
        }
        // What a record refers to is told as missing only where it was not among the records at all.
        macro_rules! unread {
            ($set:ident, $name:ident, $read:expr) => {
                if $read.is_none() || checks.has_faults() {
                    self.unread.$set.extend(last_segment(&$name));
                }
            };
        }
        match record.record {
            Some(Record::Unit(wire)) => {
                let name = wire.name.clone();
                let read = read!("unit", "units", wire, unit::from_wire, units);
                unread!(units, name, read);
            }
            Some(Record::Crew(wire)) => {
                let name = wire.name.clone();
                let read = read!("crew", "crews", wire, crew::from_wire, crews);
                unread!(crews, name, read);
            }
            Some(Record::Worker(wire)) => {
                read!("worker", "workers", wire, crew::worker_from_wire, workers);
            }
            Some(Record::Site(wire)) => {
                let name = wire.name.clone();
                let read = read!("site", "sites", wire, site::from_wire, sites);
                unread!(sites, name, read);
            }
            Some(Record::Job(wire)) => {
                read!("job", "jobs", wire, job::from_wire, jobs);
            }
            None => {
                let words = "has no record; give a unit, crew, worker, site or job";
                checks.fault::<()>("record", Reason::Required, words);
            }
        }
        let found = checks.into_faults().into_iter();
        self.faults
            .extend(found.map(|violation| Fault { index, violation }));
    }

    /// The last part of a record's name, which must be of the branch and come once.
    fn id(
        &mut self,
        checks: &mut Checks,
        index: usize,
        collection: &'static str,
        name: &str,
    ) -> Option<String> {
        let [branch, id] = checks.ids("name", ["branches", collection], name)?;
        if branch != self.branch.id {
            let words = format!(
                "is in branch {branch}; this import is for branch {}",
                self.branch.id
            );
            return checks.fault("name", Reason::Conflict, words);
        }
        let id = checks.new_id("name", id)?;
        if let Some(first) = self.first_at.get(name) {
            let words = format!("is the name of records[{first}] already; give each record once");
            return checks.fault("name", Reason::Duplicate, words);
        }
        self.first_at.insert(name.to_owned(), index);
        Some(id)
    }
}

/// The id in a name that may be of any form.
fn last_segment(name: &str) -> Option<String> {
    name.rsplit('/').next().map(str::to_owned)
}
