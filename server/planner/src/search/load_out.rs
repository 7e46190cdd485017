//! Changes of what a crew has aboard.

use super::class_set::{Class, ClassSet};
use super::clock::AT_ONCE;
use super::model::{Choice, Model};
use super::route::{Leg, Route};
use super::state::{Spot, State};
use crate::Seconds;
use crate::index::{JobIx, UnitIx};
use crate::problem::Window;

/// Whether the units of a leg are the search's to choose: at the start of a day not yet begun, and at any call.
pub(crate) fn is_open(model: &Model, crew: usize, leg: usize) -> bool {
    leg > 0 || !model.crews[crew].under_way
}

/// Where and when the units of a leg are loaded.
fn loading(model: &Model, crew: usize, legs: &[Leg], leg: usize) -> Spot {
    if let Some((_, meet)) = legs[leg].meets {
        return Spot {
            place: meet.place,
            at: None,
            meet: Some(meet),
        };
    }
    let yards = &model.crew(crew).yard_calls;
    match yards.get(usize::from(legs[leg].yard)) {
        Some(call) if leg > 0 => Spot::yard(call.place),
        _ => Spot {
            place: model.crews[crew].from,
            at: Some(model.crews[crew].ready_at),
            meet: None,
        },
    }
}

/// Makes the leg's units match `wanted`: units no longer wanted go, missing ones are taken from those free at the
/// yard. Units of the leg before that cannot be put down at the call's yard stay aboard.
///
/// Returns whether it is possible; if not, the legs are left half changed and must be thrown away.
pub(crate) fn refit(
    state: &State,
    crew: usize,
    legs: &mut [Leg],
    leg: usize,
    wanted: &ClassSet,
    swap: Swap,
) -> bool {
    let model = state.model;
    let spot = loading(model, crew, legs, leg);
    let before: Vec<UnitIx> = match leg.checked_sub(1) {
        Some(before) => legs[before].units.clone(),
        None => Vec::new(),
    };
    let here = |unit: &&UnitIx| state.stands_at(crew, **unit, &spot);
    let goes_down = |unit: &UnitIx| state.goes_down_at(crew, *unit, &spot);
    let empty = Leg {
        yard: legs[leg].yard,
        early: legs[leg].early,
        meets: legs[leg].meets,
        ..Leg::empty()
    };
    let old = std::mem::replace(&mut legs[leg], empty);
    let mut missing = *wanted;
    for &unit in before.iter().filter(|unit| !goes_down(unit)) {
        match usable(state, crew, legs, leg, unit, Bound::Stays) {
            Some(window) => keep(state, &mut legs[leg], unit, Bound::Stays, window),
            // Aboard, but not to be used.
            None => legs[leg].units.push(unit),
        }
    }
    let stays = legs[leg].set;
    for class in stays.iter() {
        missing.remove(class);
    }
    for class in missing.iter() {
        let same = |unit: &&UnitIx| class_of(model, **unit) == class;
        // First what is aboard anyway and may stay out, which is loaded for nothing; then what this leg had, then what
        // else is aboard, then what stands at the yard.
        let early = legs[leg].early;
        let free = || state.free_unit(crew, class, &spot, early);
        let long = match swap {
            Swap::ForLonger => free().map_or(Seconds::MIN, |(_, _, due)| {
                due.min(model.crews[crew].back_by)
            }),
            Swap::Keep => Seconds::MIN,
        };
        let loaded = if spot.at.is_some() {
            Bound::AtStart
        } else {
            Bound::AtCall
        };
        let how = |unit: &UnitIx| {
            (
                *unit,
                if before.contains(unit) {
                    Bound::Carried
                } else {
                    loaded
                },
            )
        };
        let had = old.units.iter().filter(same);
        let had = had.filter(|unit| here(unit) || before.contains(unit));
        let had = had.map(how);
        let carried = before.iter().filter(same).map(how);
        let stays_out = |unit: &&UnitIx| {
            stretch(state, crew, legs, leg, **unit, Bound::Carried)
                .is_some_and(|window| window.close >= model.crews[crew].back_by)
        };
        let at_hand = before.iter().filter(same).filter(stays_out).map(how);
        // Units of other legs stand at this yard too, when they are not aboard.
        let other_legs = legs.iter().enumerate().filter(|(other, _)| *other != leg);
        let own = other_legs.flat_map(|(_, other)| other.units.iter());
        let own = own.filter(same).filter(here);
        let own = own.filter(|unit| !before.contains(unit)).map(how);
        let chosen = at_hand
            .chain(had)
            .chain(carried)
            .chain(own)
            .find_map(|(unit, bound)| {
                let window = usable(state, crew, legs, leg, unit, bound)?;
                (window.close >= long).then_some((unit, bound, window))
            });
        if let Some((unit, bound, window)) = chosen {
            keep(state, &mut legs[leg], unit, bound, window);
            continue;
        }
        let Some((unit, from, due)) = free() else {
            return false;
        };
        let target = &mut legs[leg];
        target.set.insert(class);
        target.units.push(unit);
        target.from = target.from.max(from);
        target.due = target.due.min(due);
    }
    legs[leg].units.sort_unstable();
    if leg == 0 && spot.at.is_some() {
        // The crew waits for nothing at the start: its units cover that instant.
        legs[0].from = AT_ONCE;
    }
    set_home_due(state, crew, &mut legs[leg]);
    model.space(&legs[leg].units) <= u64::from(model.crew(crew).load_space)
}

