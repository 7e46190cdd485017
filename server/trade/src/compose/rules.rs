//! The rules a job is made by, each with its name, its words and its test.
//!
//! All of them are common practice without a source, except where a rule names one.

use crate::estimate::{FLAT_SHOVEL_FROM, TALLEST_MOWABLE, Work, cutting_passes};
use crate::rates::Rates;
use crate::site::{Area, AreaKind, Condition, Obstacles};
use crate::task::{Method, TaskKind};
use crate::units::{Metres, SquareMetres};
use core::fmt;

/// Stems from this thickness on (0.4 in, so half an inch with a margin) call for a blade head.
pub const BLADE_HEAD_FROM: Metres = Metres::from_inches(0.4);
/// Height that knocked-down growth is left at (5 in), for the mower to find.
pub const KNOCKED_DOWN_TO: Metres = Metres::from_inches(5.0);
/// Turf taller than this many times its set height is mown twice, on whichever visit.
pub const TWICE_FROM_RATIO: f64 = 2.0;
/// Turf is due, and the one-third rule is at stake, above this many times its set height: taking
/// more than a third of `1.5 x set` cuts below `set`. Source: Ohio State University, the one-third
/// rule; the mowing heights of the University of Tennessee follow it on every row.
pub const ONE_THIRD_TRIGGER: f64 = 1.5;

/// Why a task is in a job, or stands where it stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Rule {
    /// The site is walked before any work.
    WalkFirst,
    /// A hard edge is edged with an edger, from the first service on.
    EdgerOnHardEdges,
    /// Growth lying six inches or more over an edge is lifted with a flat shovel before the edger.
    ShovelDeepOvergrowth,
    /// Tall growth is knocked down before a mower goes in, to find what it hides.
    KnockDownBeforeMower,
    /// Stems near half an inch call for a blade head.
    BladeForStems,
    /// Woody growth is cut before the turf.
    BrushBeforeTurf,
    /// What the mower cannot reach is trimmed before it is mown, so the mower takes the trimmings.
    TrimBeforeMow,
    /// Turf is mown.
    MowTurf,
    /// First cuts and overgrown turf are mown again in another direction.
    SecondPassAcross,
    /// Debris that cannot be blown off is collected.
    CollectWhatCannotBeBlown,
    /// Paving is blown clean at the end.
    BlowLast,
    /// On a sensitive site cleaning comes before mowing, so the mower throws nothing.
    CleanBeforeMowing,
    /// The site is walked after the work.
    WalkLast,
}

impl Rule {
    /// The rule in words.
    pub const fn words(self) -> &'static str {
        match self {
            Self::WalkFirst => {
                "the site is walked before work, for obstacles and damage already there"
            }
            Self::EdgerOnHardEdges => "hard edges are cut with an edger from the first service on",
            Self::ShovelDeepOvergrowth => {
                "growth six inches or more over an edge is lifted with a flat shovel first"
            }
            Self::KnockDownBeforeMower => {
                "growth too tall to mow is knocked down first, to find what it hides"
            }
            Self::BladeForStems => "stems near half an inch call for a blade head",
            Self::BrushBeforeTurf => "woody growth is cut before the turf is mown",
            Self::TrimBeforeMow => "what no mower reaches is trimmed before mowing",
            Self::MowTurf => "the turf is mown",
            Self::SecondPassAcross => {
                "first cuts and overgrown turf are mown again in another direction, because wheels lay stems down"
            }
            Self::CollectWhatCannotBeBlown => "debris that cannot be blown off is collected",
            Self::BlowLast => "paving is blown clean after the cutting",
            Self::CleanBeforeMowing => "on a sensitive site cleaning comes before mowing",
            Self::WalkLast => "the site is walked after work, for the result and for damage",
        }
    }
}

impl fmt::Display for Rule {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.words())
    }
}

/// Whether a head must go over the growth before a mower may.
pub fn needs_knock_down(condition: &Condition) -> bool {
    condition.turf_height > TALLEST_MOWABLE || condition.stem >= BLADE_HEAD_FROM
}

