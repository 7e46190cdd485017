//! The arithmetic and the rules of the grounds-care trade.

pub mod tagout;
