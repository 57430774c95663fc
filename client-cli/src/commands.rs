//! The verbs, one file a noun.

mod access_log;
mod base;
mod color_local;
mod colorant;
mod convert;
mod customer;
mod delta;
mod draft;
mod drawdown;
mod formula_input;
mod instrument;
mod library;
mod login;
mod match_light;
mod match_record;
mod match_view;
mod matches;
mod measure;
mod measure_take;
mod metamerism;
mod nearest;
mod person;
mod product;
mod reorder;
mod sheen;
mod shell;
mod store;
mod tint;
mod unsent;
mod verdict;

use std::ffi::OsString;
use std::path::PathBuf;

use formula::id::StoreId;
use formula::wire::v1::{Named, Page, WhoAmI};
use serde::Serialize;

use crate::exit::{Exit, Failure};
use crate::login_file::LoginFile;
use crate::output::{Output, Screen};
use crate::remote::{Address, Patience, Remote};

/// What can be done.
#[derive(Debug, clap::Subcommand)]
pub(crate) enum Command {
    Login(login::Login),
    Claim(login::Claim),
    Password(login::Password),
    Logout(login::Logout),
    Whoami(login::Whoami),
    /// Customers, their phones and jobs
    #[command(subcommand)]
    Customer(customer::Customer),
    /// Matches: a customer's wanted color and the formulas found for it
    #[command(subcommand)]
    Match(matches::Match),
    Nearest(nearest::Nearest),
    /// Measurements as an instrument's own program writes them
    #[command(subcommand)]
    Measure(measure::Measure),
    /// Drawdowns: what a formula really gives
    #[command(subcommand)]
    Drawdown(drawdown::Drawdown),
    /// Reorders: the same color again
    #[command(subcommand)]
    Reorder(reorder::Reorder),
    /// Tints: cans really made
    #[command(subcommand)]
    Tint(tint::Tint),
    /// Requests whose answer never came
    #[command(subcommand)]
    Unsent(unsent::Unsent),
    /// Stores of the chain
    #[command(subcommand)]
    Store(store::Store),
    /// Persons: the logins
    #[command(subcommand)]
    Person(person::Person),
    /// Products: lines of paint
    #[command(subcommand)]
    Product(product::Product),
    /// Bases of products
    #[command(subcommand)]
    Base(base::Base),
    /// Colorants, by pigment and Colour Index name
    #[command(subcommand)]
    Colorant(colorant::Colorant),
    /// How near is near enough, in the chain's words
    #[command(subcommand)]
    Verdict(verdict::Verdict),
    /// Instruments: what is due, calibrations, tiles, corrections
    #[command(subcommand)]
    Instrument(instrument::Instrument),
    AccessLog(access_log::AccessLog),
    /// Libraries of spectra on this machine
    #[command(subcommand)]
    Library(library::Library),
    Color(color_local::Color),
    Convert(convert::Convert),
    Delta(delta::Delta),
    Metamerism(metamerism::Metamerism),
    Sheen(sheen::Sheen),
    Completions(shell::Completions),
    Man(shell::Man),
}

impl Command {
    /// Whether it writes at the server, so that what was typed must not get lost when there is none.
    pub(crate) const fn writes(&self) -> bool {
        match self {
            Self::Customer(command) => command.writes(),
            Self::Match(command) => command.writes(),
            Self::Drawdown(_) => true,
            Self::Reorder(command) => command.writes(),
            Self::Tint(command) => command.writes(),
            _ => false,
        }
    }

    /// Does it.
    ///
    /// # Errors
    /// What a person needs to know to mend it.
    pub(crate) fn run(self, run: &Run) -> Result<Exit, Failure> {
        match self {
            Self::Login(command) => command.run(run),
            Self::Claim(command) => command.run(run),
            Self::Password(command) => command.run(run),
            Self::Logout(command) => command.run(run),
            Self::Whoami(command) => command.run(run),
            Self::Customer(command) => command.run(run),
            Self::Match(command) => command.run(run),
            Self::Nearest(command) => command.run(run),
            Self::Measure(command) => command.run(run),
            Self::Drawdown(command) => command.run(run),
            Self::Reorder(command) => command.run(run),
            Self::Tint(command) => command.run(run),
            Self::Unsent(command) => command.run(run),
            Self::Store(command) => command.run(run),
            Self::Person(command) => command.run(run),
            Self::Product(command) => command.run(run),
            Self::Base(command) => command.run(run),
            Self::Colorant(command) => command.run(run),
            Self::Verdict(command) => command.run(run),
            Self::Instrument(command) => command.run(run),
            Self::AccessLog(command) => command.run(run),
            Self::Library(command) => command.run(run),
            Self::Color(command) => command.run(run),
            Self::Delta(command) => command.run(run),
            Self::Convert(command) => command.run(run),
            Self::Metamerism(command) => command.run(run),
            Self::Sheen(command) => command.run(run),
            Self::Completions(command) => command.run(),
            Self::Man(command) => command.run(run),
        }
    }
}

