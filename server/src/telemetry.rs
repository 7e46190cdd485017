//! Log lines, to standard error.

use std::io::IsTerminal;

use tracing_subscriber::EnvFilter;

use crate::config::{ConfigError, LogFormat};

/// Begins to log.
///
/// # Errors
/// Where the filter cannot be read.
pub(crate) fn begin(format: LogFormat, filter: &str) -> Result<(), ConfigError> {
    let filter = EnvFilter::try_new(filter).map_err(|cause| ConfigError::Log {
        cause: cause.to_string(),
    })?;
    let lines = tracing_subscriber::fmt()
        .with_env_filter(filter)
        .with_ansi(std::io::stderr().is_terminal())
        .with_writer(std::io::stderr);
    // A second call in one process keeps the first log: tests start several servers.
    let _ = match format {
        LogFormat::Plain => lines.try_init(),
        LogFormat::Json => lines.json().try_init(),
    };
    Ok(())
}