/// What to do about units that the crew has and could have longer.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Swap {
    /// It keeps what it has.
    Keep,
    /// A unit that must be back early gives way to a free one that may stay out longer.
    ForLonger,
}

/// How a unit the crew has already comes to be in a leg.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Bound {
    /// Loaded at the start.
    AtStart,
    /// Loaded at the call.
    AtCall,
    /// Aboard since a leg before.
    Carried,
    /// The same, and there is no way to put it down.
    Stays,
}

/// The stretch in which the crew may use the unit in the leg, if there is one.
fn usable(
    state: &State,
    crew: usize,
    legs: &[Leg],
    leg: usize,
    unit: UnitIx,
    bound: Bound,
) -> Option<Window> {
    let from_start = bound != Bound::AtCall && since_start(legs, leg, unit);
    let under_way = state.model.crews[crew].under_way;
    if from_start && under_way && !may_stay_out(state, crew, unit) {
        return None;
    }
    stretch(state, crew, legs, leg, unit, bound)
}

/// Whether a unit aboard a crew under way is still available when the crew could be home at the earliest.
pub(crate) fn may_stay_out(state: &State, crew: usize, unit: UnitIx) -> bool {
    let data = &state.model.crews[crew];
    let mut windows = state.model.unit(unit).available.iter();
    let window = windows.find(|window| window.covers(data.ready_at, data.ready_at));
    window.is_some_and(|window| window.close >= data.home_at)
}

/// Takes a unit into the leg that the crew has already.
fn keep(state: &State, leg: &mut Leg, unit: UnitIx, bound: Bound, window: Window) {
    leg.set.insert(class_of(state.model, unit));
    leg.units.push(unit);
    leg.due = leg.due.min(window.close);
    if bound == Bound::AtCall {
        leg.from = leg.from.max(window.open);
    }
}

/// The stretch in which the crew may have the unit.
fn stretch(
    state: &State,
    crew: usize,
    legs: &[Leg],
    leg: usize,
    unit: UnitIx,
    bound: Bound,
) -> Option<Window> {
    let at_call = match bound {
        Bound::AtCall => true,
        Bound::AtStart => false,
        Bound::Carried | Bound::Stays => !since_start(legs, leg, unit),
    };
    if at_call {
        let taken = match bound {
            Bound::AtCall => leg,
            _ => taken_in(legs, leg, unit),
        };
        state.stretch_at_call(crew, unit, legs[taken].early)
    } else {
        state.stretch_from(crew, unit, state.model.crews[crew].ready_at)
    }
}

