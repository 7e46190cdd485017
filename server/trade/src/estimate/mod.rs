//! How long one task takes: a median and a spread.
//!
//! ```text
//! median = ((start x factors / effective crew + fixed parts) x learned factor + meeting) x crew's pace
//! ```
//!
//! The **start** is geometry: area over width times speed for a mower, length or area over a rate
//! for the rest. The **factors** are the ground, the growth and the weather. The **fixed parts**
//! (fetching and starting a tool, emptying bags, the walk itself) no second pair of hands shortens.
//! A **meeting** is as long as it was promised: what was learned of the work and the site says
//! nothing of it. Only the crew's own pace goes over all, as plans have one pace for a crew's day.
//! Each kind of work has its own module with its formula.
//!
//! The spread is log-normal: `sigma` is the standard deviation of the logarithm of the minutes, so
//! the median is the middle of it and the tail is long to the right, as it is in the field.

mod cleanup;
mod clearing;
mod edging;
mod job;
mod mowing;
mod walking;
mod working;

pub use clearing::cutting_passes;
pub use edging::{FLAT_SHOVEL_FROM, gap_after_line_edging};
pub use job::{Job, Tooled, wait};
pub use mowing::{TALLEST_MOWABLE, clippings, field_capacity};
pub use working::{Effect, Line, Working};

use crate::equipment::{Equipment, ToolKind};
use crate::fault::{Fault, within};
use crate::learn::{Learned, Level};
use crate::rates::{Rate, Rates};
use crate::site::{Condition, Density, Ground, check_area, check_length};
use crate::source::Source;
use crate::spread::Spread;
use crate::task::{Measure, Method, TaskKind};
use crate::units::{Metres, Minutes, SquareMetres};
use working::{Account, Ledger, Silent};

/// The most people one estimate allows on a crew.
pub const LARGEST_CREW: u8 = 12;
/// The most cutting passes one estimate allows.
pub const MOST_PASSES: u8 = 12;

/// The longest a task may come to: about nineteen years, so anything longer is a slip.
pub const LONGEST_TASK: Minutes = Minutes::new(1.0e7);

/// One task as it is estimated.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Work {
    /// The kind of work.
    pub kind: TaskKind,
    /// How it is done.
    pub method: Method,
    /// How much of it.
    pub measure: Measure,
    /// The ground it is done on.
    pub ground: Ground,
    /// The state the growth is in.
    pub condition: Condition,
    /// Times over the same ground, 1 to [`MOST_PASSES`]. Cutting takes at least as many as the
    /// stems need, whatever is asked for here. A second mowing is a task of its own, not a pass.
    pub passes: u8,
    /// Minutes set aside for a meeting that was promised; 0 to 480.
    pub meeting: Minutes,
}

/// The people who do it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Crew {
    /// How many, 1 to [`LARGEST_CREW`].
    pub size: u8,
}

impl Crew {
    /// One person.
    pub const ALONE: Self = Self { size: 1 };

    /// How many times the work of one person the crew does: `1 + r + r^2 + ...`, `r` being
    /// [`Rates::crew_return`], one term a head. Common practice, no source, for the form and `r`.
    pub fn effective(self, rates: &Rates) -> f64 {
        let mut share = 1.0;
        let mut total = 0.0;
        for _ in 0..self.size {
            total += share;
            share *= rates.crew_return.value;
        }
        total
    }

    fn check(self) -> Result<(), Fault> {
        within(
            "crew.size",
            f64::from(self.size),
            1.0,
            f64::from(LARGEST_CREW),
        )
        .map(drop)
    }
}

/// How long a task takes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Estimate {
    /// Half of such tasks take less: minutes from start to end, for the whole crew.
    pub median: Minutes,
    /// The spread about the median.
    pub spread: Spread,
    /// The part of the median that more people cannot shorten.
    pub fixed: Minutes,
    /// The part more people can shorten, as one person would work it.
    pub alone: Minutes,
    /// Minutes the tool runs, whoever holds it; zero for an unpowered one.
    pub running: Minutes,
    /// People minutes: the median times the crew.
    pub labour: Minutes,
}

impl Estimate {
    /// How long so many tools for the task are bound by it, each in one pair of hands.
    #[must_use]
    pub fn bound(&self, tools: u8) -> Minutes {
        self.fixed + self.alone / f64::from(tools.max(1))
    }
}

