//! Placeholder.
pub mod routing;
