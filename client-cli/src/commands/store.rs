//! `store …`.

use formula::id::StoreId;
use formula::naming::StoreName;
use formula::phone::PhoneRegion;
use formula::wire::v1::{NewStore, Store as Record, StoreEdit};

use super::{ListOptions, Run};
use crate::exit::{Exit, Failure};
use crate::output::{Screen, Table};
use crate::reference;
use crate::remote::{Write, fresh};
use crate::word::word;

/// `store`.
#[derive(Debug, clap::Subcommand)]
pub(crate) enum Store {
    /// All stores
    #[command(after_help = "Example:\n  secondcan store list")]
    List {
        #[command(flatten)]
        list: ListOptions,
    },
    /// Add a store
    #[command(after_help = "Example:\n  secondcan store add \"North Quay\" --region US")]
    Add {
        /// Its name, unique in the chain
        name: StoreName,
        /// Region whose phone numbers are typed without a country code
        #[arg(long, value_parser = word::<PhoneRegion>(), default_value = "US")]
        region: PhoneRegion,
    },
    /// Change a store; what is not named stays
    #[command(
        after_help = "Example:\n  secondcan store edit \"North Quay\" --name \"North Quay, pier 2\""
    )]
    Edit(Edit),
}

/// `store edit`.
#[derive(Debug, clap::Args)]
pub(crate) struct Edit {
    /// Name or id
    store: String,
    /// New name
    #[arg(long)]
    name: Option<StoreName>,
    /// New phone region
    #[arg(long, value_parser = word::<PhoneRegion>())]
    region: Option<PhoneRegion>,
    /// It takes no more work
    #[arg(long, conflicts_with = "open")]
    close: bool,
    /// It takes work again
    #[arg(long)]
    open: bool,
}

impl Store {
    pub(super) fn run(self, run: &Run) -> Result<Exit, Failure> {
        let remote = run.remote()?;
        match self {
            Self::List { list } => {
                let page = list.page::<Record>(&remote, "/stores")?;
                run.listed(&page, "no stores yet", |items| {
                    let mut table = Table::new(&["name", "region", "state", "id"]);
                    for item in items {
                        table.row([
                            item.name.to_string(),
                            item.phone_region.to_string(),
                            state(item).to_owned(),
                            item.id.to_string(),
                        ]);
                    }
                    table
                })
            }
            Self::Add { name, region } => {
                let new = NewStore {
                    id: fresh!(StoreId),
                    name,
                    phone_region: region,
                };
                let write = Write::new("add a store", "POST", "/stores", Some(&new))?;
                let saved: Record = remote.write(&write)?;
                run.saved(&saved, |screen| draw(screen, &saved))
            }
            Self::Edit(edit) => {
                let record = reference::store(&remote, &edit.store)?;
                let change = StoreEdit {
                    name: edit.name,
                    phone_region: edit.region,
                    closed: (edit.close || edit.open).then_some(edit.close),
                };
                let write = Write::new(
                    "change a store",
                    "PATCH",
                    format!("/stores/{}", record.id),
                    Some(&change),
                )?
                .on_version(record.version);
                let saved: Record = remote.write(&write)?;
                run.saved(&saved, |screen| draw(screen, &saved))
            }
        }
    }
}

const fn state(store: &Record) -> &'static str {
    if store.closed { "closed" } else { "open" }
}

fn draw(screen: &mut Screen, store: &Record) {
    screen.bold(&store.name);
    screen.pair("region", store.phone_region.to_string());
    screen.pair("state", state(store));
    screen.pair("id", store.id.to_string());
}
