//! Units as the planner sees them: like units in one class, each unit with the times at which it is there.

use std::collections::BTreeMap;

use forenoon_planner::problem::{Role, Tool, Unit, UnitClass, Window};
use forenoon_planner::{CapabilityIx, ClassIx, CouplingIx, PlaceIx, Seconds, UnitIx};
use forenoon_store::entity::unit;
use forenoon_store::value::{Capability, TaskKind, UnitKind};

use crate::clock::DayClock;
use crate::inputs::DayInputs;
use crate::trade_map::is_noisy;
use crate::upkeep::wear_minor_per_hour;

/// Load space is planned in whole litres.
const LITRES_MAX: f64 = 1_000_000.0;
/// Wear that is planned with, minor units an hour. A price beyond reason makes a unit the last to be chosen, and not the day
/// impossible.
const WEAR_PER_HOUR_MAX: i64 = 1_000_000;
/// Slope that any unit may work on whose manual's limit is not on record: the planner's own ceiling. The operator's
/// manual decides.
const SLOPE_UNKNOWN_PERMILLE: u32 = 2_000;

/// The fleet, and how the planner's numbers and the branch's ids belong together.
pub(crate) struct Fleet {
    /// Classes of like units.
    pub(crate) classes: Vec<UnitClass>,
    /// A unit that stands for each class.
    pub(crate) samples: Vec<unit::Model>,
    /// What the units of each class must not do, by their tags.
    pub(crate) forbidden: Vec<Vec<TaskKind>>,
    /// Units, in the order of `unit_ids`.
    pub(crate) units: Vec<Unit>,
    /// The branch's ids, by the planner's number.
    pub(crate) unit_ids: Vec<String>,
}

/// All that makes units alike.
#[derive(PartialEq, Eq, PartialOrd, Ord)]
struct Likeness {
    kind: UnitKind,
    capabilities: Vec<Capability>,
    coupling: Option<String>,
    /// Cutting width, machine width, slope, load space, bag, noise and vibration, by their bits: equal figures are alike.
    figures: [u64; 7],
    wear_per_hour: i64,
    /// What its tag forbids.
    forbidden: Vec<TaskKind>,
}

/// The capability's number, the same in every problem.
pub(crate) fn capability_number(capability: Capability) -> CapabilityIx {
    CapabilityIx(match capability {
        Capability::Edger => 0,
        Capability::LineHead => 1,
        Capability::BladeHead => 2,
        Capability::Mower => 3,
        Capability::CollectingMower => 4,
        Capability::Blower => 5,
        Capability::Rake => 6,
        Capability::FlatShovel => 7,
        Capability::Carrier => 8,
    })
}

/// Load space in whole litres, rounded up.
pub(crate) fn litres_up(litres: f64) -> u32 {
    whole(litres.ceil())
}

/// Load space in whole litres, rounded down.
pub(crate) fn litres_down(litres: f64) -> u32 {
    whole(litres.floor())
}

#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "clamped to a range that fits"
)]
fn whole(figure: f64) -> u32 {
    figure.clamp(0.0, LITRES_MAX) as u32
}

impl Fleet {
    /// The units that crews load. Vehicles and trailers are not among them: they carry.
    pub(crate) fn new(inputs: &DayInputs, yard: PlaceIx) -> Self {
        let mut couplings: BTreeMap<&str, CouplingIx> = BTreeMap::new();
        let mut known: BTreeMap<Likeness, ClassIx> = BTreeMap::new();
        // Units of a price wear alike.
        let mut wears: BTreeMap<Option<i64>, i64> = BTreeMap::new();
        let mut fleet = Self {
            classes: Vec::new(),
            samples: Vec::new(),
            forbidden: Vec::new(),
            units: Vec::new(),
            unit_ids: Vec::new(),
        };
        let carried = inputs.units.iter().filter(|unit| !unit.kind.carries());
        for unit in carried {
            if let Some(coupling) = &unit.coupling {
                let next = CouplingIx::from_ix(couplings.len());
                couplings.entry(coupling).or_insert(next);
            }
            let forbidden = inputs.forbidden(&unit.id);
            let wear = *wears
                .entry(unit.purchase_price_minor)
                .or_insert_with(|| wear_minor_per_hour(unit).min(WEAR_PER_HOUR_MAX));
            let class = *known
                .entry(likeness(unit, wear, forbidden))
                .or_insert_with(|| {
                    fleet.classes.push(class(unit, wear, &couplings));
                    fleet.samples.push(unit.clone());
                    fleet.forbidden.push(forbidden.to_vec());
                    ClassIx::from_ix(fleet.classes.len() - 1)
                });
            fleet.units.push(Unit {
                class,
                home: yard,
                available: available(inputs, unit),
            });
            fleet.unit_ids.push(unit.id.clone());
        }
        fleet
    }

