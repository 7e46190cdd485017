//! Which tools the branch's classes make.

use super::{Parts, Role, Tool};
use crate::index::{CapabilityIx, ClassIx, CouplingIx};

/// Every tool that can be made, by capability. Pairs of attachment and powerhead are put together when they are asked
/// for: there may be many of them for each of many capabilities.
pub(super) struct Catalogue {
    /// Classes that give the capability: attachments, and what works by itself.
    able: Vec<(CapabilityIx, Giver)>,
    powerheads: Vec<(CouplingIx, ClassIx)>,
}

/// A class that gives a capability. What works by itself comes first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Giver {
    Whole(ClassIx),
    Attachment(ClassIx, CouplingIx),
}

impl Catalogue {
    pub(super) fn new(parts: &Parts) -> Self {
        // Classes without a unit make no tool.
        let mut owned = vec![false; parts.classes.len()];
        for unit in &parts.units {
            owned[unit.class.ix()] = true;
        }
        let (mut able, mut powerheads) = (Vec::new(), Vec::new());
        let classes = parts.classes.iter().enumerate();
        for (ix, class) in classes.filter(|(ix, _)| owned[*ix]) {
            let this = ClassIx::from_ix(ix);
            let giver = match class.role {
                Role::Whole => Giver::Whole(this),
                Role::Powerhead { coupling } => {
                    powerheads.push((coupling, this));
                    Giver::Whole(this)
                }
                Role::Attachment { coupling } => Giver::Attachment(this, coupling),
            };
            let capabilities = class.capabilities.iter();
            able.extend(capabilities.map(|capability| (*capability, giver)));
        }
        able.sort_unstable();
        powerheads.sort_unstable();
        Self { able, powerheads }
    }

    /// The tools that are capable, in order.
    pub(super) fn tools(&self, capability: CapabilityIx) -> impl Iterator<Item = Tool> {
        let from = self.able.partition_point(|(other, _)| *other < capability);
        let able = self.able[from..].iter();
        able.take_while(move |(other, _)| *other == capability)
            .flat_map(|(_, giver)| {
                let (whole, pairs) = match *giver {
                    Giver::Whole(class) => (Some(Tool::Whole(class)), None),
                    Giver::Attachment(class, coupling) => (None, Some(self.pairs(class, coupling))),
                };
                whole.into_iter().chain(pairs.into_iter().flatten())
            })
    }

    fn pairs(&self, attachment: ClassIx, coupling: CouplingIx) -> impl Iterator<Item = Tool> {
        let from = self
            .powerheads
            .partition_point(|(other, _)| *other < coupling);
        let matching = self.powerheads[from..].iter();
        matching
            .take_while(move |(other, _)| *other == coupling)
            .map(move |(_, powerhead)| Tool::Pair {
                attachment,
                powerhead: *powerhead,
            })
    }
}
