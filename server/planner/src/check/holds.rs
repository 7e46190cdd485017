//! Who has a unit when: each is in one place at a time, and is taken only where it stands.

use super::Violation;
use super::day::beginning;
use crate::Seconds;
use crate::index::{CrewIx, PlaceIx, UnitIx};
use crate::plan::{Plan, Visit};
use crate::problem::Problem;

/// A stretch in which a crew has a unit.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
struct Hold {
    day: u16,
    unit: UnitIx,
    from: Seconds,
    to: Seconds,
    /// The same, where what is aboard has been with the crew since its day began.
    since: Seconds,
    crew: CrewIx,
    /// Where it was taken; aboard already where the day has begun.
    taken_at: Option<PlaceIx>,
    left_at: PlaceIx,
    /// Taken where two crews meet.
    handed: bool,
}

/// No unit is with two crews at a time. On one day it is with two crews one after the other only where two meet, or
/// where units may be shared: then the second takes it where the first has put it down, and not before that.
pub(super) fn check(problem: &Problem, plan: &Plan, found: &mut Vec<Violation>) {
    let mut holds = Vec::new();
    for ix in 0..plan.crews.len() {
        of_crew(problem, plan, CrewIx::from_ix(ix), &mut holds, found);
    }
    across_days(&mut holds, found);
    holds.sort_unstable();
    for pair in holds.windows(2) {
        let (one, next) = (pair[0], pair[1]);
        if (one.day, one.unit) != (next.day, next.unit) {
            continue;
        }
        let (unit, first, second) = (one.unit, one.crew, next.crew);
        let allowed = first == second || next.handed || problem.parts().share_units;
        if !allowed || one.from == next.from {
            found.push(Violation::TwoPlaces {
                unit,
                first,
                second,
            });
        } else if next.from < one.to {
            found.push(Violation::TakenEarly {
                unit,
                giver: first,
                taker: second,
                put_down: one.to,
                taken: next.from,
            });
        } else if next.taken_at != Some(one.left_at) {
            found.push(Violation::NotThere { unit, crew: second });
        }
    }
}

/// No unit is with crews of two days at a time, whatever days they call theirs.
fn across_days(holds: &mut [Hold], found: &mut Vec<Violation>) {
    holds.sort_unstable_by_key(|hold| (hold.unit, hold.since, hold.to, hold.crew));
    for (at, hold) in holds.iter().enumerate() {
        let of_unit = holds[..at].iter().rev();
        let mut before = of_unit.take_while(|other| other.unit == hold.unit);
        if let Some(other) = before.find(|other| other.day != hold.day && hold.since < other.to) {
            found.push(Violation::TwoPlaces {
                unit: hold.unit,
                first: other.crew,
                second: hold.crew,
            });
        }
    }
}

fn of_crew(
    problem: &Problem,
    plan: &Plan,
    this: CrewIx,
    holds: &mut Vec<Hold>,
    found: &mut Vec<Violation>,
) {
    let (crew, day) = (problem.crew(this), &plan.crews[this.ix()]);
    let (_, begin, _, out) = beginning(crew);
    let mut open: Vec<Hold> = Vec::new();
    let mut take = |open: &mut Vec<Hold>, unit: UnitIx, from, taken_at, handed| {
        if open.iter().any(|hold| hold.unit == unit) {
            found.push(Violation::TwoPlaces {
                unit,
                first: this,
                second: this,
            });
        }
        open.push(Hold {
            day: crew.day,
            unit,
            from,
            to: from,
            since: from.max(begin.min(crew.shift_start)),
            crew: this,
            taken_at,
            left_at: crew.end,
            handed,
        });
    };
    for &unit in &day.load_out {
        if out {
            take(&mut open, unit, Seconds::MIN, None, false);
        } else {
            take(&mut open, unit, begin, Some(crew.start), false);
        }
    }
    for stop in day.stops.iter().filter(|stop| !stop.frozen) {
        // Where two meet, the unit changes hands when they part.
        let (given, taken, at, handed) = match &stop.visit {
            Visit::Yard { unload, load } => (unload, load, stop.start, false),
            Visit::Meet { give, take, .. } => (give, take, stop.finish, true),
            Visit::Job { .. } => continue,
        };
        open.retain(|hold| {
            let stays = !given.contains(&hold.unit);
            if !stays {
                holds.push(Hold {
                    to: stop.finish,
                    left_at: stop.place,
                    ..*hold
                });
            }
            stays
        });
        for &unit in taken {
            take(&mut open, unit, at, Some(stop.place), handed);
        }
    }
    let back = open.into_iter().map(|hold| Hold {
        to: day.back_at,
        ..hold
    });
    holds.extend(back);
}
