//! What a place is like: its areas, their ground and the state they are in on the day.

use crate::fault::{Fault, within};
use crate::units::{Degrees, Metres, SquareMetres};

/// The largest area one description may hold: 1000 ha.
pub const LARGEST_AREA: SquareMetres = SquareMetres::new(1.0e7);
/// The longest length one description may hold: 100 km.
pub const LONGEST_LENGTH: Metres = Metres::new(1.0e5);

/// The least area (m2) or length (m) that counts as one: below it, leave the area out.
const SMALLEST: f64 = 0.01;

/// What an area is, with its size.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum AreaKind {
    /// Mown grass.
    Turf(SquareMetres),
    /// A kerb, path or drive whose turf edge is cut by an edger.
    HardEdge(Metres),
    /// A fence, wall or row of trees where turf is cut by line because no mower reaches it.
    Border(Metres),
    /// Woody or rank growth.
    Brush(SquareMetres),
    /// A planted bed: its rim is trimmed.
    Bed(SquareMetres),
    /// Paving that debris is blown or swept from.
    HardSurface(SquareMetres),
}

/// How much stands in the way of a machine.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub enum Obstacles {
    /// Open ground.
    None,
    /// About one in 100 square metres.
    #[default]
    Few,
    /// About three in 100 square metres.
    Some,
    /// More than that.
    Many,
}

/// The plan of an area.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub enum Shape {
    /// A long rectangle with straight sides.
    Open,
    /// Near a rectangle.
    #[default]
    Regular,
    /// Curved or cut up.
    Irregular,
    /// Long and narrow.
    Strip,
}

/// How thickly the growth stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub enum Density {
    /// Gaps show.
    Thin,
    /// A usual stand.
    #[default]
    Usual,
    /// A heavy stand.
    Thick,
}

/// The lasting ground of an area.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Ground {
    /// Inclination, 0 to 60 degrees.
    pub slope: Degrees,
    /// Clear width of the narrowest gate on the way, if there is one; 0.3 to 30 m.
    pub narrowest_gate: Option<Metres>,
    /// What stands in the way.
    pub obstacles: Obstacles,
    /// Its plan.
    pub shape: Shape,
}

/// The state of an area on the day.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Condition {
    /// Height of the turf now, 0 to 4 m.
    pub turf_height: Metres,
    /// Height it is to be cut to, 0.005 to 0.3 m.
    pub set_height: Metres,
    /// How thickly it stands.
    pub density: Density,
    /// Wet with rain or dew.
    pub wet: bool,
    /// Knocked down earlier in this visit, so stems lie.
    pub laid: bool,
    /// Thickness of the thickest common stems, 0 to 0.2 m.
    pub stem: Metres,
    /// How far growth lies over the hard edge, 0 to 1 m.
    pub edge_overgrowth: Metres,
    /// The first service of this company here.
    pub first_service: bool,
}

impl Default for Condition {
    /// A maintained lawn a week after it was cut: 3 in set, 4 in tall.
    fn default() -> Self {
        Self {
            turf_height: Metres::from_inches(4.0),
            set_height: Metres::from_inches(3.0),
            density: Density::Usual,
            wet: false,
            laid: false,
            stem: Metres::ZERO,
            edge_overgrowth: Metres::ZERO,
            first_service: false,
        }
    }
}

/// One area of a site with its ground and its state.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Area {
    /// What it is and how much of it there is.
    pub kind: AreaKind,
    /// Its ground.
    pub ground: Ground,
    /// Its state.
    pub condition: Condition,
}

impl Ground {
    /// Checks every field.
    ///
    /// # Errors
    /// The first field out of its bounds.
    pub fn check(&self) -> Result<(), Fault> {
        within("ground.slope_degrees", self.slope.value(), 0.0, 60.0)?;
        if let Some(gate) = self.narrowest_gate {
            within("ground.narrowest_gate_metres", gate.value(), 0.3, 30.0)?;
        }
        Ok(())
    }
}

impl Condition {
    /// Checks every field.
    ///
    /// # Errors
    /// The first field out of its bounds.
    pub fn check(&self) -> Result<(), Fault> {
        within(
            "condition.turf_height_metres",
            self.turf_height.value(),
            0.0,
            4.0,
        )?;
        within(
            "condition.set_height_metres",
            self.set_height.value(),
            0.005,
            0.3,
        )?;
        within("condition.stem_metres", self.stem.value(), 0.0, 0.2)?;
        within(
            "condition.edge_overgrowth_metres",
            self.edge_overgrowth.value(),
            0.0,
            1.0,
        )?;
        Ok(())
    }
}

impl Area {
    /// Checks the size, the ground and the condition and returns every fault found.
    pub fn faults(&self) -> impl Iterator<Item = Fault> {
        let size = match self.kind {
            AreaKind::Turf(area) => check_area("area.turf_square_metres", area),
            AreaKind::Brush(area) => check_area("area.brush_square_metres", area),
            AreaKind::Bed(area) => check_area("area.bed_square_metres", area),
            AreaKind::HardSurface(area) => check_area("area.hard_surface_square_metres", area),
            AreaKind::HardEdge(length) => check_length("area.hard_edge_metres", length),
            AreaKind::Border(length) => check_length("area.border_metres", length),
        };
        [size, self.ground.check(), self.condition.check()]
            .into_iter()
            .filter_map(Result::err)
    }
}

/// An area of at least a square decimetre and within [`LARGEST_AREA`].
pub(crate) fn check_area(field: &'static str, area: SquareMetres) -> Result<(), Fault> {
    within(field, area.value(), SMALLEST, LARGEST_AREA.value()).map(drop)
}

/// A length of at least a centimetre and within [`LONGEST_LENGTH`].
pub(crate) fn check_length(field: &'static str, length: Metres) -> Result<(), Fault> {
    within(field, length.value(), SMALLEST, LONGEST_LENGTH.value()).map(drop)
}
