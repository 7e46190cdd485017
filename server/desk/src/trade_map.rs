//! From stored sites, jobs and units to what the trade library estimates.

use forenoon_store::entity::{job, site, unit};
use forenoon_store::value::{
    Area, AreaKind, AreaShape, Capability, Obstacles, SiteCondition, Task, TaskKind, TurfDensity,
    UnitKind,
};
use forenoon_trade::compose::rules::trim_length;
use forenoon_trade::equipment::Equipment;
use forenoon_trade::estimate::Work;
use forenoon_trade::fault::Fault;
use forenoon_trade::rates::Rates;
use forenoon_trade::site::{
    Area as TradeArea, AreaKind as TradeAreaKind, Condition, Density, Ground,
    Obstacles as TradeObstacles, Shape,
};
use forenoon_trade::task::{Measure, Method, TaskKind as TradeTask};
use forenoon_trade::units::{Degrees, Litres, Metres, Minutes, SquareMetres};

use crate::compose::composition;

const MILLIMETRES_PER_METRE: f64 = 1_000.0;
/// An edge that is worked by area, as when the walk beside it is blown off, counts as so wide. Common
/// practice, no source.
const WALK_WIDTH: Metres = Metres::new(1.2);
/// The steepest ground that is estimated, and so the most that a tool's limit may say.
const STEEPEST: Degrees = Degrees::new(60.0);
/// A site without areas is walked as if it had one of this size: a house lot. Common practice, no
/// source.
const WALKED_WITHOUT_AREAS: SquareMetres = SquareMetres::new(400.0);

/// The kind of work in the trade's words.
pub const fn task_kind(kind: TaskKind) -> TradeTask {
    match kind {
        TaskKind::WalkBefore => TradeTask::WalkBefore,
        TaskKind::KnockDown => TradeTask::KnockDown,
        TaskKind::CutBrush => TradeTask::CutBrush,
        TaskKind::Edge => TradeTask::Edge,
        TaskKind::Trim => TradeTask::Trim,
        TaskKind::Mow => TradeTask::Mow,
        TaskKind::SecondPass => TradeTask::SecondPass,
        TaskKind::Collect => TradeTask::Collect,
        TaskKind::BlowOff => TradeTask::BlowOff,
        TaskKind::WalkAfter => TradeTask::WalkAfter,
    }
}

/// The method that a capability serves; none for what only carries.
pub const fn method(capability: Capability) -> Option<Method> {
    match capability {
        Capability::Edger => Some(Method::Edger),
        Capability::LineHead => Some(Method::LineHead),
        Capability::BladeHead => Some(Method::BladeHead),
        Capability::Mower => Some(Method::Mower),
        Capability::CollectingMower => Some(Method::CollectingMower),
        Capability::Blower => Some(Method::Blower),
        Capability::Rake => Some(Method::RakeAndBag),
        Capability::FlatShovel => Some(Method::FlatShovel),
        Capability::Carrier => None,
    }
}

/// A job's work in the trade's words, task by task.
pub struct JobWork<'a> {
    job: &'a job::Model,
    site: &'a site::Model,
    composed: Vec<(TradeTask, Option<String>, Work)>,
    rates: &'a Rates,
}

impl<'a> JobWork<'a> {
    /// The work of a job at its site.
    pub fn new(job: &'a job::Model, site: &'a site::Model, rates: &'a Rates) -> Self {
        // What the rules measured themselves, as the paving to be blown off, is taken over from them. A job whose tasks
        // people wrote for a site without areas has none of it.
        let composed = composition(job, site, rates).map_or_else(
            |_| Vec::new(),
            |(composition, chosen)| {
                composition
                    .tasks
                    .iter()
                    .map(|planned| {
                        let area = planned
                            .area
                            .and_then(|area| chosen.get(area))
                            .and_then(|ix| site.areas.0.get(*ix))
                            .map(|area| area.area_id.clone());
                        (planned.work.kind, area, planned.work)
                    })
                    .collect()
            },
        );
        Self {
            job,
            site,
            composed,
            rates,
        }
    }

    /// What one task is, for an estimate with one method.
    pub fn work(&self, task: &Task, method: Method, meeting: Minutes) -> Work {
        let kind = task_kind(task.kind);
        let known = self
            .composed
            .iter()
            .filter(|(composed, area, _)| *composed == kind && *area == task.area_id)
            .map(|(_, _, work)| *work);
        // Two methods on one area, as shovel and edger on an edge, are two tasks.
        let found = known
            .clone()
            .find(|work| work.method == method)
            .or_else(|| known.clone().next());
        let described = found.unwrap_or_else(|| described(self.job, self.site, task, self.rates));
        Work {
            method,
            passes: u8::try_from(task.passes).unwrap_or(u8::MAX),
            meeting,
            ..described
        }
    }

