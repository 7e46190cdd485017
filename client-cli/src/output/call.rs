//! A crew's calls on the way to change units, its breaks, and the units that change crews, in words.

use forenoon_proto::v1::{CrewBreak, SharedUnit, YardCall};
use prost_types::Timestamp;

use super::clock::Clock;
use crate::names::id;

/// What is done at a call: "at the yard: take the edger; put down the mower". `name_of` gives a unit's name.
pub(super) fn words(call: &YardCall, name_of: &dyn Fn(&str) -> String) -> String {
    let names = |units: &[String]| {
        let names: Vec<String> = units.iter().map(|unit| name_of(unit)).collect();
        names.join(", ")
    };
    let mut done = Vec::new();
    if !call.load.is_empty() {
        done.push(format!("take {}", names(&call.load)));
    }
    if !call.unload.is_empty() {
        done.push(format!("put down {}", names(&call.unload)));
    }
    let meeting = if call.with_crew.is_empty() {
        String::new()
    } else {
        format!("meet {} ", id(&call.with_crew))
    };
    let place = if call.site.is_empty() {
        "the yard"
    } else {
        id(&call.site)
    };
    format!("{meeting}at {place}: {}", done.join("; "))
}

/// When a crew has a break: "12:10-12:40 break".
pub(super) fn break_words(pause: &CrewBreak, clock: Clock) -> String {
    let (begins, ends) = (pause.start_time.as_ref(), pause.end_time.as_ref());
    format!("{}-{} break", clock.hm(begins), clock.hm(ends))
}

/// When units begin to change: later than the arrival where the crew waits for one.
pub(super) fn begins(call: &YardCall) -> Option<&Timestamp> {
    call.start_time.as_ref().or(call.arrive_time.as_ref())
}

/// Whether a unit of a load-out is loaded before the crew leaves: no call takes it, or one has put it down before.
pub(super) fn is_loaded_first(calls: &[YardCall], unit: &String) -> bool {
    let first = calls
        .iter()
        .find(|call| call.load.contains(unit) || call.unload.contains(unit));
    first.is_none_or(|call| call.unload.contains(unit))
}

/// When a crew has a unit that others have too: "edger 2 from 10:40, after south". `name_of` gives a unit's name.
pub(super) fn shared_words(
    shared: &SharedUnit,
    clock: Clock,
    name_of: &dyn Fn(&str) -> String,
) -> String {
    let mut parts = Vec::new();
    if !shared.from_crew.is_empty() {
        let from = clock.hm(shared.from_time.as_ref());
        parts.push(format!("from {from}, after {}", id(&shared.from_crew)));
    }
    if !shared.to_crew.is_empty() {
        let until = clock.hm(shared.until_time.as_ref());
        parts.push(format!("until {until}, then {}", id(&shared.to_crew)));
    }
    format!("{} {}", name_of(&shared.unit), parts.join("; "))
}
