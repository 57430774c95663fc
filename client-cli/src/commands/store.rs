//! `store …`.

use color::Illuminant;
use formula::id::StoreId;
use formula::naming::StoreName;
use formula::phone::PhoneRegion;
use formula::wire::v1::{Light, NewStore, Store as Record, StoreEdit};

use super::{ListOptions, Run, own_store};
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
    /// The lights that a store judges under: shows them, or chooses others
    #[command(
        after_help = "Examples:\n  secondcan store lights\n  secondcan store lights \"North Quay\" --set D65,A,F11\n\n\
            The first light is the one that the others are compared with. The observer is 10°."
    )]
    Lights {
        /// Name or id; your own counter's store when left out
        store: Option<String>,
        /// 1 to 6 lights: A, C, D50, D55, D65, D75, F2, F7, F11, LED-B1 to LED-B5
        #[arg(long, value_name = "LIGHTS", value_delimiter = ',')]
        set: Vec<Illuminant>,
    },
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
                    lights: None,
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
            Self::Lights { store, set } => {
                let record = match &store {
                    Some(store) => reference::store(&remote, store)?,
                    None => {
                        let own = own_store(&remote, None)?;
                        remote.get(format!("/stores/{}", own.id))?
                    }
                };
                if set.is_empty() {
                    run.output().show(&record, |screen| draw(screen, &record))?;
                    return Ok(Exit::Done);
                }
                let change = StoreEdit {
                    name: None,
                    phone_region: None,
                    closed: None,
                    lights: Some(set.into_iter().map(Light).collect()),
                };
                let write = Write::new(
                    "choose a store's lights",
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
    let lights: Vec<&str> = store.lights.iter().map(|light| light.0.name()).collect();
    screen.pair("lights", lights.join(", "));
    screen.pair("id", store.id.to_string());
}
