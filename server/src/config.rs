//! Settings: from a file, then the environment, then flags; each goes over the one before.

mod key_task;

pub use key_task::{KeyRole, KeyTask};

use std::net::{Ipv4Addr, SocketAddr};
use std::path::{Path, PathBuf};
use std::time::Duration;

use clap::{Args, Parser, Subcommand, ValueEnum};
use forenoon_planner::THREADS_MAX;
use forenoon_store::DatabaseOptions;
use serde::Deserialize;

use crate::work::archive::DAYS_KEPT_LEAST;
use crate::work::bench::BenchRules;
use crate::work::plan::SearchLimits;

/// Port where nobody says.
const PORT_DEFAULT: u16 = 50_470;
/// Database where nobody says.
const DATABASE_DEFAULT: &str = "sqlite://data/forenoon.db";

/// The Forenoon server: schedules and dispatches grounds-maintenance crews, over gRPC.
///
/// Settings come from a TOML file, then the environment, then flags; each goes over the one before.
/// In the file a setting has its flag's name with underscores, as `listen = "0.0.0.0:50470"`.
///
/// It stops on SIGTERM or SIGINT: running calls are finished, streams are ended. Exit codes: 0 stopped
/// as asked; 2 wrong flags; 3 wrong settings; 4 the address cannot be listened on; 5 the database
/// cannot be written; 6 the database was made by a later version; 7 the database cannot be reached, or others hold it;
/// 8 the database is damaged or its schema could not be brought up to date; 9 calls had to be cut
/// off when stopping; 10 no backup was made; 11 not all was archived; 12 the file of
/// roads cannot be read; 13 no key was given out or ended; 1 anything else.
#[derive(Clone, Debug, Parser)]
#[command(name = "forenoon-server", version)]
pub struct Arguments {
    /// What to do other than to serve.
    #[command(subcommand)]
    pub task: Option<Task>,
    /// A TOML file with settings.
    #[arg(long, env = "FORENOON_CONFIG", value_name = "FILE", global = true)]
    pub config: Option<PathBuf>,
    /// Settings from environment and flags.
    #[command(flatten)]
    pub given: Given,
}

/// What the program does other than to serve; the settings say with which database.
#[derive(Clone, Debug, PartialEq, Eq, Subcommand)]
pub enum Task {
    /// Writes a whole copy of an SQLite database to a file, while a server writes to it, and checks the copy.
    ///
    /// The file must not be there yet. It comes into being whole or not at all.
    Backup {
        /// The file to write.
        file: PathBuf,
    },
    /// Moves months that are older than the days kept out of the database into files, while servers serve.
    ///
    /// Each month goes to a file of its own, in the format of an exported branch. Its days go once the file is on the
    /// disk and was read back. What is not over stays.
    Archive {
        /// The folder to write files to.
        folder: PathBuf,
        /// One branch only, by its id.
        #[arg(long, value_name = "ID")]
        branch: Option<String>,
    },
    /// Gives out, lists and ends the keys with which people and programs sign in, while servers serve.
    #[command(subcommand)]
    Key(KeyTask),
}

