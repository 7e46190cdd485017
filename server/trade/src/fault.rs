//! What is wrong with an input: the field, the value and the bounds, never a panic.
//!
//! A [`Fault`] holds no heap memory, so checking costs nothing in the hot path. The caller knows
//! which site or unit it was reading and adds that to the path.

use crate::task::{Method, TaskKind};

/// One fault in what was given.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum Fault {
    /// A number is not finite or lies outside its bounds.
    #[error("{field} is {value}; it must lie between {low} and {high}")]
    OutOfRange {
        /// The field, with its unit in the name.
        field: &'static str,
        /// What was given.
        value: f64,
        /// The least allowed value.
        low: f64,
        /// The greatest allowed value.
        high: f64,
    },
    /// The method cannot do this kind of task at all.
    #[error("{method} is not a method for the task {kind}")]
    WrongMethod {
        /// The task.
        kind: TaskKind,
        /// The method given.
        method: Method,
    },
    /// The task is measured in another way: a length was given for an area or the reverse.
    #[error("the task {kind} is not measured by {given}")]
    WrongMeasure {
        /// The task.
        kind: TaskKind,
        /// What was given, in words.
        given: &'static str,
    },
    /// The tool given cannot serve the method.
    #[error("the method {method} cannot be served by {tool}")]
    WrongTool {
        /// The method.
        method: Method,
        /// The tool's kind in words.
        tool: &'static str,
    },
    /// The machine is wider than the narrowest gate on the way.
    #[error("the machine is {machine_width_metres} m wide; the gate passes {gate_width_metres} m")]
    GateTooNarrow {
        /// Overall width of the machine.
        machine_width_metres: f64,
        /// Clear width of the gate.
        gate_width_metres: f64,
    },
    /// The ground is steeper than the machine may work on.
    #[error("the ground slopes {slope_degrees} degrees; the machine is allowed {limit_degrees}")]
    TooSteep {
        /// Slope of the ground.
        slope_degrees: f64,
        /// The machine's limit.
        limit_degrees: f64,
    },
    /// The turf is too tall for a mower: it must be knocked down first.
    #[error(
        "turf {height_metres} m tall must be knocked down to {limit_metres} m before a mower goes in"
    )]
    TooTallToMow {
        /// Height of the turf.
        height_metres: f64,
        /// The tallest turf a mower may enter.
        limit_metres: f64,
    },
    /// The stems are too thick for the method.
    #[error(
        "stems of {stem_metres} m are beyond the method {method}, which takes {limit_metres} m"
    )]
    StemTooThick {
        /// The method.
        method: Method,
        /// Stem thickness.
        stem_metres: f64,
        /// The thickest stem the method takes.
        limit_metres: f64,
    },
    /// There is nothing of that name, or nothing at all.
    #[error("{field} is empty or unknown")]
    Empty {
        /// The field.
        field: &'static str,
    },
    /// Two amounts are in different currencies.
    #[error("amounts in {left} and {right} cannot be added")]
    CurrencyMismatch {
        /// Currency of the first amount.
        left: crate::price::Currency,
        /// Currency of the second amount.
        right: crate::price::Currency,
    },
    /// An amount of money is too large to hold.
    #[error("{field} is too large an amount of money")]
    MoneyOverflow {
        /// The field.
        field: &'static str,
    },
}

/// Passes a finite number within `low..=high`, or names the field at fault.
pub(crate) fn within(field: &'static str, value: f64, low: f64, high: f64) -> Result<f64, Fault> {
    if value >= low && value <= high {
        Ok(value)
    } else {
        Err(Fault::OutOfRange {
            field,
            value,
            low,
            high,
        })
    }
}
