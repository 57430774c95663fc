//! The command line: options that every verb takes, the verbs, and how a run starts and ends.

use std::ffi::OsString;
use std::path::PathBuf;
use std::process::ExitCode;

use clap::error::ErrorKind;
use clap::{CommandFactory as _, Parser};

use crate::commands::{Command, Run};
use crate::exit::{Exit, Failure};
use crate::output::{self, ColorMode, Output};
use crate::platform;

/// The counter's client of secondcan: the second can must match the first
#[derive(Debug, Parser)]
#[command(
    name = "secondcan",
    version,
    disable_help_subcommand = true,
    arg_required_else_help = false,
    after_help = "Examples:\n  \
        secondcan login --store \"North Quay\"\n  \
        secondcan match find brannock lobby\n  \
        secondcan match show 7K3QF-9XW2D-Q\n\n\
        Exit codes: 0 done, 1 nothing found, 2 bad input, 3 not logged in or not allowed,\n\
        4 not now (try again), 5 conflict, 6 fault of the program, the server or this machine."
)]
pub(crate) struct Cli {
    /// Print exactly one JSON document on stdout; messages go to stderr
    #[arg(long, global = true, help_heading = "Options of every verb")]
    json: bool,
    /// Colors and swatches
    #[arg(long, global = true, help_heading = "Options of every verb", value_enum, value_name = "auto|always|never", hide_possible_values = true, default_value_t = ColorMode::Auto)]
    color: ColorMode,
    /// Address of the server; without it, the server of the last login
    #[arg(
        long,
        global = true,
        help_heading = "Options of every verb",
        value_name = "URL",
        env = "SECONDCAN_URL",
        hide_env_values = true
    )]
    server: Option<String>,
    /// Folder for the login and for requests not yet sent
    #[arg(
        long,
        global = true,
        help_heading = "Options of every verb",
        value_name = "DIR",
        env = "SECONDCAN_HOME"
    )]
    home: Option<PathBuf>,
    /// Allow plain HTTP to another machine, in a network of your own
    #[arg(long, global = true, help_heading = "Options of every verb", env = "SECONDCAN_ALLOW_HTTP", value_parser = clap::builder::FalseyValueParser::new(), action = clap::ArgAction::SetTrue)]
    allow_http: bool,
    #[command(subcommand)]
    command: Command,
}

/// The whole command line, for completions and the man page.
pub(crate) fn command() -> clap::Command {
    Cli::command()
}

/// Runs a command line to its end.
pub(crate) fn run(args: impl IntoIterator<Item = OsString>) -> ExitCode {
    let args: Vec<OsString> = args.into_iter().collect();
    ExitCode::from(run_args(&args).code())
}

fn run_args(args: &[OsString]) -> Exit {
    let cli = match Cli::try_parse_from(args) {
        Ok(cli) => cli,
        Err(error) => return usage(&error, args),
    };
    let output = Output::new(cli.json, cli.color);
    match start(cli, output, args) {
        Ok(exit) => exit,
        Err(failure) => {
            output.fail(&failure);
            failure.exit()
        }
    }
}

fn start(cli: Cli, output: Output, args: &[OsString]) -> Result<Exit, Failure> {
    let home = match cli.home.or_else(platform::default_home) {
        Some(home) => home,
        None => {
            return Err(
                Failure::bad("home", "there is no home folder to keep the login in")
                    .remedy("set SECONDCAN_HOME to a folder of your own"),
            );
        }
    };
    let run = Run::new(output, home, cli.server, cli.allow_http);
    let writes = cli.command.writes();
    cli.command.run(&run).map_err(|failure| {
        if writes && failure.exit() == Exit::NotNow {
            run.keep_command(failure, args)
        } else {
            failure
        }
    })
}

/// Parses and runs a command that was kept, as if it were typed again.
///
/// # Errors
/// What the command fails with.
pub(crate) fn run_kept(args: &[String], run: &Run) -> Result<Exit, Failure> {
    let cli = Cli::try_parse_from(args)
        .map_err(|error| Failure::bad("command", first_lines(&error.to_string())))?;
    let run = run.with_server(cli.server, cli.allow_http);
    cli.command.run(&run)
}

/// What clap says, without its usage lines.
fn first_lines(text: &str) -> String {
    let text = text.strip_prefix("error: ").unwrap_or(text);
    text.lines()
        .take_while(|line| !line.starts_with("Usage:") && !line.starts_with("For more information"))
        .map(str::trim)
        .filter(|line| !line.is_empty())
        .collect::<Vec<_>>()
        .join("; ")
}

/// Help and version are no failures; all else is exit 2, with a document when JSON was asked for.
fn usage(error: &clap::Error, args: &[OsString]) -> Exit {
    if matches!(
        error.kind(),
        ErrorKind::DisplayHelp | ErrorKind::DisplayVersion
    ) {
        // A closed pipe is the reader's choice.
        let _ = error.print();
        return Exit::Done;
    }
    if args.iter().any(|arg| arg == "--json") {
        let failure = Failure::new(Exit::BadInput, "usage", first_lines(&error.to_string()))
            .remedy("see --help of the verb");
        Output::new(true, ColorMode::Never).fail(&failure);
    } else {
        output::say(error.to_string().trim_end());
    }
    Exit::BadInput
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_command_line_is_sound() {
        command().debug_assert();
    }

    /// Every verb that can be run shows an example: the last thing that a clerk in a hurry reads.
    #[test]
    fn every_verb_shows_an_example() {
        fn walk(command: &clap::Command, path: &str, missing: &mut Vec<String>) {
            let path = format!("{path} {}", command.get_name());
            let mut verbs = command.get_subcommands().peekable();
            if verbs.peek().is_none() {
                let shown = command
                    .get_after_help()
                    .is_some_and(|help| help.to_string().contains("secondcan"));
                if !shown {
                    missing.push(path);
                }
                return;
            }
            for verb in verbs {
                walk(verb, &path, missing);
            }
        }
        let mut missing = Vec::new();
        walk(&command(), "", &mut missing);
        assert_eq!(missing, Vec::<String>::new());
    }
}
