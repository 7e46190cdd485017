//! A crew's calls on the way to change units, in words.

use forenoon_proto::v1::YardCall;

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

/// Whether a unit of a load-out is loaded before the crew leaves: no call takes it, or one has put it down before.
pub(super) fn is_loaded_first(calls: &[YardCall], unit: &String) -> bool {
    let first = calls
        .iter()
        .find(|call| call.load.contains(unit) || call.unload.contains(unit));
    first.is_none_or(|call| call.unload.contains(unit))
}
