//! Which tools serve a task: units with the capability, an attachment on a powerhead of its coupling.

use std::collections::BTreeMap;

use forenoon_store::entity::unit;
use forenoon_store::value::{Task, TaskKind, UnitKind};
use forenoon_trade::equipment::Equipment;
use forenoon_trade::task::Method;

use crate::trade_map::{equipment, method, task_kind};

/// A tool for one method, and the units it is made of.
#[derive(Clone, Debug)]
pub(super) struct Tool<'a> {
    pub method: Method,
    pub equipment: Equipment,
    /// The unit, or an attachment and its powerhead; nothing on foot and for a tool that is assumed.
    pub units: Vec<&'a unit::Model>,
}

impl Tool<'_> {
    pub(super) const fn on_foot() -> Self {
        Self {
            method: Method::OnFoot,
            equipment: Equipment::ON_FOOT,
            units: Vec::new(),
        }
    }
}

/// The units at hand.
pub(super) struct Toolbox<'a> {
    /// What units must not do, by their tags.
    forbidden: &'a BTreeMap<String, Vec<TaskKind>>,
    chosen: Vec<&'a unit::Model>,
    /// The chosen ones first, so that a chosen powerhead is taken before another.
    all: Vec<&'a unit::Model>,
}

impl<'a> Toolbox<'a> {
    pub(super) fn new(
        chosen: &[&'a unit::Model],
        fleet: &[&'a unit::Model],
        forbidden: &'a BTreeMap<String, Vec<TaskKind>>,
    ) -> Self {
        let others = fleet
            .iter()
            .copied()
            .filter(|unit| chosen.iter().all(|one| one.id != unit.id));
        Self {
            forbidden,
            chosen: chosen.to_vec(),
            all: chosen.iter().copied().chain(others).collect(),
        }
    }

    /// Tools of the chosen units that serve a task.
    pub(super) fn chosen(&self, task: &Task) -> Vec<Tool<'a>> {
        self.serving(task, &self.chosen)
    }

    /// Tools of the branch that serve a task.
    pub(super) fn of_branch(&self, task: &Task) -> Vec<Tool<'a>> {
        self.serving(task, &self.all)
    }

    /// The usual tool for each way to do a task.
    pub(super) fn usual(task: &Task) -> Vec<Tool<'a>> {
        methods(task)
            .map(|(method, _)| Tool {
                method,
                equipment: Equipment::usual_for(method),
                units: Vec::new(),
            })
            .collect()
    }

    fn serving(&self, task: &Task, units: &[&'a unit::Model]) -> Vec<Tool<'a>> {
        let mut tools = Vec::new();
        for (method, capability) in methods(task) {
            for unit in units {
                if !unit.capabilities.0.contains(&capability) || !self.may(unit, task.kind) {
                    continue;
                }
                let units = match unit.kind {
                    UnitKind::Attachment => match self.powerhead(unit, task.kind) {
                        Some(powerhead) => vec![*unit, powerhead],
                        None => continue,
                    },
                    UnitKind::Trailer | UnitKind::Vehicle => continue,
                    UnitKind::Powerhead
                    | UnitKind::WalkMower
                    | UnitKind::RideOnMower
                    | UnitKind::Blower
                    | UnitKind::HandTool => vec![*unit],
                };
                tools.push(Tool {
                    method,
                    equipment: equipment(unit, method),
                    units,
                });
            }
        }
        tools
    }

    fn powerhead(&self, attachment: &unit::Model, kind: TaskKind) -> Option<&'a unit::Model> {
        self.all.iter().copied().find(|unit| {
            unit.kind == UnitKind::Powerhead
                && unit.coupling == attachment.coupling
                && self.may(unit, kind)
        })
    }

    /// Whether no tag forbids the unit this kind of work.
    fn may(&self, unit: &unit::Model, kind: TaskKind) -> bool {
        self.forbidden
            .get(&unit.id)
            .is_none_or(|kinds| !kinds.contains(&kind))
    }
}

fn methods(task: &Task) -> impl Iterator<Item = (Method, forenoon_store::value::Capability)> + '_ {
    let kind = task_kind(task.kind);
    task.capabilities
        .iter()
        .filter_map(|capability| Some((method(*capability)?, *capability)))
        .filter(move |(method, _)| method.can_do(kind))
}
