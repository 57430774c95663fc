//! `person …`: the logins.

use formula::id::{PersonId, StoreId};
use formula::naming::{LoginName, PersonName};
use formula::role::Role;
use formula::wire::v1::{
    CustomerLink, NewPerson, OneTimeToken, Page, Person as Record, PersonAdded, PersonEdit,
};

use super::{ListOptions, Run};
use crate::exit::{Exit, Failure};
use crate::output::{Screen, Table, time_text};
use crate::reference;
use crate::remote::{Remote, Write, fresh};
use crate::word::word;

/// `person`.
#[derive(Debug, clap::Subcommand)]
pub(crate) enum Person {
    /// All logins that you may see
    #[command(after_help = "Example:\n  secondcan person list")]
    List {
        #[command(flatten)]
        list: ListOptions,
    },
    /// Add a login; prints a one-time token by which its person chooses the password
    #[command(
        after_help = "Examples:\n  secondcan person add odile --name \"Odile Tamm\" --role clerk --store \"North Quay\"\n  \
        secondcan person add brannock --name \"Ivo Brannock\" --role contractor"
    )]
    Add(Add),
    /// Change a login; what is not named stays
    #[command(after_help = "Example:\n  secondcan person edit odile --role clerk --role manager")]
    Edit(Edit),
    /// Suspend a login: its sessions end at once
    #[command(after_help = "Example:\n  secondcan person suspend odile")]
    Suspend {
        /// Login name or id
        person: String,
    },
    /// Let a suspended login in again
    #[command(after_help = "Example:\n  secondcan person restore odile")]
    Restore {
        /// Login name or id
        person: String,
    },
    /// Give a one-time token for a new password
    #[command(after_help = "Example:\n  secondcan person reset odile")]
    Reset {
        /// Login name or id
        person: String,
    },
    /// Let a contractor see a customer
    #[command(after_help = "Example:\n  secondcan person link brannock \"Brannock & Daughters\"")]
    Link {
        /// Login name or id of the contractor
        person: String,
        /// Name or id of the customer
        customer: String,
    },
    /// Take a customer away from a contractor
    #[command(after_help = "Example:\n  secondcan person unlink brannock \"Brannock & Daughters\"")]
    Unlink {
        /// Login name or id of the contractor
        person: String,
        /// Name or id of the customer
        customer: String,
    },
    /// The customers that a contractor sees
    #[command(after_help = "Example:\n  secondcan person links brannock")]
    Links {
        /// Login name or id of the contractor
        person: String,
        #[command(flatten)]
        list: ListOptions,
    },
}

/// `person add`.
#[derive(Debug, clap::Args)]
pub(crate) struct Add {
    /// The name typed at login
    login: LoginName,
    /// The name that others read
    #[arg(long)]
    name: PersonName,
    /// What the person may do; repeat for more
    #[arg(long = "role", required = true, value_parser = word::<Role>())]
    roles: Vec<Role>,
    /// A store the person works at: name or id; repeat for more
    #[arg(long = "store", value_name = "STORE")]
    stores: Vec<String>,
}

/// `person edit`.
#[derive(Debug, clap::Args)]
pub(crate) struct Edit {
    /// Login name or id
    person: String,
    /// The name that others read
    #[arg(long)]
    name: Option<PersonName>,
    /// All roles anew; repeat for more
    #[arg(long = "role", value_parser = word::<Role>())]
    roles: Vec<Role>,
    /// All stores anew; repeat for more
    #[arg(long = "store", value_name = "STORE")]
    stores: Vec<String>,
    /// The person works at no store any more
    #[arg(long, conflicts_with = "stores")]
    no_stores: bool,
}

