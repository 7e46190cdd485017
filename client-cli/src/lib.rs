//! The command line of Forenoon as a library.

pub mod demo;
