//! What goes with which kind of unit: one table of demands, and the check of a unit against it.

use forenoon_proto::v1;
use forenoon_store::value::{Capability, UnitKind};

use crate::edge::checks::Checks;
use crate::work::Reason;

/// The kind as the wire has it.
pub(super) fn to_wire(kind: UnitKind) -> v1::UnitKind {
    match kind {
        UnitKind::Powerhead => v1::UnitKind::Powerhead,
        UnitKind::Attachment => v1::UnitKind::Attachment,
        UnitKind::WalkMower => v1::UnitKind::WalkMower,
        UnitKind::RideOnMower => v1::UnitKind::RideOnMower,
        UnitKind::Blower => v1::UnitKind::Blower,
        UnitKind::HandTool => v1::UnitKind::HandTool,
        UnitKind::Trailer => v1::UnitKind::Trailer,
        UnitKind::Vehicle => v1::UnitKind::Vehicle,
    }
}

/// The kind from the wire.
pub(super) fn from_wire(kind: v1::UnitKind) -> Option<UnitKind> {
    match kind {
        v1::UnitKind::Unspecified => None,
        v1::UnitKind::Powerhead => Some(UnitKind::Powerhead),
        v1::UnitKind::Attachment => Some(UnitKind::Attachment),
        v1::UnitKind::WalkMower => Some(UnitKind::WalkMower),
        v1::UnitKind::RideOnMower => Some(UnitKind::RideOnMower),
        v1::UnitKind::Blower => Some(UnitKind::Blower),
        v1::UnitKind::HandTool => Some(UnitKind::HandTool),
        v1::UnitKind::Trailer => Some(UnitKind::Trailer),
        v1::UnitKind::Vehicle => Some(UnitKind::Vehicle),
    }
}

/// What a kind demands and refuses.
pub(super) struct Demands {
    /// How people call it.
    word: &'static str,
    /// Demands a coupling; else refuses one.
    pub(super) coupling: bool,
    /// Demands a cutting width; else refuses one.
    pub(super) cutting_width: bool,
    /// Demands to know the load space it offers; else refuses one.
    pub(super) carries: bool,
    /// One of these it must have; none means that it has no capability at all.
    one_of: &'static [Capability],
    /// These too it may have.
    also: &'static [Capability],
}

const HEADS_AND_TOOLS: &[Capability] = &[
    Capability::Edger,
    Capability::LineHead,
    Capability::BladeHead,
    Capability::Blower,
    Capability::Rake,
    Capability::FlatShovel,
];

/// What the kind demands and refuses.
pub(super) fn demands(kind: UnitKind) -> Demands {
    let plain = Demands {
        word: "",
        coupling: false,
        cutting_width: false,
        carries: false,
        one_of: &[],
        also: &[],
    };
    let mower = |word| Demands {
        word,
        cutting_width: true,
        one_of: &[Capability::Mower, Capability::CollectingMower],
        // Some mowers cut brush.
        also: &[Capability::BladeHead],
        ..plain
    };
    let carrier = |word| Demands {
        word,
        carries: true,
        one_of: &[Capability::Carrier],
        // Some carry a blower on the hitch or bed.
        also: &[Capability::Blower],
        ..plain
    };
    match kind {
        UnitKind::Powerhead => Demands {
            word: "a powerhead",
            coupling: true,
            ..plain
        },
        UnitKind::Attachment => Demands {
            word: "an attachment",
            coupling: true,
            one_of: HEADS_AND_TOOLS,
            ..plain
        },
        UnitKind::WalkMower => mower("a walk mower"),
        UnitKind::RideOnMower => mower("a ride-on mower"),
        UnitKind::Blower => Demands {
            word: "a blower",
            one_of: &[Capability::Blower],
            ..plain
        },
        UnitKind::HandTool => Demands {
            word: "a hand tool",
            one_of: HEADS_AND_TOOLS,
            ..plain
        },
        UnitKind::Trailer => carrier("a trailer"),
        UnitKind::Vehicle => carrier("a vehicle"),
    }
}

impl Demands {
    /// Checks one field that the kind demands, or refuses. `given` is none where what was given is at
    /// fault itself.
    pub(super) fn check(
        &self,
        checks: &mut Checks,
        field: &str,
        demanded: bool,
        given: Option<bool>,
    ) {
        match given {
            Some(false) if demanded => {
                let words = format!("is missing; {} has one", self.word);
                checks.fault::<()>(field, Reason::Required, words);
            }
            Some(true) if !demanded => {
                let words = format!("does not go with {}; leave it out", self.word);
                checks.fault::<()>(field, Reason::Conflict, words);
            }
            _ => {}
        }
    }

    /// Checks what the unit can do.
    pub(super) fn check_capabilities(&self, checks: &mut Checks, given: &[Capability]) {
        let field = "capabilities";
        for (index, capability) in given.iter().enumerate() {
            if !self.one_of.contains(capability) && !self.also.contains(capability) {
                let words = format!("does not go with {}; leave it out", self.word);
                checks.fault::<()>(&format!("{field}[{index}]"), Reason::Conflict, words);
            }
        }
        let has_one = given.iter().any(|one| self.one_of.contains(one));
        if !self.one_of.is_empty() && !has_one {
            let words = format!(
                "is missing; {} has one of {}",
                self.word,
                words(self.one_of)
            );
            checks.fault::<()>(field, Reason::Required, words);
        }
    }
}

/// The names of capabilities as the contract spells them.
fn words(capabilities: &[Capability]) -> String {
    capabilities
        .iter()
        .map(|&one| crate::edge::capability::capability(one).as_str_name())
        .collect::<Vec<_>>()
        .join(", ")
}
