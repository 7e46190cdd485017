//! Mowing by effective field capacity.
//!
//! ```text
//! C = S x W x E                       (ASAE EP496, field capacity; clause from memory)
//! minutes = area / (W x S) / overlap x (1 + S x turn / run) x obstacles x shape x allowance
//! run = sqrt(area x length-to-breadth)
//! S = level speed / (slope x height x density x wet x laid)
//! ```
//!
//! `S` metres a second, `W` metres, `E` the share of the ideal that is reached. The published `E`
//! for rotary mowers is one number for a field (0.75 to 0.90, ASAE D497, from memory); a town lot
//! turns far more often, so here `E` comes out of overlap, turning, obstacles and shape.
//! On an open acre it falls back into the published range (see the tests).

use super::{Account, Fixed, Ledger, Work, density_factor, setup_of, slope_factor, wet_factor};
use crate::equipment::{Equipment, ToolKind};
use crate::fault::Fault;
use crate::rates::{Rate, Rates};
use crate::site::{Condition, Obstacles, Shape};
use crate::source::Source;
use crate::task::{Method, TaskKind};
use crate::units::{Litres, Metres, MetresPerSecond, SquareMetres, SquareMetresPerSecond};

/// The tallest turf a mower may enter (10 in); above it the growth is knocked down first, to find
/// what it hides. Common practice, no source.
pub const TALLEST_MOWABLE: Metres = Metres::from_inches(10.0);

/// Effective field capacity `C = S x W x E`.
///
/// `efficiency` is a share from 0 to 1. Source: Iowa State University Extension, Ag Decision Maker
/// A3-24 (`S x W x E / 8.25` acres an hour with miles an hour and feet); ASAE EP496 (from memory).
pub fn field_capacity(
    speed: MetresPerSecond,
    width: Metres,
    efficiency: f64,
) -> SquareMetresPerSecond {
    SquareMetresPerSecond::new(speed.value() * width.value() * efficiency)
}

/// Packed volume of the clippings from cutting an area once.
pub fn clippings(area: SquareMetres, condition: &Condition, rates: &Rates) -> Litres {
    let removed = (condition.turf_height - condition.set_height).max(Metres::ZERO);
    let density = density_factor(condition.density, rates).value;
    Litres::from_cubic_metres(area.value() * removed.value())
        * rates.clippings_packing.value
        * density
        * wet_factor(condition, rates)
}

pub(super) fn account<'a, L: Ledger>(
    work: &Work,
    tool: &Equipment,
    rates: &Rates,
    ledger: &'a mut L,
) -> Result<(Account<'a, L>, Fixed), Fault> {
    let area = work.area()?;
    let condition = &work.condition;
    if condition.turf_height > TALLEST_MOWABLE {
        return Err(Fault::TooTallToMow {
            height_metres: condition.turf_height.value(),
            limit_metres: TALLEST_MOWABLE.value(),
        });
    }
    // The second pass finds turf that the first has cut.
    let second = work.kind == TaskKind::SecondPass;
    let height = if second {
        1.0
    } else {
        height_factor(condition, rates)
    };
    let laid = if condition.laid && !second {
        rates.mow_laid.value
    } else {
        1.0
    };
    let density = density_factor(condition.density, rates);
    let slope = slope_factor(&work.ground, rates);
    let wet = wet_factor(condition, rates);

    ledger.note("area", area.value(), "m2", Source::Given);
    ledger.note(
        "working width",
        tool.working_width.value(),
        "m",
        Source::Given,
    );
    ledger.note(
        "speed on level kept turf",
        tool.speed.value(),
        "m/s",
        Source::Given,
    );
    let ideal = area.value() / (tool.working_width.value() * tool.speed.value()) / 60.0;
    let mut account = Account::start(ledger, "area over width times speed", ideal);
    account.times("slope", slope, rates.slope_per_degree.source);
    account.times("turf height", height, rates.mow_height_slope.source);
    account.times("density", density.value, density.source);
    account.times("wet turf", wet, rates.wet.source);
    account.times("stems lying", laid, rates.mow_laid.source);

    let speed = tool.speed.value() / (slope * height * density.value * wet * laid);
    let turn = if tool.kind == ToolKind::RideMower {
        rates.mow_turn_ride_seconds
    } else {
        rates.mow_turn_walk_seconds
    };
    let (breadths, shape) = shape_of(work.ground.shape, rates);
    let run = (area.value() * breadths).sqrt();
    account.times(
        "turning at the ends",
        1.0 + speed * turn.value / run,
        turn.source,
    );
    account.times(
        "overlap",
        1.0 / rates.mow_overlap.value,
        rates.mow_overlap.source,
    );
    let obstacles = obstacles_of(work.ground.obstacles, rates);
    account.times("obstacles", obstacles.value, obstacles.source);
    account.times("shape", shape.value, shape.source);
    account.times("passes", f64::from(work.passes), Source::Given);
    account.times(
        "rest and small delays",
        rates.allowance.value,
        rates.allowance.source,
    );

    // The machine is already out when it turns to the second pass.
    let mut fixed = Fixed::setup(if second {
        setup_of(ToolKind::None, rates)
    } else {
        setup_of(tool.kind, rates)
    });
    if let (Method::CollectingMower, Some(bag), false) = (work.method, tool.bag, second) {
        let bags = (clippings(area, condition, rates) / bag).ceil();
        fixed.extra = bags * rates.bag_minutes.value;
        fixed.extra_what = "emptying bags";
        fixed.extra_source = rates.bag_minutes.source;
        account.note("bags", bags, "", Source::Computed);
    }
    Ok((account, fixed))
}

/// Nothing up to the trigger of the one-third rule (1.5 times the set height), then in proportion
/// to what is over it, with a ceiling.
fn height_factor(condition: &Condition, rates: &Rates) -> f64 {
    let over = condition.turf_height / condition.set_height - 1.5;
    (1.0 + rates.mow_height_slope.value * over.max(0.0)).min(rates.mow_height_most.value)
}

fn obstacles_of(obstacles: Obstacles, rates: &Rates) -> Rate {
    match obstacles {
        Obstacles::None => Rate {
            value: 1.0,
            source: Source::Given,
        },
        Obstacles::Few => rates.mow_obstacles_few,
        Obstacles::Some => rates.mow_obstacles_some,
        Obstacles::Many => rates.mow_obstacles_many,
    }
}

/// How many times longer than broad the plan is taken to be, and what its outline costs.
fn shape_of(shape: Shape, rates: &Rates) -> (f64, Rate) {
    let straight = Rate {
        value: 1.0,
        source: Source::Given,
    };
    match shape {
        Shape::Open => (2.0, straight),
        Shape::Regular => (1.5, straight),
        Shape::Irregular => (1.0, rates.mow_irregular),
        Shape::Strip => (8.0, straight),
    }
}