/// What every verb may use.
#[derive(Debug)]
pub(crate) struct Run {
    output: Output,
    home: PathBuf,
    server: Option<String>,
    allow_http: bool,
}

impl Run {
    /// One run of the program.
    pub(crate) const fn new(
        output: Output,
        home: PathBuf,
        server: Option<String>,
        allow_http: bool,
    ) -> Self {
        Self {
            output,
            home,
            server,
            allow_http,
        }
    }

    /// The same run, at the server that a kept command names.
    pub(crate) fn with_server(&self, server: Option<String>, allow_http: bool) -> Self {
        Self {
            output: self.output,
            home: self.home.clone(),
            server: server.or_else(|| self.server.clone()),
            allow_http: self.allow_http || allow_http,
        }
    }

    /// Where it prints to.
    pub(crate) const fn output(&self) -> Output {
        self.output
    }

    /// The folder of login and kept requests.
    pub(crate) fn home(&self) -> &std::path::Path {
        &self.home
    }

    /// The server: as given, else the one of the last login.
    ///
    /// # Errors
    /// When none is known, or its address can't be used.
    pub(crate) fn remote(&self) -> Result<Remote, Failure> {
        let server = match &self.server {
            Some(server) => server.clone(),
            None => LoginFile::in_home(&self.home)
                .read()?
                .map(|login| login.server)
                .ok_or_else(|| {
                    Failure::new(
                        Exit::NotAllowed,
                        "not-logged-in",
                        "no server is known and nobody is logged in",
                    )
                    .field("server")
                    .remedy("set SECONDCAN_URL to the server's address, then run `secondcan login`")
                })?,
        };
        let address = Address::parse(&server, self.allow_http)?;
        Remote::new(address, &self.home, Patience::default())
    }

    /// Keeps the command line itself when not even a request came about; secrets are never part of one.
    pub(crate) fn keep_command(&self, failure: Failure, args: &[OsString]) -> Failure {
        unsent::keep_command(self, failure, args)
    }

    /// Shows a record just saved.
    ///
    /// # Errors
    /// When stdout can't be written.
    pub(crate) fn saved<T: Serialize>(
        &self,
        record: &T,
        screen: impl FnOnce(&mut Screen),
    ) -> Result<Exit, Failure> {
        #[derive(Serialize)]
        struct Saved<'a, T> {
            #[serde(flatten)]
            record: &'a T,
            saved: &'static str,
        }
        let document = Saved {
            record,
            saved: "server",
        };
        self.output.show(&document, screen)?;
        Ok(Exit::Done)
    }

    /// Shows a page of a list; an empty one is no failure.
    ///
    /// # Errors
    /// When stdout can't be written.
    pub(crate) fn listed<T: Serialize>(
        &self,
        page: &Page<T>,
        empty: &str,
        table: impl FnOnce(&[T]) -> crate::output::Table,
    ) -> Result<Exit, Failure> {
        self.output.show(page, |screen| {
            let table = table(&page.items);
            if table.is_empty() {
                screen.line(empty);
            } else {
                screen.table(&table);
            }
            if let Some(next) = &page.next {
                screen.line(format!("more: add --after {next}"));
            }
        })?;
        Ok(Exit::Done)
    }
}

/// How much of a list to show.
#[derive(Debug, Clone, clap::Args)]
pub(crate) struct ListOptions {
    /// Rows at most
    #[arg(long, value_name = "N", default_value_t = 50, value_parser = clap::value_parser!(u16).range(1..=200))]
    limit: u16,
    /// Go on after a page: the cursor that it ended with
    #[arg(long, value_name = "CURSOR")]
    after: Option<String>,
}

impl ListOptions {
    /// Asks for the page.
    ///
    /// # Errors
    /// What the server says.
    pub(crate) fn page<T: serde::de::DeserializeOwned>(
        &self,
        remote: &Remote,
        path: impl Into<crate::remote::PathQuery>,
    ) -> Result<Page<T>, Failure> {
        Ok(remote.page(path.into(), self.limit, self.after.as_deref())?)
    }
}

/// The store at whose counter the login was opened, or the one that was named.
///
/// # Errors
/// When neither is known.
pub(crate) fn own_store(remote: &Remote, typed: Option<&str>) -> Result<Named<StoreId>, Failure> {
    if let Some(typed) = typed {
        let store = crate::reference::store(remote, typed)?;
        return Ok(Named {
            id: store.id,
            name: store.name.to_string(),
        });
    }
    let me: WhoAmI = remote.get("/auth/me")?;
    me.store.ok_or_else(|| {
        Failure::bad("store", "this login stands at no store's counter")
            .remedy("name the store with --store")
    })
}

/// A change of whether something is in use.
#[derive(Debug, Clone, Copy, clap::Args)]
#[group(multiple = false)]
pub(crate) struct InUse {
    /// Take it out of use
    #[arg(long)]
    retire: bool,
    /// Take it back into use
    #[arg(long)]
    restore: bool,
}

impl InUse {
    /// The change, when one was asked for.
    pub(crate) fn change(self) -> Option<bool> {
        (self.retire || self.restore).then_some(self.retire)
    }
}
