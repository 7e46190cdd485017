//! Crews of two days that are out at the same time: a night shift and the early one of the next day.
//!
//! The search keeps who has a unit day by day. Where a plan has a unit with crews of two days at once, the times at which it
//! may be had are parted between them, and the plan is gone on with from there, until no unit is in two places.

use crate::Seconds;
use crate::index::{CrewIx, UnitIx};
use crate::plan::{CrewPlan, Plan, Visit};
use crate::problem::{Crew, Problem, Progress, Window};

/// Beyond so many times at which one unit is parted it is left at home.
const PARTS_MAX: usize = 8;

/// A stretch in which a crew has a unit.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
struct Hold {
    unit: UnitIx,
    from: Seconds,
    to: Seconds,
    crew: CrewIx,
    /// Aboard as the part to be planned begins: that cannot be changed.
    fixed: bool,
}

/// The problem with times parted wherever the plan has a unit with crews of two days at once; none where it has not.
pub(crate) fn parted(problem: &Problem, plan: &Plan) -> Option<Problem> {
    let day = |crew: CrewIx| problem.crew(crew).day;
    if problem
        .crews()
        .iter()
        .all(|crew| crew.day == problem.crews()[0].day)
    {
        return None;
    }
    let mut holds = Vec::new();
    for (ix, planned) in plan.crews.iter().enumerate() {
        let this = CrewIx::from_ix(ix);
        holds_of(this, problem.crew(this), planned, &mut holds);
    }
    holds.sort_unstable();
    let mut clashes: Vec<(Hold, Hold)> = Vec::new();
    // Of each unit the hold that lasts longest so far, and one clash at a time.
    let mut last: Option<Hold> = None;
    for hold in holds {
        match last {
            Some(first) if first.unit == hold.unit => {
                let both = hold.from < first.to && day(first.crew) != day(hold.crew);
                let known = clashes
                    .last()
                    .is_some_and(|(clash, _)| clash.unit == hold.unit);
                if both && !known && !(first.fixed && hold.fixed) {
                    clashes.push((first, hold));
                }
                if hold.to > first.to {
                    last = Some(hold);
                }
            }
            _ => last = Some(hold),
        }
    }
    // What may be had at no time cannot be parted any further.
    clashes.retain(|(first, _)| {
        let unit = problem.units().get(first.unit.ix());
        unit.is_some_and(|unit| !unit.available.is_empty())
    });
    if clashes.is_empty() {
        return None;
    }
    Some(problem.changed(|parts| {
        for (first, second) in clashes {
            if let Some(unit) = parts.units.get_mut(first.unit.ix()) {
                part(&mut unit.available, &first, &second);
            }
        }
    }))
}

/// Parts the times so that only one of the two holds is possible any more.
fn part(available: &mut Vec<Window>, first: &Hold, second: &Hold) {
    if available.len() > PARTS_MAX {
        available.clear();
        return;
    }
    let within = first.from < second.from && second.to <= first.to;
    let (until, from) = if second.fixed || (within && !first.fixed) {
        // The one that it is taken from has it no longer than until then.
        (second.from - 1, second.from)
    } else {
        let until = first.to.min(second.to - 1).max(second.from);
        (until, until + 1)
    };
    let cut = |window: &Window| {
        [
            Window {
                close: window.close.min(until),
                ..*window
            },
            Window {
                open: window.open.max(from),
                ..*window
            },
        ]
    };
    let mut parted: Vec<Window> = available.iter().flat_map(cut).collect();
    parted.retain(|window| window.open <= window.close);
    // Where the cut parts nothing the same plan would come again, without end.
    if parted == *available {
        parted.clear();
    }
    *available = parted;
}

/// What the crew has when.
fn holds_of(this: CrewIx, crew: &Crew, planned: &CrewPlan, holds: &mut Vec<Hold>) {
    let (begin, fixed) = match &crew.progress {
        Progress::NotStarted => (crew.shift_start, false),
        // Since its day began.
        Progress::UnderWay(way) => (way.ready_at.min(crew.shift_start), true),
    };
    let hold = |unit, from, fixed| Hold {
        unit,
        from,
        to: from,
        crew: this,
        fixed,
    };
    let load_out = planned.load_out.iter();
    let mut open: Vec<Hold> = load_out.map(|unit| hold(*unit, begin, fixed)).collect();
    for stop in planned.stops.iter().filter(|stop| !stop.frozen) {
        let (given, taken, at) = match &stop.visit {
            Visit::Yard { unload, load } => (unload, load, stop.start),
            Visit::Meet { give, take, .. } => (give, take, stop.finish),
            Visit::Job { .. } => continue,
        };
        open.retain(|hold| {
            let stays = !given.contains(&hold.unit);
            if !stays {
                holds.push(Hold {
                    to: stop.finish,
                    ..*hold
                });
            }
            stays
        });
        open.extend(taken.iter().map(|unit| hold(*unit, at, false)));
    }
    holds.extend(open.into_iter().map(|hold| Hold {
        to: planned.back_at,
        ..hold
    }));
}

#[cfg(test)]
mod tests {
    use super::*;

    const fn window(open: Seconds, close: Seconds) -> Window {
        Window { open, close }
    }

    fn hold(from: Seconds, to: Seconds) -> Hold {
        Hold {
            unit: UnitIx(0),
            from,
            to,
            crew: CrewIx(0),
            fixed: false,
        }
    }

    /// Parted where the first hold ends; where that parts nothing, and so again and again, the unit is left at home.
    #[test]
    fn what_cannot_be_parted_is_left_at_home() {
        let (first, second) = (hold(20, 30), hold(25, 40));
        let mut available = vec![window(0, 100)];
        part(&mut available, &first, &second);
        assert_eq!(available, [window(0, 30), window(31, 100)]);
        part(&mut available, &first, &second);
        assert!(available.is_empty());
        let mut elsewhere = vec![window(0, 10)];
        part(&mut elsewhere, &first, &second);
        assert!(elsewhere.is_empty());
    }
}