    /// Whether a tool may go where a task is. What the rules compose for the whole site, as blowing off, is timed on
    /// level ground, so an estimate alone does not tell.
    ///
    /// # Errors
    /// The gate or the slope that keeps the tool out.
    pub(crate) fn fits(&self, task: &Task, tool: &Equipment) -> Result<(), Fault> {
        if task.area_id.is_some() {
            return Ok(());
        }
        tool.fits(&whole_ground(self.job, self.site, task))
    }
}

/// A task that the rules did not compose: from its area, or from all areas where it is for the whole site.
fn described(job: &job::Model, site: &site::Model, task: &Task, rates: &Rates) -> Work {
    let area = task
        .area_id
        .as_ref()
        .and_then(|id| site.areas.0.iter().find(|area| area.area_id == *id));
    let kind = task_kind(task.kind);
    Work {
        kind,
        method: Method::OnFoot,
        measure: measure(kind, site, area, rates),
        ground: area.map_or_else(|| whole_ground(job, site, task), ground),
        condition: Condition {
            laid: laid(job, task),
            ..condition(&job.condition)
        },
        passes: 1,
        meeting: Minutes::ZERO,
    }
}

/// The ground of a task on the whole site: as steep as its steepest area, with the narrowest of its gates. On foot one
/// goes round what is steep.
fn whole_ground(job: &job::Model, site: &site::Model, task: &Task) -> Ground {
    if task.capabilities.is_empty() {
        return Ground::default();
    }
    Hindrance::of(job, site, None).ground()
}

/// Whether gate and slope let a unit go where a task is, to do it with one of the capabilities that the task takes.
pub(crate) fn goes_there(
    job: &job::Model,
    site: &site::Model,
    task: &Task,
    unit: &unit::Model,
) -> bool {
    let ground = Hindrance::of(job, site, task.area_id.as_deref()).ground();
    let mut ways = task
        .capabilities
        .iter()
        .filter(|capability| unit.capabilities.0.contains(capability));
    // What only carries stays on the road.
    ways.any(|way| method(*way).is_none_or(|way| equipment(unit, way).fits(&ground).is_ok()))
}

/// What stands in a machine's way.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Hindrance {
    /// The steepest slope, rise over run.
    pub(crate) slope_percent: f64,
    /// The narrowest gate; none where all is open.
    pub(crate) gate_millimetres: Option<f64>,
}

impl Hindrance {
    /// As ground, level but for this and without obstacles.
    fn ground(&self) -> Ground {
        Ground {
            slope: Degrees::from_grade_percent(self.slope_percent),
            narrowest_gate: self
                .gate_millimetres
                .map(|gate| Metres::new(gate / MILLIMETRES_PER_METRE)),
            ..Ground::default()
        }
    }

    /// On an area. Work without one is done on all the job's areas, or on the site's where the job names none, so
    /// that the steepest slope and the narrowest gate among them count.
    pub(crate) fn of(job: &job::Model, site: &site::Model, area_id: Option<&str>) -> Self {
        let of_task = |area: &&Area| match area_id {
            Some(id) => area.area_id == id,
            None => job.area_ids.0.is_empty() || job.area_ids.0.contains(&area.area_id),
        };
        let areas = site.areas.0.iter().filter(of_task);
        Self {
            slope_percent: areas
                .clone()
                .map(|area| area.slope_percent)
                .fold(0.0, f64::max),
            gate_millimetres: areas
                .filter_map(|area| area.narrowest_gate_millimetres)
                .reduce(f64::min),
        }
    }
}

/// Whether the growth was knocked down earlier in the same visit.
fn laid(job: &job::Model, task: &Task) -> bool {
    job.tasks
        .0
        .iter()
        .take_while(|earlier| earlier.task_id != task.task_id)
        .any(|earlier| earlier.kind == TaskKind::KnockDown && earlier.area_id == task.area_id)
}

fn measure(kind: TradeTask, site: &site::Model, area: Option<&Area>, rates: &Rates) -> Measure {
    let length = |area: &Area| Metres::new(area.length_metres.unwrap_or(0.0));
    let surface = |area: &Area| {
        area.surface_square_metres
            .map_or_else(|| length(area).by(WALK_WIDTH), SquareMetres::new)
    };
    match (kind, area) {
        (TradeTask::Edge, Some(area)) => Measure::Length(length(area)),
        (TradeTask::Trim, Some(area)) => {
            Measure::Length(trim_length(&trade_area(area, Condition::default()), rates))
        }
        (_, Some(area)) => Measure::Area(surface(area)),
        (_, None) => {
            let whole: SquareMetres = site.areas.0.iter().map(surface).sum();
            Measure::Area(if whole > SquareMetres::ZERO {
                whole
            } else {
                WALKED_WITHOUT_AREAS
            })
        }
    }
}

