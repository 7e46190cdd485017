//! From when until when which crew has a unit, as rows to store.

use std::collections::BTreeMap;

use forenoon_planner::plan::{CrewPlan, Plan, Visit};
use forenoon_planner::problem::Progress;
use forenoon_planner::{CrewIx, Seconds, UnitIx};
use forenoon_store::entity::plan_load_out;

use crate::inputs::DayInputs;
use crate::problem::DayProblem;

/// A stretch in which a crew has a unit.
struct Spell {
    /// Whether the crew has it from the beginning of its day.
    from_the_first: bool,
    from: Seconds,
    crew: CrewIx,
    until: Seconds,
    /// Whether it keeps it to the end of its day.
    to_the_last: bool,
}

/// The load-outs of a plan, in order of unit and time. Of what a crew had and has put down before the plan begins, nothing
/// is left.
pub(crate) fn load_outs(
    inputs: &DayInputs,
    day: &DayProblem,
    plan: &Plan,
    plan_id: &str,
) -> Vec<plan_load_out::Model> {
    let mut spells: BTreeMap<UnitIx, Vec<Spell>> = BTreeMap::new();
    let mut rows = Vec::new();
    let bare = |unit: &str, crew: &str| plan_load_out::Model {
        branch_id: inputs.branch.id.clone(),
        plan_id: plan_id.to_owned(),
        unit_id: unit.to_owned(),
        spell: 0,
        crew_id: crew.to_owned(),
        from_time: None,
        until_time: None,
    };
    let out = plan.crews.iter().enumerate();
    for (ix, crew_plan) in out.filter(|(_, crew)| !crew.stops.is_empty()) {
        let crew = CrewIx::from_ix(ix);
        let carriers = day.carriers.get(ix).into_iter().flatten();
        rows.extend(carriers.map(|unit| bare(unit, day.crew_id(crew))));
        of_crew(inputs, day, crew, crew_plan, &mut spells);
    }
    for (unit, mut spells) in spells {
        spells.sort_by_key(|spell| (spell.from, spell.until));
        let last = spells.len() - 1;
        for (count, spell) in spells.iter().enumerate() {
            let clock = &inputs.clock;
            // Where it ends what another crew begins, the time is told even if it is that of leaving or coming back.
            let from = count > 0 || !spell.from_the_first;
            let until = count < last || !spell.to_the_last;
            rows.push(plan_load_out::Model {
                spell: i32::try_from(count).unwrap_or(i32::MAX),
                from_time: from.then(|| clock.instant(spell.from)),
                until_time: until.then(|| clock.instant(spell.until)),
                ..bare(day.unit_id(unit), day.crew_id(spell.crew))
            });
        }
    }
    rows.sort_by(|a, b| (&a.unit_id, a.spell).cmp(&(&b.unit_id, b.spell)));
    rows
}

/// Adds the spells of one crew's day.
fn of_crew(
    inputs: &DayInputs,
    day: &DayProblem,
    crew: CrewIx,
    plan: &CrewPlan,
    spells: &mut BTreeMap<UnitIx, Vec<Spell>>,
) {
    let mut aboard: BTreeMap<UnitIx, (bool, Seconds)> = plan
        .load_out
        .iter()
        .map(|unit| (*unit, since(inputs, day, crew, *unit)))
        .collect();
    let mut put_down = |unit: &UnitIx, (from_the_first, from), until, to_the_last| {
        spells.entry(*unit).or_default().push(Spell {
            from_the_first,
            from,
            crew,
            until,
            to_the_last,
        });
    };
    for stop in plan.stops.iter().filter(|stop| !stop.frozen) {
        let (off, on, at) = match &stop.visit {
            Visit::Job { .. } => continue,
            Visit::Yard { load, unload } => (unload, load, stop.start),
            Visit::Meet { give, take, .. } => (give, take, stop.finish),
        };
        for unit in off {
            if let Some(since) = aboard.remove(unit) {
                put_down(unit, since, at, false);
            }
        }
        aboard.extend(on.iter().map(|unit| (*unit, (false, at))));
    }
    for (unit, since) in &aboard {
        put_down(unit, *since, plan.back_at, true);
    }
}

/// Since when a crew has a unit that it leaves with, or that is aboard when it goes on, and whether that is from the
/// beginning of its day.
fn since(inputs: &DayInputs, day: &DayProblem, crew: CrewIx, unit: UnitIx) -> (bool, Seconds) {
    let numbers = day.problem.crew(crew);
    if matches!(numbers.progress, Progress::NotStarted) {
        return (true, numbers.shift_start);
    }
    let (crew, unit) = (day.crew_id(crew), day.unit_id(unit));
    let base = inputs
        .base
        .iter()
        .flat_map(|(base, _)| base.spells_of(unit));
    let taken = base
        .filter(|spell| spell.crew_id == crew)
        .filter_map(|spell| spell.from_time)
        .filter(|from| inputs.has_reached(crew, *from))
        .max();
    taken.map_or((true, Seconds::MIN), |from| {
        (false, inputs.clock.seconds(from))
    })
}