/// Reckons anew between which instants the units of each leg may be out, for the units as they are. Returns whether the
/// crew can have them all.
pub(crate) fn redue(state: &State, crew: usize, legs: &mut [Leg]) -> bool {
    for leg in 0..legs.len() {
        let (mut from, mut due) = (AT_ONCE, Leg::empty().due);
        for &unit in &legs[leg].units {
            let carried = leg > 0 && legs[leg - 1].units.contains(&unit);
            let bound = match (leg, carried) {
                (0, _) => Bound::AtStart,
                (_, true) => Bound::Carried,
                (_, false) => Bound::AtCall,
            };
            match usable(state, crew, legs, leg, unit, bound) {
                Some(window) => {
                    due = due.min(window.close);
                    if bound == Bound::AtCall {
                        from = from.max(window.open);
                    }
                }
                // It may be carried, but not used.
                None if is_idle_freight(state, crew, legs, leg, unit) => {}
                None => return false,
            }
        }
        legs[leg].from = from;
        legs[leg].due = due;
        set_home_due(state, crew, &mut legs[leg]);
    }
    true
}

/// Whether the unit was aboard when the part to be planned began, and cannot be home in time any more.
pub(crate) fn is_idle_freight(
    state: &State,
    crew: usize,
    legs: &[Leg],
    leg: usize,
    unit: UnitIx,
) -> bool {
    state.model.crews[crew].under_way
        && since_start(legs, leg, unit)
        && !may_stay_out(state, crew, unit)
}

/// A unit that another crew takes after this one must not end the day elsewhere than at its yard.
fn set_home_due(state: &State, crew: usize, leg: &mut Leg) {
    let model = state.model;
    let astray = |unit: &UnitIx| {
        let elsewhere = model.unit(*unit).home != model.crews[crew].end;
        state.given_at(crew, *unit).is_some()
            || (model.whole(*unit) == *unit && elsewhere && state.handed_on(crew, *unit).is_some())
    };
    leg.home_due = if !state.shares.is_empty() && leg.units.iter().any(astray) {
        AT_ONCE
    } else {
        leg.due
    };
}

/// The leg in which a unit came aboard that is there when the leg begins.
fn taken_in(legs: &[Leg], leg: usize, unit: UnitIx) -> usize {
    let without = legs[..leg]
        .iter()
        .rposition(|before| !before.units.contains(&unit));
    without.map_or(0, |without| without + 1)
}

/// Whether the unit is aboard in all legs before.
fn since_start(legs: &[Leg], leg: usize, unit: UnitIx) -> bool {
    legs[..leg]
        .iter()
        .all(|before| before.units.contains(&unit))
}

pub(crate) fn class_of(model: &Model, unit: UnitIx) -> Class {
    model.class_of_unit[unit.ix()]
}

/// What counts when a tool is chosen for a task.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Wish {
    /// Whatever serves, the cheapest of it.
    Cheapest,
    /// The cheapest, also in place of a tool that is aboard.
    Better,
    /// What takes the least room.
    Smallest,
}