impl Person {
    pub(super) fn run(self, run: &Run) -> Result<Exit, Failure> {
        let remote = run.remote()?;
        match self {
            Self::List { list } => {
                let page = list.page::<Record>(&remote, "/persons")?;
                run.listed(&page, "no logins yet", table)
            }
            Self::Add(add) => add.run(run, &remote),
            Self::Edit(edit) => {
                let record = reference::person(&remote, &edit.person)?;
                let change = PersonEdit {
                    display_name: edit.name,
                    roles: (!edit.roles.is_empty()).then_some(edit.roles),
                    stores: if edit.no_stores || !edit.stores.is_empty() {
                        Some(store_ids(&remote, &edit.stores)?)
                    } else {
                        None
                    },
                    suspended: None,
                };
                change_person(run, &remote, &record, &change)
            }
            Self::Suspend { person } => suspend(run, &remote, &person, true),
            Self::Restore { person } => suspend(run, &remote, &person, false),
            Self::Reset { person } => {
                let record = reference::person(&remote, &person)?;
                let write = Write::new(
                    "reset a password",
                    "POST",
                    format!("/persons/{}/reset", record.id),
                    None::<&()>,
                )?;
                let token: OneTimeToken = remote.write(&write)?;
                run.saved(&token, |screen| {
                    screen.line(format!(
                        "all sessions of {} have ended",
                        record.display_name
                    ));
                    draw_token(screen, &token);
                })
            }
            Self::Link { person, customer } => {
                let write = link(&remote, &person, &customer, "PUT")?;
                let saved: CustomerLink = remote.write(&write)?;
                run.saved(&saved, |screen| {
                    screen.line(format!("{person} now sees {}", saved.customer_name));
                })
            }
            Self::Unlink { person, customer } => {
                let write = link(&remote, &person, &customer, "DELETE")?;
                remote.write_silent(&write)?;
                run.saved(&serde_json::json!({}), |screen| {
                    screen.line(format!("{person} no longer sees {customer}"));
                })
            }
            Self::Links { person, list } => {
                let record = reference::person(&remote, &person)?;
                let page: Page<CustomerLink> =
                    list.page(&remote, format!("/persons/{}/customers", record.id))?;
                run.listed(&page, "no customers linked", |items| {
                    let mut table = Table::new(&["customer", "since", "id"]);
                    for item in items {
                        table.row([
                            item.customer_name.clone(),
                            time_text(item.linked_at),
                            item.customer_id.to_string(),
                        ]);
                    }
                    table
                })
            }
        }
    }
}

impl Add {
    fn run(self, run: &Run, remote: &Remote) -> Result<Exit, Failure> {
        let new = NewPerson {
            id: fresh!(PersonId),
            login: self.login,
            display_name: self.name,
            roles: self.roles,
            stores: store_ids(remote, &self.stores)?,
        };
        let write = Write::new("add a login", "POST", "/persons", Some(&new))?;
        let saved: PersonAdded = remote.write(&write)?;
        run.saved(&saved, |screen| {
            draw(screen, &saved.person);
            match &saved.claim {
                Some(token) => draw_token(screen, token),
                None => screen
                    .line("the token was shown before; `secondcan person reset` gives another"),
            }
        })
    }
}

fn store_ids(remote: &Remote, typed: &[String]) -> Result<Vec<StoreId>, Failure> {
    if typed.is_empty() {
        return Ok(Vec::new());
    }
    let all = remote.all::<formula::wire::v1::Store>("/stores")?;
    typed
        .iter()
        .map(|typed| reference::pick("store", typed, &all).map(|store| store.id))
        .collect()
}

fn link(remote: &Remote, person: &str, customer: &str, method: &str) -> Result<Write, Failure> {
    let person = reference::person(remote, person)?.id;
    let customer = reference::customer(remote, customer)?;
    Write::new(
        "link a contractor",
        method,
        format!("/persons/{person}/customers/{customer}"),
        None::<&()>,
    )
}

fn suspend(run: &Run, remote: &Remote, typed: &str, suspended: bool) -> Result<Exit, Failure> {
    let record = reference::person(remote, typed)?;
    let change = PersonEdit {
        display_name: None,
        roles: None,
        stores: None,
        suspended: Some(suspended),
    };
    change_person(run, remote, &record, &change)
}

fn change_person(
    run: &Run,
    remote: &Remote,
    record: &Record,
    change: &PersonEdit,
) -> Result<Exit, Failure> {
    let write = Write::new(
        "change a login",
        "PATCH",
        format!("/persons/{}", record.id),
        Some(change),
    )?
    .on_version(record.version);
    let saved: Record = remote.write(&write)?;
    run.saved(&saved, |screen| draw(screen, &saved))
}

fn roles(person: &Record) -> String {
    person
        .roles
        .iter()
        .map(|role| role.human_name())
        .collect::<Vec<_>>()
        .join(", ")
}

const fn state(person: &Record) -> &'static str {
    match (person.suspended, person.has_password) {
        (true, _) => "suspended",
        (false, true) => "active",
        (false, false) => "no password yet",
    }
}

fn table(items: &[Record]) -> Table {
    let mut table = Table::new(&["login", "name", "roles", ">stores", "state", "id"]);
    for item in items {
        table.row([
            item.login.to_string(),
            item.display_name.to_string(),
            roles(item),
            item.stores.len().to_string(),
            state(item).to_owned(),
            item.id.to_string(),
        ]);
    }
    table
}

fn draw(screen: &mut Screen, person: &Record) {
    screen.bold(&person.display_name);
    screen.pair("login", person.login.as_str());
    screen.pair("roles", roles(person));
    screen.pair("state", state(person));
    screen.pair("id", person.id.to_string());
}

fn draw_token(screen: &mut Screen, token: &OneTimeToken) {
    screen.gap();
    screen.line("one-time token, shown once; hand it over in person:");
    screen.bold(format!("    {}", token.token));
    screen.line(format!(
        "its person runs `secondcan claim` before {}",
        time_text(token.expires_at)
    ));
}