/// Estimates one task. Allocates nothing.
///
/// # Errors
/// A [`Fault`] naming the field, the method or the limit that rules the task out.
pub fn estimate(
    work: &Work,
    tool: &Equipment,
    crew: Crew,
    rates: &Rates,
    learned: &Learned,
) -> Result<Estimate, Fault> {
    work_out(work, tool, crew, rates, learned, &mut Silent)
}

/// Estimates one task and writes the working down. Same code as [`estimate`], same answer.
///
/// # Errors
/// As [`estimate`].
pub fn explain(
    work: &Work,
    tool: &Equipment,
    crew: Crew,
    rates: &Rates,
    learned: &Learned,
) -> Result<(Estimate, Working), Fault> {
    let mut working = Working::default();
    let estimate = work_out(work, tool, crew, rates, learned, &mut working)?;
    Ok((estimate, working))
}

/// The tool that does a task soonest, by its place in `tools`, with its estimate.
///
/// This is how the narrowest gate limits the width: the widest deck that passes wins, and one that
/// does not pass is no choice. The first of equals is taken.
///
/// # Errors
/// [`Fault::Empty`] without tools; otherwise the fault of the first tool if none can do it.
pub fn quickest(
    work: &Work,
    tools: &[Equipment],
    crew: Crew,
    rates: &Rates,
    learned: &Learned,
) -> Result<(usize, Estimate), Fault> {
    let mut best: Result<(usize, Estimate), Fault> = Err(Fault::Empty { field: "tools" });
    for (place, tool) in tools.iter().enumerate() {
        let found = estimate(work, tool, crew, rates, learned);
        best = match (best, found) {
            (Ok(best), Ok(found)) if found.median < best.1.median => Ok((place, found)),
            (Ok(best), _) => Ok(best),
            (Err(_), Ok(found)) => Ok((place, found)),
            (Err(Fault::Empty { .. }), Err(fault)) => Err(fault),
            (Err(first), Err(_)) => Err(first),
        };
    }
    best
}

/// The parts a kind of work gives: what can be shared, still open, and what cannot.
struct Fixed {
    what: &'static str,
    setup: Rate,
    extra: f64,
    extra_what: &'static str,
    extra_source: Source,
}

impl Fixed {
    /// Fetching the tool, and nothing else.
    const fn setup(setup: Rate) -> Self {
        Self {
            what: "fetch, start and put back",
            setup,
            extra: 0.0,
            extra_what: "",
            extra_source: Source::Computed,
        }
    }
}

fn work_out<L: Ledger>(
    work: &Work,
    tool: &Equipment,
    crew: Crew,
    rates: &Rates,
    learned: &Learned,
    ledger: &mut L,
) -> Result<Estimate, Fault> {
    check(work, tool, crew)?;
    let (mut account, fixed) = match work.kind {
        TaskKind::WalkBefore | TaskKind::WalkAfter => walking::account(work, rates, ledger)?,
        TaskKind::Edge => edging::account(work, rates, ledger)?,
        TaskKind::KnockDown | TaskKind::CutBrush => clearing::account(work, rates, ledger)?,
        TaskKind::Trim => clearing::trimming(work, rates, ledger)?,
        TaskKind::Mow | TaskKind::SecondPass => mowing::account(work, tool, rates, ledger)?,
        TaskKind::Collect => cleanup::collecting(work, rates, ledger)?,
        TaskKind::BlowOff => cleanup::blowing(work, rates, ledger)?,
    };
    let alone = account.minutes();
    let on_foot = matches!(work.kind, TaskKind::WalkBefore | TaskKind::WalkAfter);
    if !on_foot {
        account.times(
            "crew",
            1.0 / crew.effective(rates),
            rates.crew_return.source,
        );
    }
    let shared = if on_foot { 0.0 } else { account.minutes() };
    account.plus(fixed.what, fixed.setup.value, fixed.setup.source);
    account.plus(fixed.extra_what, fixed.extra, fixed.extra_source);
    let of_work = learned.parts().filter(|part| part.level != Level::Crew);
    for part in of_work {
        account.times(part.level.words(), part.factor, Source::Learned);
    }
    account.times(
        "learned factor held within bounds",
        learned.held_back(),
        Source::Learned,
    );
    account.plus("meeting", work.meeting.value(), Source::Given);
    account.times(Level::Crew.words(), learned.pace(), Source::Learned);
    // Whatever was set or learned, nothing but a time leaves here.
    let median = within(
        "estimate.median_minutes",
        account.minutes(),
        f64::MIN_POSITIVE,
        LONGEST_TASK.value(),
    )?;

    let spread_rate = spread_of(work.kind, rates);
    let sigma = learned.sigma().unwrap_or_else(|| {
        let first = if work.condition.first_service {
            rates.spread_first.value
        } else {
            0.0
        };
        spread_rate.value.hypot(first)
    });
    let spread_source = match learned.sigma() {
        Some(_) => Source::Learned,
        None => spread_rate.source,
    };
    account.note("spread (sigma of the logarithm)", sigma, "", spread_source);
    Ok(Estimate {
        median: Minutes::new(median),
        spread: Spread::new(sigma),
        fixed: Minutes::new((median - shared * learned.factor()).max(0.0)),
        alone: if on_foot {
            Minutes::ZERO
        } else {
            Minutes::new(alone * learned.factor())
        },
        running: if tool.kind.is_powered() && !on_foot {
            Minutes::new(alone * learned.factor())
        } else {
            Minutes::ZERO
        },
        labour: Minutes::new(median * f64::from(crew.size)),
    })
}

