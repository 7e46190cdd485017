//! The working of an estimate, line by line, by the very code that estimates.
//!
//! [`estimate`](super::estimate) runs with a ledger that ignores what it is told, [`explain`](super::explain)
//! with one that writes it down. There is one computation, so the working cannot drift from the
//! answer, and [`Working::replayed`] proves it: the lines alone give the median again.

use crate::source::Source;
use crate::units::Minutes;
use core::fmt;

/// What a line does to the running minutes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Effect {
    /// Tells of an input; changes nothing.
    Note,
    /// Starts the account with minutes.
    Start,
    /// Multiplies the minutes so far.
    Times,
    /// Adds minutes.
    Plus,
}

/// One line of a working.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Line {
    /// What it is, in words.
    pub what: &'static str,
    /// Its value.
    pub value: f64,
    /// The unit of the value; empty for a factor.
    pub unit: &'static str,
    /// What it does to the minutes.
    pub effect: Effect,
    /// Where the value comes from.
    pub source: Source,
}

impl fmt::Display for Line {
    /// `what  value unit  (source)`, with `x` before a factor and `+` before an addition.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let sign = match self.effect {
            Effect::Note => "",
            Effect::Start => "= ",
            Effect::Times => "x ",
            Effect::Plus => "+ ",
        };
        write!(f, "{}: {sign}{:.3}", self.what, self.value)?;
        if !self.unit.is_empty() {
            write!(f, " {}", self.unit)?;
        }
        write!(f, " ({})", self.source)
    }
}

/// Somewhere to write lines.
pub(crate) trait Ledger {
    fn write(&mut self, line: Line);

    fn note(&mut self, what: &'static str, value: f64, unit: &'static str, source: Source) {
        self.write(Line {
            what,
            value,
            unit,
            effect: Effect::Note,
            source,
        });
    }
}

/// Ignores every line.
pub(crate) struct Silent;

impl Ledger for Silent {
    #[inline]
    fn write(&mut self, _: Line) {}
}

/// The lines of one estimate in order.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Working {
    lines: Vec<Line>,
}

impl Ledger for Working {
    fn write(&mut self, line: Line) {
        self.lines.push(line);
    }
}

impl Working {
    /// The lines in the order they were worked.
    pub fn lines(&self) -> &[Line] {
        &self.lines
    }

    /// The median the lines give when they are worked again.
    pub fn replayed(&self) -> Minutes {
        let minutes = self
            .lines
            .iter()
            .fold(0.0, |minutes, line| match line.effect {
                Effect::Note => minutes,
                Effect::Start => line.value,
                Effect::Times => minutes * line.value,
                Effect::Plus => minutes + line.value,
            });
        Minutes::new(minutes)
    }
}

/// Running minutes that tell the ledger of each step.
pub(crate) struct Account<'a, L: Ledger> {
    minutes: f64,
    ledger: &'a mut L,
}

impl<'a, L: Ledger> Account<'a, L> {
    #[inline]
    pub(crate) fn start(ledger: &'a mut L, what: &'static str, minutes: f64) -> Self {
        ledger.write(Line {
            what,
            value: minutes,
            unit: "min",
            effect: Effect::Start,
            source: Source::Computed,
        });
        Self { minutes, ledger }
    }

    /// Multiplies, and writes a line unless the factor changes nothing.
    #[inline]
    pub(crate) fn times(&mut self, what: &'static str, factor: f64, source: Source) {
        self.minutes *= factor;
        if factor.to_bits() != 1.0_f64.to_bits() {
            self.ledger.write(Line {
                what,
                value: factor,
                unit: "",
                effect: Effect::Times,
                source,
            });
        }
    }

    /// Adds, and writes a line unless nothing is added.
    #[inline]
    pub(crate) fn plus(&mut self, what: &'static str, minutes: f64, source: Source) {
        self.minutes += minutes;
        if minutes > 0.0 {
            self.ledger.write(Line {
                what,
                value: minutes,
                unit: "min",
                effect: Effect::Plus,
                source,
            });
        }
    }

    #[inline]
    pub(crate) const fn minutes(&self) -> f64 {
        self.minutes
    }

    #[inline]
    pub(crate) fn note(
        &mut self,
        what: &'static str,
        value: f64,
        unit: &'static str,
        source: Source,
    ) {
        self.ledger.note(what, value, unit, source);
    }
}