/// Settings as one source gives them: what it does not say is none.
#[derive(Clone, Debug, Default, Args, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Given {
    /// Address and port to listen on; port 0 takes a free one. [default: 127.0.0.1:50470]
    #[arg(long, env = "FORENOON_LISTEN", value_name = "ADDRESS:PORT")]
    pub listen: Option<SocketAddr>,
    /// What callers are asked for. [default: nothing]
    #[arg(long, env = "FORENOON_SIGN_IN", value_name = "RULE")]
    pub sign_in: Option<AskFor>,
    /// A PEM file with the certificate by which callers know the server, and those that vouch for it. With it calls come
    /// encrypted, by https. It is read at the start. [default: none]
    #[arg(long, env = "FORENOON_TLS_CERTIFICATE", value_name = "FILE")]
    pub tls_certificate: Option<PathBuf>,
    /// A PEM file with the certificate's private key. [default: none]
    #[arg(long, env = "FORENOON_TLS_KEY", value_name = "FILE")]
    pub tls_key: Option<PathBuf>,
    /// A file to write the port to, once calls are answered.
    #[arg(long, env = "FORENOON_PORT_FILE", value_name = "FILE")]
    pub port_file: Option<PathBuf>,
    /// Database: `sqlite://PATH`, or `postgres://USER@HOST/NAME`. [default: `sqlite://data/forenoon.db`]
    #[arg(
        long,
        env = "FORENOON_DATABASE",
        value_name = "URL",
        hide_env_values = true,
        global = true
    )]
    pub database: Option<String>,
    /// Most connections to the database: for reading on SQLite, for everything on PostgreSQL. 1 to 1000.
    /// [default: 8 on PostgreSQL, two more than there are cores on SQLite]
    #[arg(long, env = "FORENOON_DATABASE_CONNECTIONS_MAX", value_name = "COUNT")]
    pub database_connections_max: Option<u32>,
    /// Longest wait for a connection to the database or a lock in it, in seconds. 1 to 600. [default: 5]
    #[arg(
        long,
        env = "FORENOON_DATABASE_WAIT_SECONDS_MAX",
        value_name = "SECONDS"
    )]
    pub database_wait_seconds_max: Option<u64>,
    /// A file of open map data in the PBF layout: drives are reckoned by its roads, and by a branch's travel rule only
    /// where a place lies off them. It is read once, before the server is ready. [default: none]
    #[arg(long, env = "FORENOON_ROADS", value_name = "FILE")]
    pub roads: Option<PathBuf>,
    /// Days that `archive` leaves in the database; older months go. 401 to 36500. [default: all are kept]
    #[arg(long, env = "FORENOON_DAYS_KEPT", value_name = "COUNT", global = true)]
    pub days_kept: Option<u32>,
    /// How log lines are written to standard error. [default: plain]
    #[arg(long, env = "FORENOON_LOG_FORMAT", value_name = "FORMAT")]
    pub log_format: Option<LogFormat>,
    /// What is logged, as `info` or `warn,forenoon_server=debug`. [default:
    /// `info,sqlx=warn,sea_orm_migration=warn`]
    #[arg(long, env = "FORENOON_LOG", value_name = "FILTER")]
    pub log: Option<String>,
    /// Web origins whose pages may call, separated by commas, as `https://office.example`; `*` for any.
    /// [default: none]
    #[arg(
        long,
        env = "FORENOON_WEB_ORIGINS",
        value_name = "ORIGINS",
        value_delimiter = ','
    )]
    pub web_origins: Option<Vec<String>>,
    /// Most calls at work at a time on one connection; more are refused. 1 to 100000. [default: 256]
    #[arg(long, env = "FORENOON_CALLS_MAX", value_name = "COUNT")]
    pub calls_max: Option<usize>,
    /// Largest message taken, in bytes. 1024 to 268435456. [default: 33554432]
    #[arg(long, env = "FORENOON_MESSAGE_BYTES_MAX", value_name = "BYTES")]
    pub message_bytes_max: Option<usize>,
    /// Most bytes of a branch that is brought in. They are kept in a temporary file first, for two branches at a time.
    /// 1048576 to 1099511627776. [default: 68719476736]
    #[arg(long, env = "FORENOON_IMPORT_BYTES_MAX", value_name = "BYTES")]
    pub import_bytes_max: Option<u64>,
    /// Longest time for running calls to finish when the server stops, in seconds. 0 to 3600. [default: 20]
    #[arg(long, env = "FORENOON_STOP_SECONDS_MAX", value_name = "SECONDS")]
    pub stop_seconds_max: Option<u64>,
    /// Iterations of a search for a plan where the caller does not say. 1 to 100000000. [default: 200000]
    #[arg(long, env = "FORENOON_SEARCH_ITERATIONS", value_name = "COUNT")]
    pub search_iterations: Option<u64>,
    /// Longest time of a search for a plan where the caller does not say, in seconds. 1 to 600. [default: 20]
    #[arg(long, env = "FORENOON_SEARCH_SECONDS_MAX", value_name = "SECONDS")]
    pub search_seconds_max: Option<u64>,
    /// Most searches for plans at a time, and as many for proposals; others wait for their turn. 1 to 1000. [default: the
    /// machine's cores]
    #[arg(long, env = "FORENOON_SEARCHES_MAX", value_name = "COUNT")]
    pub searches_max: Option<usize>,
    /// Threads of one search for a plan. The same day, seed, iterations and threads give the same plan. 1 to 64. [default: 1]
    #[arg(long, env = "FORENOON_SEARCH_THREADS", value_name = "COUNT")]
    pub search_threads: Option<usize>,
    /// Whoever repaired a unit must not be the one who inspects it. [default: false]
    #[arg(
        long,
        env = "FORENOON_INSPECTOR_DIFFERS",
        value_name = "BOOL",
        num_args = 0..=1,
        default_missing_value = "true"
    )]
    pub inspector_differs: Option<bool>,
    /// Whether a unit whose service is due goes out: warn tells, block keeps it in. [default: warn]
    #[arg(long, env = "FORENOON_SERVICE_DUE", value_name = "RULE")]
    pub service_due: Option<ServiceDue>,
}

