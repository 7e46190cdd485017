//! Meetings of a plan to start from.
//!
//! A crew that is late comes late to where it is met, and the other waits: a meeting is put off as far as need be.

use super::load::loaded_mut;
use super::route::Meet;
use super::shares::Share;
use super::state::State;
use crate::Seconds;
use crate::index::{CrewIx, UnitIx};
use crate::plan::{CrewPlan, Plan, Stop, Visit};
use crate::problem::{Problem, Progress};

/// A meeting still to come.
#[derive(Debug)]
pub(super) struct Ahead {
    /// The other crew; beyond the problem's where it is none of them.
    pub(super) with: usize,
    pub(super) meet: Meet,
    /// When the plan has it begin.
    pub(super) planned: Seconds,
    give: Vec<UnitIx>,
    take: Vec<UnitIx>,
}

/// The first meeting in each crew's day that is not over.
pub(super) fn meetings_ahead(state: &State, plan: &Plan) -> Vec<Option<Ahead>> {
    let planned: Vec<Option<(usize, &Stop)>> = (0..state.routes.len())
        .map(|crew| {
            let day = plan.crews.get(crew)?;
            let (with, stop) = first_meeting(state.model.problem, day)?;
            (!is_over(state, crew, day, stop)).then_some((with, stop))
        })
        .collect();
    let there = |crew: usize| -> Option<Seconds> {
        let (_, stop) = (*planned.get(crew)?)?;
        Some(comes_to(state, crew, &plan.crews[crew], stop))
    };
    let ahead = |(crew, planned): (usize, &Option<(usize, &Stop)>)| {
        let (with, stop) = (*planned)?;
        let late = if with < state.routes.len() {
            there(crew)?.max(there(with)?)
        } else {
            stop.start
        };
        let meet = Meet {
            crew: CrewIx::from_ix(crew.min(with)),
            place: stop.place,
            at: late,
            seconds: stop.finish - stop.start,
        };
        let Visit::Meet { give, take, .. } = &stop.visit else {
            return None;
        };
        Some(Ahead {
            with,
            meet,
            planned: stop.start,
            give: give.clone(),
            take: take.clone(),
        })
    };
    planned.iter().enumerate().map(ahead).collect()
}

fn first_meeting<'p>(problem: &Problem, day: &'p CrewPlan) -> Option<(usize, &'p Stop)> {
    day.stops.iter().find_map(|stop| match &stop.visit {
        Visit::Meet { with, .. } if !stop.frozen && stop.place.ix() < problem.travel().places() => {
            Some((with.ix(), stop))
        }
        _ => None,
    })
}

/// Whether the crew has met the other already: what it was to take is aboard, or what it was to give is neither aboard nor
/// still to be loaded.
fn is_over(state: &State, crew: usize, day: &CrewPlan, meeting: &Stop) -> bool {
    let Progress::UnderWay(way) = &state.model.crew(crew).progress else {
        return false;
    };
    let Visit::Meet { give, take, .. } = &meeting.visit else {
        return false;
    };
    let loads = |unit: &UnitIx| {
        day.stops
            .iter()
            .any(|stop| matches!(&stop.visit, Visit::Yard { load, .. } if load.contains(unit)))
    };
    take.iter().any(|unit| way.aboard.contains(unit))
        || give
            .iter()
            .any(|unit| !way.aboard.contains(unit) && !loads(unit))
}

/// When the crew can be at its meeting for certain: as planned, unless what comes before is late.
fn comes_to(state: &State, crew: usize, day: &CrewPlan, meeting: &Stop) -> Seconds {
    let (model, data) = (state.model, &state.model.crews[crew]);
    let travel = model.problem.travel();
    let (mut at, mut place) = (data.ready_at, data.from);
    let mut arrives = |at, to| {
        let there = at + travel.drive_seconds(place, to, at);
        place = to;
        there
    };
    let to_come = day.stops.iter().filter(|stop| !stop.frozen);
    for stop in to_come.take_while(|stop| *stop != meeting) {
        let to = match &stop.visit {
            Visit::Job { job, .. } if job.ix() < model.times.len() => {
                if model.problem.is_frozen(*job) {
                    continue;
                }
                model.times[job.ix()].place
            }
            Visit::Yard { .. } if stop.place.ix() < travel.places() => stop.place,
            _ => continue,
        };
        at = arrives(at, to).max(stop.start) + stop.finish - stop.start;
    }
    at = arrives(at, meeting.place);
    if at <= meeting.start {
        return meeting.start;
    }
    let breaks = model.crew(crew).breaks.iter().skip(data.breaks_taken);
    at + breaks.map(|rest| rest.seconds).sum::<Seconds>()
}

/// Notes which units crews of the plan hand over where they meet. The second halves get their numbers in the plan.
pub(super) fn meet_again(state: &mut State, plan: &mut Plan, ahead: &[Option<Ahead>]) {
    let (model, units) = (state.model, state.model.problem.units().len());
    let known = || {
        let crews = ahead.iter().enumerate();
        crews.filter_map(|(crew, ahead)| Some((crew, ahead.as_ref()?)))
    };
    for (
        crew,
        Ahead {
            meet, give, take, ..
        },
    ) in known()
    {
        let day = model.crews[crew].day;
        for &unit in give.iter().chain(take) {
            let of_day = |share: &Share| (share.day, share.unit) == (day, unit);
            if unit.ix() < units && !state.shares.iter().any(of_day) {
                let share = Share {
                    day,
                    unit,
                    at: meet.at,
                    meet: Some(*meet),
                };
                state.begin_share(0, share);
            }
        }
    }
    for (crew, Ahead { meet, take, .. }) in known() {
        let day = model.crews[crew].day;
        let handed = |unit: &UnitIx| {
            take.contains(unit)
                && state
                    .shares
                    .iter()
                    .any(|share| (share.day, share.unit, share.meet) == (day, *unit, Some(*meet)))
        };
        for loaded in loaded_mut(&mut plan.crews[crew]).filter(|unit| handed(unit)) {
            *loaded = model.half(*loaded, 1);
        }
    }
}