/// The head for growth with stems of a thickness, and the rule that chose it.
pub fn head_for(stem: Metres, otherwise: Rule) -> (Method, Rule) {
    if stem >= BLADE_HEAD_FROM {
        (Method::BladeHead, Rule::BladeForStems)
    } else {
        (Method::LineHead, otherwise)
    }
}

/// Whether an edge needs a flat shovel before the edger.
pub fn needs_shovel(condition: &Condition) -> bool {
    condition.edge_overgrowth >= FLAT_SHOVEL_FROM
}

/// Whether turf is mown twice: a first cut of turf past its trigger, turf past twice its set
/// height, and whatever has just been knocked down.
pub fn needs_second_pass(condition: &Condition) -> bool {
    let ratio = condition.turf_height / condition.set_height;
    condition.laid
        || ratio > TWICE_FROM_RATIO
        || (condition.first_service && ratio > ONE_THIRD_TRIGGER)
}

/// Whether cutting to the set height at once would take more than a third of the blade.
pub fn breaks_one_third(condition: &Condition) -> bool {
    condition.turf_height.value() > ONE_THIRD_TRIGGER * condition.set_height.value() * (1.0 + 1e-9)
}

/// The same cutting by line head where the rules ask for a blade head, with the passes its line
/// needs; for when no blade head can be had. `None` for other work and for stems no line cuts.
pub fn by_line_instead(work: &Work, rates: &Rates) -> Option<Work> {
    let cuts = matches!(work.kind, TaskKind::KnockDown | TaskKind::CutBrush);
    if !cuts || work.method != Method::BladeHead {
        return None;
    }
    let passes = cutting_passes(Method::LineHead, work.condition.stem, rates).ok()?;
    Some(Work {
        method: Method::LineHead,
        passes,
        ..*work
    })
}

/// Metres of line trimming that an area calls for.
pub fn trim_length(area: &Area, rates: &Rates) -> Metres {
    let hundreds = |turf: SquareMetres, metres: f64| Metres::new(turf.value() / 100.0 * metres);
    match area.kind {
        AreaKind::Turf(turf) => match area.ground.obstacles {
            Obstacles::None => Metres::ZERO,
            Obstacles::Few => hundreds(turf, rates.trim_few_metres.value),
            Obstacles::Some => hundreds(turf, rates.trim_some_metres.value),
            Obstacles::Many => hundreds(turf, rates.trim_many_metres.value),
        },
        AreaKind::Border(length) => length,
        AreaKind::Bed(bed) => bed.side() * 4.0,
        AreaKind::HardEdge(_) | AreaKind::Brush(_) | AreaKind::HardSurface(_) => Metres::ZERO,
    }
}

/// How tall a maintained lawn is when its visit comes round, as a multiple of its set height.
const MAINTAINED_RATIO: f64 = 4.0 / 3.0;

/// The same areas once they are maintained: turf a third above its set height, edges clean, stems
/// gone, served before. Brush that has been cut is no work of a maintained visit and drops out.
pub fn maintained(areas: &[Area]) -> Vec<Area> {
    areas
        .iter()
        .filter(|area| !matches!(area.kind, AreaKind::Brush(_)))
        .map(|area| {
            let set_height = area.condition.set_height;
            let condition = Condition {
                turf_height: set_height * MAINTAINED_RATIO,
                set_height,
                ..Condition::default()
            };
            Area { condition, ..*area }
        })
        .collect()
}

/// Where a task stands in a job: lower comes first.
///
/// This is the whole order of work, so a list of tasks is in order when its stages never fall.
pub const fn stage(kind: TaskKind, method: Method, sensitive: bool) -> u8 {
    match kind {
        TaskKind::WalkBefore => 0,
        TaskKind::Edge => match method {
            Method::FlatShovel => 1,
            _ => 2,
        },
        TaskKind::KnockDown => 3,
        TaskKind::CutBrush => 4,
        TaskKind::Trim => 5,
        TaskKind::Collect if sensitive => 6,
        TaskKind::BlowOff if sensitive => 7,
        TaskKind::Mow => 8,
        TaskKind::SecondPass => 9,
        TaskKind::Collect => 10,
        TaskKind::BlowOff => 11,
        TaskKind::WalkAfter => 12,
    }
}