fn check(work: &Work, tool: &Equipment, crew: Crew) -> Result<(), Fault> {
    crew.check()?;
    within(
        "work.passes",
        f64::from(work.passes),
        1.0,
        f64::from(MOST_PASSES),
    )?;
    within("work.meeting_minutes", work.meeting.value(), 0.0, 480.0)?;
    work.ground.check()?;
    work.condition.check()?;
    match work.measure {
        Measure::Area(area) => check_area("work.area_square_metres", area)?,
        Measure::Length(length) => check_length("work.length_metres", length)?,
    }
    if !work.method.can_do(work.kind) {
        return Err(Fault::WrongMethod {
            kind: work.kind,
            method: work.method,
        });
    }
    tool.check()?;
    if !tool.serves(work.method) {
        return Err(Fault::WrongTool {
            method: work.method,
            tool: tool.kind.words(),
        });
    }
    if matches!(work.method, Method::OnFoot) {
        Ok(())
    } else {
        tool.fits(&work.ground)
    }
}

impl Work {
    fn area(&self) -> Result<SquareMetres, Fault> {
        match self.measure {
            Measure::Area(area) => Ok(area),
            Measure::Length(_) => Err(Fault::WrongMeasure {
                kind: self.kind,
                given: self.measure.words(),
            }),
        }
    }

    fn length(&self) -> Result<Metres, Fault> {
        match self.measure {
            Measure::Length(length) => Ok(length),
            Measure::Area(_) => Err(Fault::WrongMeasure {
                kind: self.kind,
                given: self.measure.words(),
            }),
        }
    }
}

/// Steeper than five degrees slows everyone: `1 + slope_per_degree x (slope - 5)`.
fn slope_factor(ground: &Ground, rates: &Rates) -> f64 {
    1.0 + rates.slope_per_degree.value * (ground.slope.value() - 5.0).max(0.0)
}

fn density_factor(density: Density, rates: &Rates) -> Rate {
    match density {
        Density::Thin => rates.density_thin,
        Density::Usual => Rate {
            value: 1.0,
            source: Source::Given,
        },
        Density::Thick => rates.density_thick,
    }
}

fn wet_factor(condition: &Condition, rates: &Rates) -> f64 {
    if condition.wet { rates.wet.value } else { 1.0 }
}

fn spread_of(kind: TaskKind, rates: &Rates) -> Rate {
    match kind {
        TaskKind::WalkBefore | TaskKind::WalkAfter => rates.spread_walk,
        TaskKind::Edge => rates.spread_edge,
        TaskKind::KnockDown => rates.spread_knock_down,
        TaskKind::CutBrush => rates.spread_brush,
        TaskKind::Trim => rates.spread_trim,
        TaskKind::Mow | TaskKind::SecondPass => rates.spread_mow,
        TaskKind::Collect => rates.spread_collect,
        TaskKind::BlowOff => rates.spread_blow,
    }
}

fn setup_of(kind: ToolKind, rates: &Rates) -> Rate {
    match kind {
        ToolKind::None => Rate {
            value: 0.0,
            source: Source::Computed,
        },
        ToolKind::WalkMower => rates.setup_walk_mower_minutes,
        ToolKind::RideMower => rates.setup_ride_mower_minutes,
        ToolKind::Edger | ToolKind::LineHead | ToolKind::BladeHead | ToolKind::Blower => {
            rates.setup_hand_minutes
        }
        ToolKind::FlatShovel | ToolKind::Rake => rates.setup_unpowered_minutes,
    }
}
