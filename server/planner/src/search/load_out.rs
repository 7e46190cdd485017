//! Changes of what a crew has aboard.

use super::class_set::{Class, ClassSet};
use super::clock::AT_ONCE;
use super::model::{Choice, Model};
use super::route::{Leg, Route};
use super::state::State;
use crate::Seconds;
use crate::index::{JobIx, PlaceIx, UnitIx};
use crate::problem::{Unit, Window};

/// Whether the units of a leg are the search's to choose: at the start of a day not yet begun, and at any call.
pub(crate) fn is_open(model: &Model, crew: usize, leg: usize) -> bool {
    leg > 0 || !model.crews[crew].under_way
}

/// Where and when the units of a leg are loaded. No instant for a call: it comes when it comes.
fn loading(model: &Model, crew: usize, leg: usize) -> (PlaceIx, Option<Seconds>) {
    let day = model.crew(crew);
    match (leg, day.yard_call) {
        (1, Some(call)) => (call.place, None),
        _ => (model.crews[crew].from, Some(model.crews[crew].ready_at)),
    }
}

/// Makes the leg's units match `wanted`: units no longer wanted go, missing ones are taken from those free at the
/// yard. Units of the first leg that cannot be put down at the call's yard stay aboard.
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
    let (place, at) = loading(model, crew, leg);
    let before: Vec<UnitIx> = if leg == 1 {
        legs[0].units.clone()
    } else {
        Vec::new()
    };
    let old = std::mem::replace(&mut legs[leg], Leg::empty());
    let mut missing = *wanted;
    for &unit in before
        .iter()
        .filter(|unit| model.problem.unit(**unit).home != place)
    {
        keep(state, crew, &mut legs[leg], unit, Bound::Stays);
    }
    let stays = legs[leg].set;
    for class in stays.iter() {
        missing.remove(class);
    }
    for class in missing.iter() {
        let same = |unit: &&UnitIx| class_of(model, **unit) == class;
        // First what is aboard anyway and may stay out, which is loaded for nothing; then what this leg had, then what
        // else is aboard, then what stands at the yard.
        let free = state.free_unit(crew, class, place, at);
        let long = match (swap, free) {
            (Swap::ForLonger, Some((_, _, due))) => due.min(model.crews[crew].back_by),
            _ => Seconds::MIN,
        };
        let loaded = if at.is_some() {
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
        let had = old.units.iter().filter(same).map(how);
        let carried = before.iter().filter(same).map(how);
        let stays_out = |unit: &&UnitIx| {
            stretch(state, crew, **unit, Bound::Carried)
                .is_some_and(|window| window.close >= model.crews[crew].back_by)
        };
        let at_hand = before.iter().filter(same).filter(stays_out).map(how);
        let kept = at_hand.chain(had).chain(carried).any(|(unit, bound)| {
            let stays_long =
                stretch(state, crew, unit, bound).is_some_and(|window| window.close >= long);
            stays_long && keep(state, crew, &mut legs[leg], unit, bound)
        });
        if kept {
            continue;
        }
        let Some((unit, from, due)) = free else {
            return false;
        };
        let target = &mut legs[leg];
        target.set.insert(class);
        target.units.push(unit);
        target.from = target.from.max(from);
        target.due = target.due.min(due);
    }
    legs[leg].units.sort_unstable();
    if leg == 0 && at.is_some() {
        // The crew waits for nothing at the start: its units cover that instant.
        legs[0].from = AT_ONCE;
    }
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
    /// Aboard since the first leg.
    Carried,
    /// The same, and there is no way to put it down.
    Stays,
}

/// Takes a unit into the leg that the crew has already, if it can be used there or has to stay.
fn keep(state: &State, crew: usize, leg: &mut Leg, unit_ix: UnitIx, bound: Bound) -> bool {
    let model = state.model;
    let data = &model.crews[crew];
    let window = stretch(state, crew, unit_ix, bound);
    let in_time =
        |close: Seconds| bound == Bound::AtCall || !data.under_way || close >= data.home_at;
    match window {
        Some(window) if in_time(window.close) => {
            leg.set.insert(class_of(model, unit_ix));
            leg.units.push(unit_ix);
            leg.due = leg.due.min(window.close);
            if bound == Bound::AtCall {
                leg.from = leg.from.max(window.open);
            }
            true
        }
        _ => {
            if bound == Bound::Stays {
                leg.units.push(unit_ix);
            }
            false
        }
    }
}

/// The stretch in which the crew may have the unit.
fn stretch<'s>(state: &State<'s>, crew: usize, unit: UnitIx, bound: Bound) -> Option<&'s Window> {
    let unit = state.model.problem.unit(unit);
    let data = &state.model.crews[crew];
    if bound == Bound::AtCall {
        last_stretch(unit, data.ready_at, data.back_by)
    } else {
        unit.available
            .iter()
            .find(|window| window.covers(data.ready_at, data.ready_at))
    }
}

/// The stretch in which a unit can be loaded at a call.
pub(crate) fn last_stretch(unit: &Unit, ready_at: Seconds, back_by: Seconds) -> Option<&Window> {
    unit.available
        .iter()
        .rev()
        .find(|window| window.open < back_by && window.close > ready_at)
}

pub(crate) fn class_of(model: &Model, unit: UnitIx) -> Class {
    Class::try_from(model.problem.unit(unit).class.0).unwrap_or(Class::MAX)
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

/// Whether a class can be had for a leg: aboard already, or free at the yard.
pub(crate) fn obtainable(
    state: &State,
    crew: usize,
    route: &Route,
    leg: usize,
    class: Class,
) -> bool {
    let (place, at) = loading(state.model, crew, leg);
    let has = |leg: &Leg| {
        leg.units
            .iter()
            .any(|unit| class_of(state.model, *unit) == class)
    };
    route.legs.iter().take(leg + 1).any(has) || state.free_unit(crew, class, place, at).is_some()
}
