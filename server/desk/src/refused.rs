//! The records that keep a day from being planned, where the planner refuses its problem.

use forenoon_planner::problem::{Fault, Faults, Item};
use forenoon_store::entity::unit;

/// A record, by its id.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Record {
    /// A crew.
    Crew(String),
    /// A unit.
    Unit(String),
    /// A job.
    Job(String),
    /// The branch, for all of its records together.
    Branch,
}

/// A record that is beyond what can be planned.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Refusal {
    /// Which.
    pub record: Record,
    /// What is wrong with it, for people.
    pub words: String,
}

/// Ids by the planner's numbers.
pub(crate) struct Numbers<'a> {
    /// Crews.
    pub(crate) crew_ids: &'a [String],
    /// Units.
    pub(crate) unit_ids: &'a [String],
    /// Jobs.
    pub(crate) job_ids: &'a [String],
    /// A unit that stands for each class.
    pub(crate) samples: &'a [unit::Model],
}

impl Numbers<'_> {
    /// The records that the faults are about; none where a fault is ours, as a number that stands for nothing.
    pub(crate) fn refusals(&self, faults: &Faults) -> Option<Vec<Refusal>> {
        let mut refusals: Vec<Refusal> = Vec::new();
        for fault in &faults.0 {
            let refusal = self.refusal(fault)?;
            if !refusals.contains(&refusal) {
                refusals.push(refusal);
            }
        }
        Some(refusals)
    }

    fn refusal(&self, fault: &Fault) -> Option<Refusal> {
        let words = words(fault)?;
        let record = match fault.item() {
            Item::Crew(crew) => Record::Crew(self.crew_ids.get(crew.ix())?.clone()),
            Item::Class(class) => Record::Unit(self.samples.get(class.ix())?.id.clone()),
            Item::Unit(unit) => Record::Unit(self.unit_ids.get(unit.ix())?.clone()),
            Item::Job(job) | Item::Task { job, .. } | Item::Method { job, .. } => {
                Record::Job(self.job_ids.get(job.ix())?.clone())
            }
            // What all records cost together by weights that are ours.
            Item::Weights if matches!(fault, Fault::CostTooLarge { .. }) => Record::Branch,
            Item::Problem => Record::Branch,
            Item::Weights => return None,
        };
        Some(Refusal { record, words })
    }
}

/// A fault in words that need no number of the planner's; none where no record can be to blame.
fn words(fault: &Fault) -> Option<String> {
    let words = match fault {
        Fault::TooMany {
            what, count, max, ..
        } => {
            let what = if *what == "classes" {
                "kinds of units"
            } else {
                what
            };
            format!("{count} {what}, at most {max} can be planned with")
        }
        Fault::OutOfRange {
            field,
            value,
            min,
            max,
            ..
        } => format!("{field} is {value}, {min} to {max} can be planned with"),
        Fault::EndsBeforeStart { field, .. } => format!("{field}: the end is before the start"),
        Fault::NotInOrder { field, .. } => format!("{field} overlap"),
        Fault::PromiseOutsideWindows { .. } => {
            "the promise lies in none of the job's windows".to_owned()
        }
        Fault::ServiceOutOfRange { seconds, max, .. } => {
            format!("a task takes {seconds} s, at most {max} can be planned with")
        }
        Fault::UnitInTwoPlaces { .. } => "two crews have it aboard at once".to_owned(),
        Fault::UnitNotAvailable { .. } => {
            "a crew has it aboard at a time when it is said to be away".to_owned()
        }
        Fault::JobFrozenTwice { .. } => "two crews are said to be at it".to_owned(),
        Fault::FrozenOutOfOrder { .. } => {
            "its stops as reported do not follow each other in time".to_owned()
        }
        Fault::AboardTooLarge {
            needed, available, ..
        } => format!(
            "what it has aboard takes {needed} litres of load space, and its vehicles have {available}"
        ),
        Fault::CostTooLarge { .. } => {
            "it adds most to the amounts of the day, which together are too large to be reckoned with; look for wages, prices or durations beyond reason"
                .to_owned()
        }
        _ => return None,
    };
    Some(words)
}
