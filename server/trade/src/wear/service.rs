//! Effective hours and when a service is due.

use crate::compose::rules::BLADE_HEAD_FROM;
use crate::estimate::Work;
use crate::fault::{Fault, within};
use crate::learn::{Class, Growth};
use crate::task::TaskKind;
use crate::units::{Hours, Minutes};

/// How much harder than kept turf each state wears a machine.
///
/// Common practice, no source: clearing an overgrown site wears three to four times the usual;
/// the single values are set so that a whole first cut comes out there.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Severity {
    /// Turf past 1.5 times its set height.
    pub tall: f64,
    /// Knocking down and brush.
    pub clearing: f64,
    /// Mowing what was knocked down.
    pub laid: f64,
    /// Mowing it the second time.
    pub laid_again: f64,
    /// The first edging of a hard edge.
    pub first_edge: f64,
    /// Stems near half an inch or more, on top.
    pub stems: f64,
    /// Wet, on top.
    pub wet: f64,
}

impl Default for Severity {
    fn default() -> Self {
        Self {
            tall: 1.5,
            clearing: 4.0,
            laid: 3.5,
            laid_again: 2.5,
            first_edge: 2.5,
            stems: 1.25,
            wet: 1.2,
        }
    }
}

impl Severity {
    /// The severity of one task; 1 on a kept, dry site.
    pub fn of(&self, work: &Work) -> f64 {
        let condition = &work.condition;
        let growth = Class::of(condition).growth;
        let base = match work.kind {
            TaskKind::KnockDown | TaskKind::CutBrush => self.clearing,
            TaskKind::Mow => match growth {
                Growth::Kept => 1.0,
                Growth::Tall => self.tall,
                Growth::Overgrown => self.laid,
            },
            TaskKind::SecondPass => match growth {
                Growth::Kept | Growth::Tall => 1.0,
                Growth::Overgrown => self.laid_again,
            },
            TaskKind::Trim => match growth {
                Growth::Kept => 1.0,
                Growth::Tall | Growth::Overgrown => self.tall,
            },
            TaskKind::Edge if condition.first_service => self.first_edge,
            TaskKind::Edge
            | TaskKind::Collect
            | TaskKind::BlowOff
            | TaskKind::WalkBefore
            | TaskKind::WalkAfter => 1.0,
        };
        let cuts = matches!(
            work.kind,
            TaskKind::KnockDown | TaskKind::CutBrush | TaskKind::Trim
        );
        let stems = if cuts && condition.stem >= BLADE_HEAD_FROM {
            self.stems
        } else {
            1.0
        };
        let wet = if condition.wet { self.wet } else { 1.0 };
        base * stems * wet
    }

    /// Effective time: running time of one task times its severity.
    #[must_use]
    pub fn effective(&self, work: &Work, running: Minutes) -> Minutes {
        running * self.of(work)
    }
}

/// A service that comes round by effective hours.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Interval {
    /// Effective hours from one service to the next, 1 to 100 000. The manual says; the default of
    /// a company stands in where it is silent.
    pub every: Hours,
}

impl Interval {
    /// Effective hours left until the service is due; negative when it is overdue.
    ///
    /// # Errors
    /// An interval out of bounds, or a reading that is not a number of hours.
    pub fn left(&self, since_last: Hours) -> Result<Hours, Fault> {
        let every = within(
            "service.every_effective_hours",
            self.every.value(),
            1.0,
            1e5,
        )?;
        let since = within(
            "service.since_last_effective_hours",
            since_last.value(),
            0.0,
            1e6,
        )?;
        Ok(Hours::new(every - since))
    }

    /// Whether the service falls due before planned work is done.
    ///
    /// # Errors
    /// As [`Interval::left`], or planned hours that are not a number of hours.
    pub fn due_within(&self, since_last: Hours, planned: Hours) -> Result<bool, Fault> {
        within("service.planned_effective_hours", planned.value(), 0.0, 1e6)?;
        Ok(self.left(since_last)? < planned)
    }
}
