//! `completions` and `man`: made from the command line itself.

use std::path::PathBuf;

use clap_complete::Shell;
use serde::Serialize;

use super::Run;
use crate::exit::{Exit, Failure};
use crate::{args, output, platform};

/// Print completions for a shell
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Example:\n  secondcan completions bash > ~/.local/share/bash-completion/completions/secondcan"
)]
pub(crate) struct Completions {
    /// The shell
    shell: Shell,
}

/// Print the man page, or write one for each verb
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Examples:\n  secondcan man | man -l -\n  secondcan man --dir ~/.local/share/man/man1"
)]
pub(crate) struct Man {
    /// Write a page for each verb into this folder
    #[arg(long, value_name = "DIR")]
    dir: Option<PathBuf>,
}

impl Completions {
    pub(super) fn run(self) -> Result<Exit, Failure> {
        let mut text = Vec::new();
        clap_complete::generate(self.shell, &mut args::command(), "secondcan", &mut text);
        output::raw(&text)?;
        Ok(Exit::Done)
    }
}

#[derive(Serialize)]
struct Pages {
    pages: Vec<String>,
}

impl Man {
    pub(super) fn run(self, run: &Run) -> Result<Exit, Failure> {
        let Some(folder) = self.dir else {
            let page = page(args::command())?;
            output::raw(&page)?;
            return Ok(Exit::Done);
        };
        std::fs::create_dir_all(&folder).map_err(|error| {
            Failure::bad("dir", format!("the folder can't be made: {error}"))
                .value(folder.display().to_string())
        })?;
        let mut all = Vec::new();
        let mut root = args::command();
        root.build();
        gather(&root, "secondcan", &mut all);
        let mut pages = Vec::new();
        for (name, command) in all {
            let path = folder.join(format!("{name}.1"));
            platform::write_public(&path, &page(command)?)
                .map_err(|error| Failure::machine("writing a man page", &error))?;
            pages.push(name);
        }
        run.output().show(&Pages { pages }, |screen| {
            screen.line(format!("man pages written to {}", folder.display()));
        })?;
        Ok(Exit::Done)
    }
}

fn gather(command: &clap::Command, name: &str, all: &mut Vec<(String, clap::Command)>) {
    all.push((name.to_owned(), command.clone()));
    for verb in command.get_subcommands() {
        gather(verb, &format!("{name}-{}", verb.get_name()), all);
    }
}

fn page(command: clap::Command) -> Result<Vec<u8>, Failure> {
    let mut text = Vec::new();
    let title = command
        .get_display_name()
        .unwrap_or_else(|| command.get_name())
        .to_owned();
    clap_mangen::Man::new(command)
        .title(title)
        .render(&mut text)
        .map_err(|error| Failure::machine("drawing a man page", &error))?;
    Ok(text)
}
