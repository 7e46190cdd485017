//! What is aboard, and whether it can do the work.

use std::collections::{BTreeMap, BTreeSet};

use forenoon_proto::v1::{Area, CrewDay, Job, Plan, PlannedTask, Stop, Task, Unit, UnitKind};

use super::world::{World, in_litres, in_metres, seconds};
use super::{Breaches, Rule};

/// What conversions between units of measure may cost, as a share.
const CONVERSION: f64 = 0.001;

pub(super) fn check(world: &World, crew_day: &CrewDay, found: &mut Breaches) {
    let crew = &world.crews[&crew_day.crew];
    if crew_day.stops.is_empty() {
        return;
    }
    let carriers = [&crew.vehicle, &crew.trailer];
    let aboard: BTreeSet<&String> = crew_day.load_out.iter().collect();
    let loaded: Vec<&Unit> = aboard
        .iter()
        .filter(|unit| !carriers.contains(*unit))
        .map(|unit| &world.units[*unit])
        .collect();

    let taken: f64 = loaded
        .iter()
        .map(|unit| in_litres(unit.load_space.as_ref()))
        .sum();
    let space: f64 = carriers
        .iter()
        .filter_map(|unit| world.units.get(*unit))
        .map(|unit| in_litres(unit.carries.as_ref()))
        .sum();
    found.demand(taken <= space, Rule::LoadSpace, || {
        format!("{}: {taken} of {space} litres", crew.name)
    });
    for (told, there_is) in [(&crew_day.load_taken, taken), (&crew_day.load_space, space)] {
        let told = in_litres(told.as_ref());
        found.demand(
            (told - there_is).abs() <= there_is * CONVERSION,
            Rule::LoadSpace,
            || format!("{}: {there_is} litres told as {told}", crew.name),
        );
    }

    let out = (
        seconds(crew_day.depart_time.as_ref()).unwrap_or(i64::MIN),
        seconds(crew_day.return_time.as_ref()).unwrap_or(i64::MAX),
    );
    for unit in loaded
        .iter()
        .copied()
        .chain(carriers.iter().filter_map(|unit| world.units.get(*unit)))
    {
        check_fit(world, unit, out, found);
    }
    for stop in &crew_day.stops {
        let job = &world.jobs[&stop.job];
        for unit in stop.tasks.iter().flat_map(|task| &task.units) {
            let [start, finish] = [&stop.start_time, &stop.finish_time]
                .map(|at| seconds(at.as_ref()).expect("a stop has its times"));
            let has = |(from, until): &Spell| *from <= start && finish <= *until;
            found.demand(
                spells(crew_day, unit).iter().any(has),
                Rule::LoadOut,
                || format!("{} is done with {unit}, which another has then", stop.job),
            );
        }
        for (task, planned) in job.tasks.iter().zip(&stop.tasks) {
            check_task(world, job, stop, task, planned, &aboard, found);
        }
    }
}

/// No unit is with two crews at once.
pub(super) fn check_exclusive(plan: &Plan, found: &mut Breaches) {
    let mut with: BTreeMap<&str, Vec<(&str, Spell)>> = BTreeMap::new();
    for crew_day in &plan.crew_days {
        for unit in &crew_day.load_out {
            let others = with.entry(unit).or_default();
            for spell in spells(crew_day, unit) {
                for (other, theirs) in others.iter() {
                    let apart = spell.1 <= theirs.0 || theirs.1 <= spell.0;
                    found.demand(apart, Rule::LoadOut, || {
                        format!("{unit} is with {} and {other}", crew_day.crew)
                    });
                }
                others.push((&crew_day.crew, spell));
            }
        }
    }
}

/// From when until when a crew has a unit, seconds.
type Spell = (i64, i64);

/// A crew's spells with a unit of its load-out: all day where no other crew has it.
fn spells(crew_day: &CrewDay, unit: &str) -> Vec<Spell> {
    let shared: Vec<Spell> = crew_day
        .shared_units
        .iter()
        .filter(|shared| shared.unit == unit)
        .map(|shared| {
            (
                seconds(shared.from_time.as_ref()).unwrap_or(i64::MIN),
                seconds(shared.until_time.as_ref()).unwrap_or(i64::MAX),
            )
        })
        .collect();
    if shared.is_empty() {
        vec![(i64::MIN, i64::MAX)]
    } else {
        shared
    }
}

