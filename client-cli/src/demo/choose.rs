//! Which unit the demo tags out: one whose absence a dispatcher would feel.

use std::collections::BTreeMap;

use forenoon_proto::v1::{Capability, Plan, Unit, UnitKind};

/// A unit that a crew has aboard and works with.
#[derive(Debug, PartialEq)]
pub(super) struct Choice<'a> {
    /// The unit.
    pub(super) unit: &'a Unit,
    /// The crew's resource name.
    pub(super) crew: &'a str,
    /// The jobs it is for, resource names in the order of the stops.
    pub(super) jobs: Vec<&'a str>,
}

/// The unit to tag out: a brush blade head if one is in use, for there are few of them; else the mower with the most
/// work. None where the plan works with neither.
pub(super) fn unit_to_tag<'a>(plan: &'a Plan, units: &'a [Unit]) -> Option<Choice<'a>> {
    let mut use_of: BTreeMap<&str, (i64, &str, Vec<&str>)> = BTreeMap::new();
    for day in &plan.crew_days {
        for stop in &day.stops {
            for task in &stop.tasks {
                for unit in &task.units {
                    let seconds = task.duration.map_or(0, |duration| duration.seconds);
                    let entry = use_of
                        .entry(unit)
                        .or_insert_with(|| (0, &day.crew, Vec::new()));
                    entry.0 += seconds;
                    if entry.2.last() != Some(&stop.job.as_str()) {
                        entry.2.push(&stop.job);
                    }
                }
            }
        }
    }
    let rank = |unit: &Unit, seconds: i64| {
        let blade = unit
            .capabilities()
            .any(|capability| capability == Capability::BladeHead);
        let mower = matches!(unit.kind(), UnitKind::WalkMower | UnitKind::RideOnMower);
        (blade || mower).then_some((blade, seconds))
    };
    let ranked = units.iter().filter_map(|unit| {
        let (seconds, crew, jobs) = use_of.get(unit.name.as_str())?;
        Some((
            rank(unit, *seconds)?,
            Choice {
                unit,
                crew,
                jobs: jobs.clone(),
            },
        ))
    });
    ranked
        .max_by_key(|(rank, _)| *rank)
        .map(|(_, choice)| choice)
}

#[cfg(test)]
mod tests {
    use super::*;
    use forenoon_proto::v1::{CrewDay, PlannedTask, Stop};
    use prost_types::Duration;

    fn unit(name: &str, kind: UnitKind, capability: Capability) -> Unit {
        Unit {
            name: name.to_owned(),
            kind: kind.into(),
            capabilities: vec![capability.into()],
            ..Unit::default()
        }
    }

    fn stop(job: &str, works: &[(&[&str], i64)]) -> Stop {
        let tasks = works.iter().map(|(units, seconds)| PlannedTask {
            units: units.iter().map(|&unit| unit.to_owned()).collect(),
            duration: Some(Duration {
                seconds: *seconds,
                nanos: 0,
            }),
            ..PlannedTask::default()
        });
        Stop {
            job: job.to_owned(),
            tasks: tasks.collect(),
            ..Stop::default()
        }
    }

    fn plan() -> Plan {
        let day = |crew: &str, stops: Vec<Stop>| CrewDay {
            crew: crew.to_owned(),
            stops,
            ..CrewDay::default()
        };
        Plan {
            crew_days: vec![
                day(
                    "a",
                    vec![
                        stop("j1", &[(&["wide"], 900), (&["blower"], 9_000)]),
                        stop("j2", &[(&["wide"], 60)]),
                    ],
                ),
                day(
                    "b",
                    vec![
                        stop("j3", &[(&["narrow"], 950)]),
                        stop("j4", &[(&["blade", "head"], 300)]),
                    ],
                ),
            ],
            ..Plan::default()
        }
    }

    #[test]
    fn a_blade_head_comes_before_mowers_and_the_busiest_mower_before_others() {
        let wide = unit("wide", UnitKind::RideOnMower, Capability::Mower);
        let narrow = unit("narrow", UnitKind::WalkMower, Capability::Mower);
        let blower = unit("blower", UnitKind::Blower, Capability::Blower);
        let blade = unit("blade", UnitKind::Attachment, Capability::BladeHead);
        let idle = unit("idle", UnitKind::Attachment, Capability::BladeHead);
        let plan = plan();
        let all = [
            wide.clone(),
            narrow.clone(),
            blower.clone(),
            blade.clone(),
            idle.clone(),
        ];
        let choice = unit_to_tag(&plan, &all).unwrap();
        assert_eq!(
            (choice.unit, choice.crew, choice.jobs),
            (&blade, "b", vec!["j4"])
        );
        let without_blade = [wide.clone(), narrow, blower.clone(), idle.clone()];
        let choice = unit_to_tag(&plan, &without_blade).unwrap();
        assert_eq!(
            (choice.unit, choice.crew, choice.jobs),
            (&wide, "a", vec!["j1", "j2"])
        );
        assert_eq!(unit_to_tag(&plan, &[blower, idle]), None);
    }
}
