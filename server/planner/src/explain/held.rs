//! When crews of a plan have which unit.

use super::EVER;
use crate::Seconds;
use crate::index::{CrewIx, UnitIx};
use crate::plan::{CrewPlan, Plan, Visit};
use crate::problem::{Problem, Progress, Window};
use crate::search::load::units_of;

/// A stretch in which a crew has a unit.
#[derive(Debug, Clone, Copy)]
pub(super) struct Hold {
    pub(super) by: CrewIx,
    pub(super) from: Seconds,
    /// From then on another crew may take it.
    pub(super) to: Seconds,
    pub(super) told_until: Seconds,
    /// Where the crew's day begins with it aboard, from then on.
    pub(super) since: Seconds,
}

impl Hold {
    /// The times of a unit without those at which a crew of another day has it.
    pub(super) fn leave(&self, available: &mut Vec<Window>) {
        let before = available.iter().map(|window| Window {
            close: window.close.min(self.since),
            ..*window
        });
        let after = available.iter().map(|window| Window {
            open: window.open.max(self.told_until),
            ..*window
        });
        let mut left: Vec<Window> = before.chain(after).collect();
        left.retain(|window| window.open < window.close);
        left.sort_unstable_by_key(|window| window.open);
        *available = left;
    }
}

/// All stretches of a plan, by unit and, for each, in the crews' order.
pub(super) struct Held(Vec<(UnitIx, Hold)>);

impl Held {
    pub(super) fn of_plan(problem: &Problem, plan: &Plan) -> Self {
        let mut held = Vec::new();
        for (ix, day) in plan.crews.iter().enumerate() {
            let by = CrewIx::from_ix(ix);
            let mut units: Vec<UnitIx> = units_of(day).collect();
            units.sort_unstable();
            units.dedup();
            for unit in units {
                let ends_here = problem
                    .units()
                    .get(unit.ix())
                    .is_some_and(|unit| unit.home == problem.crew(by).end);
                let begin = match &problem.crew(by).progress {
                    Progress::NotStarted => problem.crew(by).shift_start,
                    Progress::UnderWay(way) => way.ready_at,
                };
                held.extend(holds(day, by, unit, ends_here).map(|hold| {
                    let since = hold.from.max(begin);
                    (unit, Hold { since, ..hold })
                }));
            }
        }
        held.sort_by_key(|(unit, hold)| (*unit, hold.by));
        Self(held)
    }

    /// The stretches of one unit.
    pub(super) fn of(&self, unit: UnitIx) -> impl Iterator<Item = &Hold> {
        let from = self.0.partition_point(|(other, _)| *other < unit);
        let of_unit = self.0[from..]
            .iter()
            .take_while(move |(other, _)| *other == unit);
        of_unit.map(|(_, hold)| hold)
    }

    /// Who has each unit on the day of a crew: this one, if it is one of them.
    pub(super) fn holders(&self, problem: &Problem, crew: CrewIx) -> Vec<Option<CrewIx>> {
        let mut holders = vec![None; problem.units().len()];
        let day = problem.crew(crew).day;
        for (unit, hold) in &self.0 {
            if problem.crew(hold.by).day == day
                && let Some(holder) = holders.get_mut(unit.ix())
                && *holder != Some(crew)
            {
                *holder = Some(hold.by);
            }
        }
        holders
    }
}

/// When a crew of the plan has a unit. `ends_here` says that it is back at the unit's yard at the end.
pub(super) fn holds(
    day: &CrewPlan,
    by: CrewIx,
    unit: UnitIx,
    ends_here: bool,
) -> impl Iterator<Item = Hold> {
    let aboard = day.load_out.contains(&unit);
    let mut from = aboard.then_some(EVER.open);
    let mut found = Vec::new();
    let hold = |from, to| Hold {
        by,
        from,
        to,
        told_until: to,
        since: from,
    };
    for stop in &day.stops {
        let (unload, load, since) = match &stop.visit {
            Visit::Yard { unload, load } => (unload, load, stop.start),
            Visit::Meet { give, take, .. } => (give, take, stop.finish),
            Visit::Job { .. } => continue,
        };
        if unload.contains(&unit) {
            found.extend(from.take().map(|from| hold(from, stop.finish)));
        }
        if load.contains(&unit) {
            from = Some(since);
        }
    }
    found.extend(from.map(|from| Hold {
        to: if ends_here { day.back_at } else { EVER.close },
        ..hold(from, day.back_at)
    }));
    found.into_iter()
}
