//! `secondcan-server`: reads the command line, gives up root, and starts.

use std::{io::Write, process::ExitCode};

use clap::{Parser, Subcommand};
use secondcan_server::{
    config::{Arguments, Config},
    privileges, startup, telemetry,
};

/// The formula library's server.
///
/// Without DATABASE_URL it runs a private Postgres in its data folder. With
/// it, DATABASE_URL is the app role's URL and DATABASE_OWNER_URL the owner's;
/// docs/roles.sql makes both roles. SECONDCAN_POSTGRES_BIN names the folder of
/// Postgres's programs where they are not in a usual place.
#[derive(Debug, Parser)]
#[command(version, name = "secondcan-server")]
struct CommandLine {
    #[command(flatten)]
    arguments: Arguments,
    #[command(subcommand)]
    command: Option<Command>,
}

#[derive(Debug, Subcommand)]
enum Command {
    /// Serve until Ctrl-C (the default)
    Serve,
    /// Bring the database's schema up to date and end
    Migrate,
    /// Load the demo chain into an empty database, print its logins once, and end
    Demo,
    /// Look after the accounts from this machine
    #[command(subcommand)]
    Admin(Admin),
    /// Say whether the database may be served from, and end
    Check,
}

#[derive(Debug, Subcommand)]
enum Admin {
    /// Print a token, good for 15 minutes, by which an admin's account is made
    Init,
}

fn main() -> ExitCode {
    match run(CommandLine::parse()) {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            let _ = writeln!(std::io::stderr(), "error: {error:#}");
            ExitCode::FAILURE
        }
    }
}

fn run(line: CommandLine) -> anyhow::Result<()> {
    // Before the first thread, and before anything is read.
    let identity = privileges::drop_root(line.arguments.data.is_some())?;
    let config = Config::resolve(line.arguments, &identity)?;
    telemetry::start(config.log_format, &config.log)?;
    let runtime = tokio::runtime::Builder::new_multi_thread()
        .enable_all()
        .build()?;
    runtime.block_on(async {
        match line.command.unwrap_or(Command::Serve) {
            Command::Serve => startup::serve(config).await,
            Command::Migrate => startup::migrate(config).await,
            Command::Demo => startup::demo(config).await,
            Command::Admin(Admin::Init) => startup::admin_init(config).await,
            Command::Check => startup::check(config).await,
        }
    })
}
