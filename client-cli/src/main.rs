//! `secondcan`: the counter's client. It talks to a secondcan server, and does color arithmetic and searches in local
//! libraries without one.
#![forbid(unsafe_code)]

mod amounts;
mod args;
mod averaging;
mod commands;
mod conditions;
mod exit;
mod local_library;
mod login_file;
mod output;
mod platform;
mod plot;
mod reference;
mod remote;
mod spectrum_file;
mod unsent;
mod watch;
mod word;

use std::process::ExitCode;

fn main() -> ExitCode {
    args::run(std::env::args_os())
}