    /// The load space that units take together, litres.
    pub(crate) fn litres(&self, units: &[UnitIx]) -> u32 {
        units
            .iter()
            .filter_map(|unit| self.units.get(unit.ix()))
            .filter_map(|unit| self.classes.get(unit.class.ix()))
            .map(|class| class.space)
            .sum()
    }

    /// The tools of the branch with a capability; bare hands where none is needed.
    pub(crate) fn tools(&self, wanted: Option<CapabilityIx>) -> impl Iterator<Item = Tool> {
        let able = self.numbered().filter(move |(_, class)| {
            wanted.is_some_and(|wanted| class.capabilities.contains(&wanted))
        });
        let by_hand = wanted.is_none().then_some(Tool::Hand);
        by_hand
            .into_iter()
            .chain(able.flat_map(|(ix, class)| self.made_with(ix, class.role)))
    }

    fn numbered(&self) -> impl Iterator<Item = (ClassIx, &UnitClass)> {
        let classes = self.classes.iter().enumerate();
        classes.map(|(ix, class)| (ClassIx::from_ix(ix), class))
    }

    /// The tools that a class makes: itself, or an attachment with each powerhead that it fits.
    fn made_with(&self, class: ClassIx, role: Role) -> Vec<Tool> {
        let Role::Attachment { coupling } = role else {
            return vec![Tool::Whole(class)];
        };
        self.numbered()
            .filter(|(_, other)| other.role == Role::Powerhead { coupling })
            .map(|(powerhead, _)| Tool::Pair {
                attachment: class,
                powerhead,
            })
            .collect()
    }
}

fn likeness(unit: &unit::Model, wear_per_hour: i64, forbidden: &[TaskKind]) -> Likeness {
    let mut capabilities = unit.capabilities.0.clone();
    capabilities.sort_unstable();
    capabilities.dedup();
    Likeness {
        kind: unit.kind,
        capabilities,
        coupling: unit.coupling.clone(),
        figures: [
            unit.cutting_width_millimetres.unwrap_or(0.0),
            unit.machine_width_millimetres.unwrap_or(0.0),
            unit.max_slope_percent,
            unit.load_space_litres,
            unit.bag_litres,
            unit.noise_dba,
            unit.vibration_metres_per_second_squared,
        ]
        .map(f64::to_bits),
        wear_per_hour,
        forbidden: forbidden.to_vec(),
    }
}

fn class(
    unit: &unit::Model,
    wear_per_hour: i64,
    couplings: &BTreeMap<&str, CouplingIx>,
) -> UnitClass {
    let coupling = unit
        .coupling
        .as_deref()
        .and_then(|coupling| couplings.get(coupling).copied());
    let width = unit
        .machine_width_millimetres
        .or(unit.cutting_width_millimetres)
        .unwrap_or(0.0);
    let mut capabilities: Vec<CapabilityIx> = unit
        .capabilities
        .0
        .iter()
        .copied()
        .map(capability_number)
        .collect();
    capabilities.sort_unstable();
    capabilities.dedup();
    UnitClass {
        role: match (unit.kind, coupling) {
            (UnitKind::Attachment, Some(coupling)) => Role::Attachment { coupling },
            (UnitKind::Powerhead, Some(coupling)) => Role::Powerhead { coupling },
            _ => Role::Whole,
        },
        capabilities,
        width_mm: whole(width.ceil()),
        slope_max_permille: if unit.max_slope_percent > 0.0 {
            whole((unit.max_slope_percent * 10.0).floor())
        } else {
            SLOPE_UNKNOWN_PERMILLE
        },
        space: litres_up(unit.load_space_litres),
        wear_per_hour,
        noisy: is_noisy(unit),
    }
}

/// When a unit is there: the whole time round the day, less its absences; never while it is tagged out, stands with a
/// trailer that is, or waits for a service that must come first.
fn available(inputs: &DayInputs, unit: &unit::Model) -> Vec<Window> {
    if inputs.is_kept_in(&unit.id) {
        return Vec::new();
    }
    present(&inputs.clock, unit)
}

/// When a unit is there by its absences alone, from one end of the axis to the other.
pub(crate) fn present(clock: &DayClock, unit: &unit::Model) -> Vec<Window> {
    let mut absences: Vec<(Seconds, Seconds)> = unit
        .absences
        .0
        .iter()
        .map(|absence| {
            (
                clock.seconds(absence.start_time),
                clock.seconds(absence.end_time),
            )
        })
        .collect();
    absences.sort_unstable();
    let mut windows = Vec::new();
    let (mut open, end) = clock.axis();
    for (start, finish) in absences {
        // Windows include their last second; an absence does not include its end.
        if start > open {
            windows.push(Window {
                open,
                close: start.min(end + 1) - 1,
            });
        }
        open = open.max(finish);
        if open > end {
            return windows;
        }
    }
    windows.push(Window { open, close: end });
    windows
}