/// The classes to add to `aboard` so that every task of the job can be done, choosing for each task what is wished
/// among the choices whose missing classes `obtainable` allows. `skip` lets the search pass a choice over.
pub(crate) fn additions(
    model: &Model,
    job: JobIx,
    crew: usize,
    aboard: &ClassSet,
    wish: Wish,
    mut obtainable: impl FnMut(Class) -> bool,
    mut skip: impl FnMut() -> bool,
) -> Option<ClassSet> {
    let mut set = *aboard;
    let rate = model.crews[crew].work_rate;
    let price = |choice: &Choice, set: &ClassSet| {
        let missing = || {
            [choice.first, choice.second]
                .into_iter()
                .filter(|class| !set.has(*class))
        };
        let handling = model.load_unit.0 * i64::try_from(missing().count()).unwrap_or(0);
        let room = match wish {
            Wish::Smallest => missing()
                .map(|class| model.class_space[usize::from(class)])
                .sum::<u32>(),
            Wish::Cheapest | Wish::Better => 0,
        };
        (
            room,
            (rate + choice.wear) * i64::from(choice.seconds) + handling,
        )
    };
    for choices in model.tasks(job, crew) {
        let present = choices
            .iter()
            .find(|choice| set.has(choice.first) && set.has(choice.second));
        if present.is_some() && wish != Wish::Better {
            continue;
        }
        let mut best = present.map(|choice| (price(choice, &set), choice));
        for choice in choices {
            let cost = price(choice, &set);
            if best.is_some_and(|(least, _)| least <= cost) || skip() {
                continue;
            }
            let mut has = |class| set.has(class) || obtainable(class);
            if has(choice.first) && has(choice.second) {
                best = Some((cost, choice));
            }
        }
        let (_, choice) = best?;
        set.insert(choice.first);
        set.insert(choice.second);
    }
    Some(set)
}

/// What a leg uses of units that were aboard before it has to be aboard there too, or it would be put down and loaded
/// again. So has what is given to another crew where the two meet.
pub(crate) fn carry_back(state: &State, crew: usize, legs: &[Leg], used: &mut [ClassSet]) {
    let model = state.model;
    for leg in (1..legs.len()).rev() {
        if !is_open(model, crew, leg - 1) {
            continue;
        }
        if let Some((_, meet)) = legs[leg].meets {
            let given = |unit: &&UnitIx| state.given_at(crew, **unit) == Some(meet);
            for unit in legs[leg - 1].units.iter().filter(given) {
                used[leg - 1].insert(class_of(model, *unit));
            }
        }
        for unit in &legs[leg].units {
            let class = class_of(model, *unit);
            if used[leg].has(class) && legs[leg - 1].units.contains(unit) {
                used[leg - 1].insert(class);
            }
        }
    }
}

/// Whether a class can be had for a leg: the crew has it then or at a time when it passes by the unit's yard, or it is
/// free at the yard.
pub(crate) fn obtainable(
    state: &State,
    crew: usize,
    route: &Route,
    leg: usize,
    class: Class,
) -> bool {
    let spot = loading(state.model, crew, &route.legs, leg);
    has(
        state,
        crew,
        route,
        leg.saturating_sub(1)..=leg,
        &spot,
        class,
    ) || state
        .free_unit(crew, class, &spot, route.legs[leg].early)
        .is_some()
}

/// The same for a leg that a new call at the yard would cut off from the one given.
pub(crate) fn obtainable_at(
    state: &State,
    crew: usize,
    route: &Route,
    cut: usize,
    yard: u8,
    class: Class,
) -> bool {
    let yards = &state.model.crew(crew).yard_calls;
    let Some(call) = yards.get(usize::from(yard)) else {
        return false;
    };
    let spot = Spot::yard(call.place);
    has(state, crew, route, cut..=cut, &spot, class)
        || state.free_unit(crew, class, &spot, false).is_some()
}

/// Whether the crew has a unit of the class in one of the legs, or in another one if it can be taken at the spot.
fn has(
    state: &State,
    crew: usize,
    route: &Route,
    near: std::ops::RangeInclusive<usize>,
    spot: &Spot,
    class: Class,
) -> bool {
    let in_leg = |(ix, leg): (usize, &Leg)| {
        let near = near.contains(&ix);
        leg.units.iter().any(|unit| {
            class_of(state.model, *unit) == class && (near || state.stands_at(crew, *unit, spot))
        })
    };
    route.legs.iter().enumerate().any(in_leg)
}