/// An area in the trade's words.
pub fn trade_area(area: &Area, condition: Condition) -> TradeArea {
    let surface = SquareMetres::new(area.surface_square_metres.unwrap_or(0.0));
    let length = Metres::new(area.length_metres.unwrap_or(0.0));
    let kind = match area.kind {
        AreaKind::Turf => TradeAreaKind::Turf(surface),
        AreaKind::HardEdge => TradeAreaKind::HardEdge(length),
        AreaKind::Brush => TradeAreaKind::Brush(surface),
        // A bed whose border is on record is trimmed along it.
        AreaKind::Bed if area.length_metres.is_some() => TradeAreaKind::Border(length),
        AreaKind::Bed => TradeAreaKind::Bed(surface),
        AreaKind::HardSurface => TradeAreaKind::HardSurface(surface),
    };
    TradeArea {
        kind,
        ground: ground(area),
        condition,
    }
}

/// An area's lasting ground.
pub fn ground(area: &Area) -> Ground {
    Ground {
        slope: Degrees::from_grade_percent(area.slope_percent),
        narrowest_gate: area
            .narrowest_gate_millimetres
            .map(|gate| Metres::new(gate / MILLIMETRES_PER_METRE)),
        obstacles: match area.obstacles {
            Obstacles::None => TradeObstacles::None,
            Obstacles::Few => TradeObstacles::Few,
            Obstacles::Many => TradeObstacles::Many,
        },
        shape: match area.shape {
            AreaShape::Open => Shape::Open,
            AreaShape::Ordinary => Shape::Regular,
            AreaShape::Broken => Shape::Irregular,
        },
    }
}

/// The state of a site; what is not said is taken as well kept.
pub fn condition(stored: &SiteCondition) -> Condition {
    let metres = |millimetres: Option<f64>, otherwise: Metres| {
        millimetres.map_or(otherwise, |value| {
            Metres::new(value / MILLIMETRES_PER_METRE)
        })
    };
    let kept = Condition::default();
    Condition {
        turf_height: metres(stored.turf_height_millimetres, kept.turf_height),
        set_height: metres(stored.set_height_millimetres, kept.set_height),
        density: match stored.turf_density {
            Some(TurfDensity::Thin) => Density::Thin,
            Some(TurfDensity::Ordinary) | None => Density::Usual,
            Some(TurfDensity::Thick) => Density::Thick,
        },
        wet: stored.wet,
        laid: false,
        stem: metres(stored.stem_thickness_millimetres, kept.stem),
        edge_overgrowth: metres(stored.edge_overgrowth_millimetres, kept.edge_overgrowth),
        first_service: stored.first_service,
    }
}

/// A unit, or an attachment on its powerhead, as a tool for one method.
pub fn equipment(unit: &unit::Model, method: Method) -> Equipment {
    let metres = |millimetres: f64| Metres::new(millimetres / MILLIMETRES_PER_METRE);
    let cut = unit.cutting_width_millimetres.map(metres);
    let mut tool = match (method, cut) {
        (Method::Mower | Method::CollectingMower, Some(cut)) => match unit.kind {
            UnitKind::RideOnMower => Equipment::ride_mower(cut),
            UnitKind::WalkMower
            | UnitKind::Powerhead
            | UnitKind::Attachment
            | UnitKind::Blower
            | UnitKind::HandTool
            | UnitKind::Trailer
            | UnitKind::Vehicle => Equipment::walk_mower(cut),
        },
        // A mower that cuts brush does so at the pace of a blade head; no rate is known of its own.
        _ => Equipment::usual_for(method),
    };
    // Whatever it does, it goes through the gate and up the slope as the machine it is.
    if let Some(width) = unit.machine_width_millimetres.map(metres).or(cut) {
        tool.machine_width = width;
    }
    if unit.max_slope_percent > 0.0 {
        let told = Degrees::from_grade_percent(unit.max_slope_percent);
        // No ground steeper than that is estimated, so it limits nothing.
        tool.max_slope = told.min(STEEPEST);
    }
    if method == Method::CollectingMower && unit.bag_litres > 0.0 {
        tool = tool.with_bag(Litres::new(unit.bag_litres));
    }
    tool
}

/// Whether a unit that serves a method is too loud for quiet hours: all that has an engine or motor.
pub fn is_noisy(unit: &unit::Model) -> bool {
    match unit.kind {
        UnitKind::WalkMower | UnitKind::RideOnMower | UnitKind::Blower | UnitKind::Powerhead => {
            true
        }
        UnitKind::HandTool | UnitKind::Trailer | UnitKind::Vehicle | UnitKind::Attachment => false,
    }
}