fn check_fit(world: &World, unit: &Unit, (depart, back): (i64, i64), found: &mut Breaches) {
    found.demand(!unit.retired, Rule::Fit, || {
        format!("{} has left the fleet", unit.name)
    });
    found.demand(!world.tagged_out.contains(&unit.name), Rule::Fit, || {
        format!("{} is tagged out", unit.name)
    });
    for absence in &unit.absences {
        let from = seconds(absence.start_time.as_ref()).unwrap_or(i64::MIN);
        let to = seconds(absence.end_time.as_ref()).unwrap_or(i64::MAX);
        found.demand(back <= from || to <= depart, Rule::Fit, || {
            format!("{} is away: {}", unit.name, absence.reason)
        });
    }
}

fn check_task(
    world: &World,
    job: &Job,
    stop: &Stop,
    task: &Task,
    planned: &PlannedTask,
    aboard: &BTreeSet<&String>,
    found: &mut Breaches,
) {
    let place = format!("{}/{}", stop.job, task.task_id);
    for unit in &planned.units {
        found.demand(aboard.contains(unit), Rule::LoadOut, || {
            format!("{place} is done with {unit}, which is not aboard")
        });
    }
    let units: Vec<&Unit> = planned
        .units
        .iter()
        .map(|unit| &world.units[unit])
        .collect();
    check_capability(task, &units, &place, found);
    let site = &world.sites[&job.site];
    if let Some(area) = site.areas.iter().find(|area| area.area_id == task.area_id) {
        check_area(area, &units, &place, found);
    }
}

fn check_capability(task: &Task, units: &[&Unit], place: &str, found: &mut Breaches) {
    if task.capabilities.is_empty() {
        return;
    }
    let able = |unit: &Unit| {
        task.capabilities
            .iter()
            .any(|one| unit.capabilities.contains(one))
    };
    match units {
        [unit] => {
            found.demand(able(unit), Rule::Capability, || {
                format!("{place}: {} cannot", unit.name)
            });
            found.demand(unit.kind() != UnitKind::Attachment, Rule::Coupling, || {
                format!("{place}: {} has no powerhead", unit.name)
            });
        }
        [one, other] => {
            let (attachment, powerhead) = if one.kind() == UnitKind::Attachment {
                (one, other)
            } else {
                (other, one)
            };
            found.demand(able(attachment), Rule::Capability, || {
                format!("{place}: {} cannot", attachment.name)
            });
            found.demand(
                attachment.kind() == UnitKind::Attachment
                    && powerhead.kind() == UnitKind::Powerhead
                    && attachment.coupling == powerhead.coupling,
                Rule::Coupling,
                || {
                    format!(
                        "{place}: {} does not go on {}",
                        attachment.name, powerhead.name
                    )
                },
            );
        }
        _ => found.demand(false, Rule::Capability, || {
            format!("{place} is done with {} units", units.len())
        }),
    }
}

fn check_area(area: &Area, units: &[&Unit], place: &str, found: &mut Breaches) {
    for unit in units {
        let width = unit
            .machine_width
            .as_ref()
            .or(unit.cutting_width.as_ref())
            .map(in_metres);
        if let (Some(width), Some(gate)) = (width, &area.narrowest_gate) {
            let gate = in_metres(gate);
            found.demand(width <= gate, Rule::Gate, || {
                format!(
                    "{place}: {} is {width} m wide, the gate {gate} m",
                    unit.name
                )
            });
        }
        // 0 means that no limit is known.
        let limit = unit.max_slope_percent;
        found.demand(
            limit <= 0.0 || area.slope_percent <= limit,
            Rule::Slope,
            || {
                format!(
                    "{place}: {} on {} %, {limit} % at most",
                    unit.name, area.slope_percent
                )
            },
        );
    }
}
