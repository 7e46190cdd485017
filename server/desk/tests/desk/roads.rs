//! Drives by road, and those who no longer wait for them.

use std::sync::Arc;

use forenoon_desk::problem::{DayProblem, NoProblem};
use forenoon_planner::Cancel;
use forenoon_roads::{Engine, Network, Roads};

use crate::fixture::inputs;

const TOWN: &[u8] = include_bytes!("../../../roads/tests/town/town.osm.pbf");

/// Guards a day whose drives take long to be found: once nobody waits for its plan, no more are looked for.
#[test]
fn a_day_that_nobody_waits_for_looks_for_no_drives() {
    let network = Network::read(TOWN).expect("a network");
    let mut inputs = inputs();
    inputs.roads = Some(Arc::new(Roads::new(Engine::new(&network), 1_000)));
    let cancel = Cancel::new();
    assert!(DayProblem::until(&inputs, &cancel).is_ok());
    // Other places, so that nothing is known of them yet.
    for site in inputs.sites.values_mut() {
        site.latitude += 0.001;
    }
    cancel.raise();
    let given_up = DayProblem::until(&inputs, &cancel).err();
    assert!(
        matches!(given_up, Some(NoProblem::Cancelled)),
        "{given_up:?}"
    );
}