/// What callers are asked for.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, ValueEnum, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum AskFor {
    /// Whoever reaches the server may do everything.
    #[default]
    Nothing,
    /// A key that `forenoon-server key issue` gave out. Health and the contract are told without one.
    Key,
}

/// The files of a certificate.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Certificate {
    /// The certificate, and those that vouch for it.
    pub chain: PathBuf,
    /// Its private key.
    pub key: PathBuf,
}

/// What becomes of a unit whose service is due.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, ValueEnum, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum ServiceDue {
    /// It goes out, and the bench is told.
    #[default]
    Warn,
    /// It stays in until it is serviced.
    Block,
}

/// How log lines are written.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, ValueEnum, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum LogFormat {
    /// For people.
    #[default]
    Plain,
    /// For programs, one object a line.
    Json,
}

/// All settings, complete and checked.
#[derive(Clone, Debug)]
pub struct Settings {
    /// Where to listen.
    pub listen: SocketAddr,
    /// What callers are asked for.
    pub sign_in: AskFor,
    /// The certificate by which the server is known; none where calls come in the clear.
    pub certificate: Option<Certificate>,
    /// Where to write the port.
    pub port_file: Option<PathBuf>,
    /// The database.
    pub database: DatabaseOptions,
    /// The file of roads.
    pub roads: Option<PathBuf>,
    /// Days that archiving leaves; none where all stay.
    pub days_kept: Option<u32>,
    /// How log lines are written.
    pub log_format: LogFormat,
    /// What is logged.
    pub log: String,
    /// The company's own rules of the bench.
    pub bench: BenchRules,
    /// How calls are bounded.
    pub limits: Limits,
}

/// How calls are bounded.
#[derive(Clone, Debug)]
pub struct Limits {
    /// Web origins whose pages may call.
    pub web_origins: Vec<String>,
    /// Most calls at a time on one connection.
    pub calls_max: usize,
    /// Largest message taken.
    pub message_bytes_max: usize,
    /// Most bytes of a branch that is brought in.
    pub import_bytes_max: u64,
    /// Longest time for running calls to finish.
    pub stop_max: Duration,
    /// How searches for plans are bounded.
    pub search: SearchLimits,
}

impl Default for Limits {
    fn default() -> Self {
        Self {
            web_origins: Vec::new(),
            calls_max: 256,
            message_bytes_max: 32 * 1024 * 1024,
            import_bytes_max: 64 * 1024 * 1024 * 1024,
            stop_max: Duration::from_secs(20),
            search: SearchLimits::default(),
        }
    }
}

