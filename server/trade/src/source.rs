//! Where a number comes from, carried with the number.
//!
//! An estimate that a customer may dispute is only as good as the weakest of its inputs. Each
//! line of a working therefore names its source, and the kinds of source are few and honest.

use core::fmt;

/// Where one number of a working comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Source {
    /// A public text, named.
    Published(&'static str),
    /// A public text we recall but could not re-read; to be verified before it is cited.
    FromMemory(&'static str),
    /// What practitioners do; no source is known.
    CommonPractice,
    /// Follows from other numbers by arithmetic or geometry.
    Computed,
    /// Given with the site, the machine or the crew.
    Given,
    /// Learned from recorded work.
    Learned,
    /// A setting of the company.
    Setting,
}

impl fmt::Display for Source {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Published(text) => f.write_str(text),
            Self::FromMemory(text) => write!(f, "{text} (from memory)"),
            Self::CommonPractice => f.write_str("common practice, no source"),
            Self::Computed => f.write_str("computed"),
            Self::Given => f.write_str("as given"),
            Self::Learned => f.write_str("recorded work"),
            Self::Setting => f.write_str("company setting"),
        }
    }
}
