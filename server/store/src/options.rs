//! Where the database is and how it is opened.

use std::path::PathBuf;
use std::time::Duration;

/// Where the database is and how it is opened.
#[derive(Clone, Debug)]
pub struct DatabaseOptions {
    /// `sqlite://PATH` or `postgres://USER@HOST/NAME`.
    pub url: String,
    /// Connections for reading; on PostgreSQL for everything.
    pub connections_max: u32,
    /// Longest wait for a connection, and for another writer of an SQLite file.
    pub wait_max: Duration,
}

/// A database by its kind.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) enum Location {
    /// A file.
    Sqlite(PathBuf),
    /// A server, by its whole URL.
    Postgres(String),
}

impl Location {
    /// Reads a URL; the error says what is wrong with it, without repeating a password.
    pub(crate) fn parse(url: &str) -> Result<Self, &'static str> {
        if url.starts_with("postgres://") || url.starts_with("postgresql://") {
            return Ok(Self::Postgres(url.to_owned()));
        }
        let Some(rest) = url.strip_prefix("sqlite:") else {
            return Err("it must begin with sqlite:// or postgres://");
        };
        let path = rest.strip_prefix("//").unwrap_or(rest);
        if path.is_empty() || path.starts_with(":memory:") {
            return Err("an SQLite database needs a file, as sqlite://forenoon.db");
        }
        if path.contains('?') {
            return Err("an SQLite URL takes no options after a question mark");
        }
        Ok(Self::Sqlite(PathBuf::from(path)))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn reads_both_kinds_and_refuses_others() {
        assert_eq!(
            Location::parse("sqlite://a/b.db"),
            Ok(Location::Sqlite("a/b.db".into()))
        );
        assert_eq!(
            Location::parse("sqlite:///a/b.db"),
            Ok(Location::Sqlite("/a/b.db".into()))
        );
        let postgres = "postgres://north@localhost/forenoon";
        assert_eq!(
            Location::parse(postgres),
            Ok(Location::Postgres(postgres.to_owned()))
        );
        for bad in [
            "",
            "a.db",
            "mysql://a",
            "sqlite://",
            "sqlite::memory:",
            "sqlite://a?mode=ro",
        ] {
            assert!(Location::parse(bad).is_err(), "{bad}");
        }
    }
}