/// What is wrong with the settings.
#[derive(Debug, thiserror::Error)]
pub enum ConfigError {
    /// The file cannot be read.
    #[error("the settings file {} cannot be read: {cause}", path.display())]
    File {
        /// The file.
        path: PathBuf,
        /// The system's words.
        cause: std::io::Error,
    },
    /// The file is no TOML, or has settings that are not known or of the wrong kind.
    #[error("the settings file {}: {cause}", path.display())]
    Toml {
        /// The file.
        path: PathBuf,
        /// Where and what.
        cause: Box<toml::de::Error>,
    },
    /// A setting is out of its range.
    #[error("setting {setting} is {value}; give one from {least} to {most}")]
    Range {
        /// Its name.
        setting: &'static str,
        /// What was given.
        value: u64,
        /// The least there may be.
        least: u64,
        /// The most there may be.
        most: u64,
    },
    /// A web origin is none.
    #[error("setting web_origins: {origin:?} is no origin as https://office.example")]
    Origin {
        /// What was given.
        origin: String,
    },
    /// One file of a certificate without the other.
    #[error("settings tls_certificate and tls_key go together; give both or neither")]
    HalfCertificate,
    /// The log filter cannot be read.
    #[error("setting log: {cause}")]
    Log {
        /// What is wrong with it.
        cause: String,
    },
}

impl Arguments {
    /// Puts all sources together.
    ///
    /// # Errors
    /// Where the file cannot be read, or a setting is out of its range.
    pub fn settings(self) -> Result<Settings, ConfigError> {
        let file = match &self.config {
            Some(path) => Given::from_file(path)?,
            None => Given::default(),
        };
        self.given.over(file).complete()
    }
}

impl Given {
    fn from_file(path: &Path) -> Result<Self, ConfigError> {
        let text = std::fs::read_to_string(path).map_err(|cause| ConfigError::File {
            path: path.to_owned(),
            cause,
        })?;
        toml::from_str(&text).map_err(|cause| ConfigError::Toml {
            path: path.to_owned(),
            cause: Box::new(cause),
        })
    }

    /// These settings over others.
    fn over(self, under: Self) -> Self {
        Self {
            listen: self.listen.or(under.listen),
            sign_in: self.sign_in.or(under.sign_in),
            tls_certificate: self.tls_certificate.or(under.tls_certificate),
            tls_key: self.tls_key.or(under.tls_key),
            port_file: self.port_file.or(under.port_file),
            database: self.database.or(under.database),
            database_connections_max: self
                .database_connections_max
                .or(under.database_connections_max),
            database_wait_seconds_max: self
                .database_wait_seconds_max
                .or(under.database_wait_seconds_max),
            roads: self.roads.or(under.roads),
            days_kept: self.days_kept.or(under.days_kept),
            log_format: self.log_format.or(under.log_format),
            log: self.log.or(under.log),
            web_origins: self.web_origins.or(under.web_origins),
            calls_max: self.calls_max.or(under.calls_max),
            message_bytes_max: self.message_bytes_max.or(under.message_bytes_max),
            import_bytes_max: self.import_bytes_max.or(under.import_bytes_max),
            stop_seconds_max: self.stop_seconds_max.or(under.stop_seconds_max),
            search_iterations: self.search_iterations.or(under.search_iterations),
            search_seconds_max: self.search_seconds_max.or(under.search_seconds_max),
            searches_max: self.searches_max.or(under.searches_max),
            search_threads: self.search_threads.or(under.search_threads),
            inspector_differs: self.inspector_differs.or(under.inspector_differs),
            service_due: self.service_due.or(under.service_due),
        }
    }

