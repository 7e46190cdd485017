//! Where the database is and how it is opened.

use std::path::PathBuf;
use std::thread;
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

/// Connections to PostgreSQL where nobody says: they wait for its answers at the same time.
const POSTGRES_CONNECTIONS: u32 = 8;
/// Connections for reading an SQLite file where nobody says, beyond one for each core.
const SQLITE_CONNECTIONS_SPARE: u32 = 2;

impl DatabaseOptions {
    /// How many connections there are to be where nobody says. SQLite reads in threads of this process: more of them than
    /// there are cores only wait for each other, but for a few that stay while a long answer is read.
    pub fn connections_usual(url: &str) -> u32 {
        match Location::parse(url) {
            Ok(Location::Sqlite(_)) => {
                let cores = thread::available_parallelism().map_or(1, usize::from);
                u32::try_from(cores)
                    .unwrap_or(u32::MAX)
                    .saturating_add(SQLITE_CONNECTIONS_SPARE)
            }
            Ok(Location::Postgres(_)) | Err(_) => POSTGRES_CONNECTIONS,
        }
    }
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
