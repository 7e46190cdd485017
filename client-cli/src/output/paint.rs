//! Colour by meaning. Codes are taken out again where the output is no terminal.

use owo_colors::OwoColorize;

/// What hurts or is broken.
pub fn alarm(text: &str) -> String {
    text.red().bold().to_string()
}

/// What wants attention.
pub fn heed(text: &str) -> String {
    text.yellow().to_string()
}

/// What is well.
pub fn well(text: &str) -> String {
    text.green().to_string()
}

/// Headings.
pub fn strong(text: &str) -> String {
    text.bold().to_string()
}

/// What may be skipped.
pub fn faint(text: &str) -> String {
    text.dimmed().to_string()
}