    fn complete(self) -> Result<Settings, ConfigError> {
        let Self {
            listen,
            sign_in,
            tls_certificate,
            tls_key,
            port_file,
            database,
            database_connections_max,
            database_wait_seconds_max,
            roads,
            days_kept,
            log_format,
            log,
            web_origins,
            calls_max,
            message_bytes_max,
            import_bytes_max,
            stop_seconds_max,
            search_iterations,
            search_seconds_max,
            searches_max,
            search_threads,
            inspector_differs,
            service_due,
        } = self;
        let database = database.unwrap_or_else(|| DATABASE_DEFAULT.to_owned());
        let connections_max = database_connections_max
            .unwrap_or_else(|| DatabaseOptions::connections_usual(&database));
        within("database_connections_max", connections_max, 1, 1_000)?;
        let wait_seconds_max = database_wait_seconds_max.unwrap_or(5);
        within("database_wait_seconds_max", wait_seconds_max, 1, 600)?;
        if let Some(days_kept) = days_kept {
            within("days_kept", days_kept, DAYS_KEPT_LEAST.into(), 36_500)?;
        }
        let defaults = Limits::default();
        let calls_max = calls_max.unwrap_or(defaults.calls_max);
        within("calls_max", count(calls_max), 1, 100_000)?;
        let message_bytes_max = message_bytes_max.unwrap_or(defaults.message_bytes_max);
        within(
            "message_bytes_max",
            count(message_bytes_max),
            1_024,
            268_435_456,
        )?;
        let import_bytes_max = import_bytes_max.unwrap_or(defaults.import_bytes_max);
        within(
            "import_bytes_max",
            import_bytes_max,
            1_048_576,
            1_099_511_627_776,
        )?;
        let stop_seconds_max = stop_seconds_max.unwrap_or(defaults.stop_max.as_secs());
        within("stop_seconds_max", stop_seconds_max, 0, 3_600)?;
        let search = search(
            search_iterations,
            search_seconds_max,
            [searches_max, search_threads],
        )?;
        let web_origins = web_origins.unwrap_or_default();
        if let Some(origin) = web_origins.iter().find(|origin| !is_origin(origin)) {
            return Err(ConfigError::Origin {
                origin: origin.clone(),
            });
        }
        let certificate = match (tls_certificate, tls_key) {
            (Some(chain), Some(key)) => Some(Certificate { chain, key }),
            (None, None) => None,
            _ => return Err(ConfigError::HalfCertificate),
        };
        Ok(Settings {
            listen: listen.unwrap_or_else(|| SocketAddr::from((Ipv4Addr::LOCALHOST, PORT_DEFAULT))),
            sign_in: sign_in.unwrap_or_default(),
            certificate,
            port_file,
            database: DatabaseOptions {
                url: database,
                connections_max,
                wait_max: Duration::from_secs(wait_seconds_max),
            },
            roads,
            days_kept,
            log_format: log_format.unwrap_or_default(),
            log: log.unwrap_or_else(|| "info,sqlx=warn,sea_orm_migration=warn".to_owned()),
            bench: BenchRules {
                inspector_differs: inspector_differs.unwrap_or_default(),
                service_due_keeps_in: service_due.unwrap_or_default() == ServiceDue::Block,
            },
            limits: Limits {
                web_origins,
                calls_max,
                message_bytes_max,
                import_bytes_max,
                stop_max: Duration::from_secs(stop_seconds_max),
                search,
            },
        })
    }
}

fn search(
    iterations: Option<u64>,
    seconds_max: Option<u64>,
    [searches_max, threads]: [Option<usize>; 2],
) -> Result<SearchLimits, ConfigError> {
    let defaults = SearchLimits::default();
    let iterations_default = iterations.unwrap_or(defaults.iterations_default);
    within("search_iterations", iterations_default, 1, 100_000_000)?;
    let seconds_max = seconds_max.unwrap_or(defaults.time_default.as_secs());
    within("search_seconds_max", seconds_max, 1, 600)?;
    let searches_max = searches_max.unwrap_or(defaults.searches_max);
    within("searches_max", count(searches_max), 1, 1_000)?;
    let threads = threads.unwrap_or(defaults.threads);
    within("search_threads", count(threads), 1, count(THREADS_MAX))?;
    Ok(SearchLimits {
        iterations_default,
        time_default: Duration::from_secs(seconds_max),
        searches_max,
        threads,
    })
}

