//! Logs: one place that sets them up. Logs carry ids, never names of people.

use std::io::IsTerminal;

use tracing_subscriber::{EnvFilter, filter::ParseError};

/// How log lines look.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
pub enum LogFormat {
    /// Text for a person at a terminal.
    Human,
    /// One JSON object a line, for a log collector.
    Json,
}

/// The log filter cannot be read.
#[derive(Debug, thiserror::Error)]
#[error(
    "SECONDCAN_LOG={filter:?} is not a log filter; write for example info or warn,secondcan_server=debug"
)]
pub struct LogFilterError {
    filter: String,
    #[source]
    source: ParseError,
}

/// Sends log lines to stderr from now on. Called once, by `main`.
///
/// # Errors
/// [`LogFilterError`] when the filter cannot be read.
pub fn start(format: LogFormat, filter: &str) -> Result<(), LogFilterError> {
    let env_filter = EnvFilter::try_new(filter).map_err(|source| LogFilterError {
        filter: filter.to_owned(),
        source,
    })?;
    let builder = tracing_subscriber::fmt()
        .with_env_filter(env_filter)
        .with_writer(std::io::stderr);
    match format {
        LogFormat::Human => builder
            .with_ansi(std::io::stderr().is_terminal())
            .with_target(false)
            .init(),
        LogFormat::Json => builder.json().flatten_event(true).init(),
    }
    Ok(())
}
