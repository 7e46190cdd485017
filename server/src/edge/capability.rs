//! What units can do, between wire and domain.

use forenoon_proto::v1;
use forenoon_store::value::Capability;

use super::checks::Checks;

/// The most items of a list of capabilities: there are fewer kinds.
const COUNT_MAX: usize = 20;

/// A capability as the wire has it.
pub(crate) fn capability(value: Capability) -> v1::Capability {
    match value {
        Capability::Edger => v1::Capability::Edger,
        Capability::LineHead => v1::Capability::LineHead,
        Capability::BladeHead => v1::Capability::BladeHead,
        Capability::Mower => v1::Capability::Mower,
        Capability::CollectingMower => v1::Capability::CollectingMower,
        Capability::Blower => v1::Capability::Blower,
        Capability::Rake => v1::Capability::Rake,
        Capability::FlatShovel => v1::Capability::FlatShovel,
        Capability::Carrier => v1::Capability::Carrier,
    }
}

fn from_wire(value: v1::Capability) -> Option<Capability> {
    match value {
        v1::Capability::Unspecified => None,
        v1::Capability::Edger => Some(Capability::Edger),
        v1::Capability::LineHead => Some(Capability::LineHead),
        v1::Capability::BladeHead => Some(Capability::BladeHead),
        v1::Capability::Mower => Some(Capability::Mower),
        v1::Capability::CollectingMower => Some(Capability::CollectingMower),
        v1::Capability::Blower => Some(Capability::Blower),
        v1::Capability::Rake => Some(Capability::Rake),
        v1::Capability::FlatShovel => Some(Capability::FlatShovel),
        v1::Capability::Carrier => Some(Capability::Carrier),
    }
}

impl Checks {
    /// Capabilities, each once.
    pub(crate) fn capabilities(
        &mut self,
        field: &str,
        values: Vec<i32>,
    ) -> Option<Vec<Capability>> {
        self.distinct_words(field, &values, |value| {
            v1::Capability::try_from(value)
                .ok()
                .and_then(from_wire)
                .map_or("", |one| capability(one).as_str_name())
        });
        self.each(field, values, COUNT_MAX, |checks, value| {
            checks.word("", value, None, from_wire)
        })
    }
}