fn count(value: usize) -> u64 {
    u64::try_from(value).unwrap_or(u64::MAX)
}

fn within(
    setting: &'static str,
    value: impl Into<u64>,
    least: u64,
    most: u64,
) -> Result<(), ConfigError> {
    let value = value.into();
    if (least..=most).contains(&value) {
        return Ok(());
    }
    Err(ConfigError::Range {
        setting,
        value,
        least,
        most,
    })
}

/// A scheme and a host, with a port perhaps, and nothing after; or any.
fn is_origin(origin: &str) -> bool {
    if origin == "*" {
        return true;
    }
    let host = origin
        .strip_prefix("https://")
        .or_else(|| origin.strip_prefix("http://"));
    host.is_some_and(|host| {
        !host.is_empty()
            && host
                .chars()
                .all(|c| c.is_ascii_alphanumeric() || matches!(c, '.' | '-' | ':' | '[' | ']'))
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn settings(file: &str, flags: &[&str]) -> Result<Settings, ConfigError> {
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("server.toml");
        std::fs::write(&path, file).expect("write");
        let path = path.display().to_string();
        let words = ["forenoon-server", "--config", &path];
        Arguments::try_parse_from(words.iter().chain(flags))
            .expect("flags")
            .settings()
    }

    #[test]
    fn flags_go_over_the_file_and_the_file_over_defaults() {
        let read = settings(
            "listen = \"0.0.0.0:1\"\ndatabase = \"sqlite://a.db\"\nlog_format = \"json\"",
            &[
                "--listen",
                "127.0.0.1:2",
                "--web-origins",
                "https://a.example,http://b:3000",
            ],
        )
        .expect("settings");
        assert_eq!(read.listen.to_string(), "127.0.0.1:2");
        assert_eq!(read.database.url, "sqlite://a.db");
        assert_eq!(read.log_format, LogFormat::Json);
        assert_eq!(
            read.limits.web_origins,
            ["https://a.example", "http://b:3000"]
        );
        assert_eq!(read.limits.calls_max, 256);
    }

    #[test]
    fn wrong_settings_are_named() {
        for (file, flags, words) in [
            ("listn = \"x\"", &[][..], "listn"),
            ("calls_max = \"many\"", &[], "calls_max"),
            ("calls_max = 0", &[], "calls_max"),
            (
                "",
                &["--database-wait-seconds-max", "0"],
                "database_wait_seconds_max",
            ),
            ("import_bytes_max = 1000", &[], "import_bytes_max"),
            ("days_kept = 400", &[], "days_kept"),
            ("sign_in = \"password\"", &[], "sign_in"),
            ("tls_key = \"a.pem\"", &[], "tls_certificate"),
            ("", &["--web-origins", "office.example"], "office.example"),
            (
                "",
                &["--web-origins", "https://a.example/page"],
                "web_origins",
            ),
        ] {
            let error = settings(file, flags).expect_err(words).to_string();
            assert!(error.contains(words), "{error}");
        }
    }

    #[test]
    fn the_help_names_every_setting_with_its_variable() {
        use clap::CommandFactory;
        let help = Arguments::command().render_long_help().to_string();
        for setting in [
            "config",
            "listen",
            "sign-in",
            "tls-certificate",
            "tls-key",
            "port-file",
            "database",
            "database-connections-max",
            "database-wait-seconds-max",
            "log-format",
            "log",
            "web-origins",
            "calls-max",
            "message-bytes-max",
            "import-bytes-max",
            "stop-seconds-max",
            "days-kept",
            "roads",
        ] {
            assert!(help.contains(&format!("--{setting} ")), "{setting}");
            let variable = setting.replace('-', "_").to_uppercase();
            assert!(help.contains(&format!("FORENOON_{variable}")), "{variable}");
        }
    }
}
