//! `base …`.

use formula::base::{BaseKind, BaseRoom};
use formula::id::BaseId;
use formula::naming::BaseName;
use formula::wire::v1::{Base as Record, BaseEdit, NewBase};

use super::{InUse, ListOptions, Run};
use crate::amounts;
use crate::exit::{Exit, Failure};
use crate::output::{Screen, Table};
use crate::reference;
use crate::remote::{PathQuery, Remote, Write, fresh};
use crate::word::word;

/// `base`.
#[derive(Debug, clap::Subcommand)]
pub(crate) enum Base {
    /// All bases, or those of a product
    #[command(after_help = "Example:\n  secondcan base list --product \"Interior wall\"")]
    List {
        /// Only of this product: name or id
        #[arg(long, value_name = "PRODUCT")]
        product: Option<String>,
        #[command(flatten)]
        list: ListOptions,
    },
    /// Add a base to a product
    #[command(
        after_help = "Example:\n  secondcan base add deep --product \"Interior wall\" --kind deep \\\n      \
        --room quart=850+89 --room gallon=3420+355"
    )]
    Add {
        /// Its name, unique within the product
        name: BaseName,
        /// The product: name or id
        #[arg(long, value_name = "PRODUCT")]
        product: String,
        /// From white to clear
        #[arg(long, value_parser = word::<BaseKind>())]
        kind: BaseKind,
        /// Fill and room for colorant in ml in a can size; repeat for each size
        #[arg(long = "room", required = true, value_name = "SIZE=FILL+ROOM", value_parser = amounts::room)]
        rooms: Vec<BaseRoom>,
    },
    /// Change a base; what is not named stays
    #[command(
        after_help = "Example:\n  secondcan base edit deep --product \"Interior wall\" --retire"
    )]
    Edit(Edit),
}

/// `base edit`.
#[derive(Debug, clap::Args)]
pub(crate) struct Edit {
    /// Name or id
    base: String,
    /// The product it belongs to, when several have a base of that name
    #[arg(long, value_name = "PRODUCT")]
    product: Option<String>,
    /// New name
    #[arg(long)]
    name: Option<BaseName>,
    /// All rooms anew; repeat for each size
    #[arg(long = "room", value_name = "SIZE=FILL+ROOM", value_parser = amounts::room)]
    rooms: Vec<BaseRoom>,
    #[command(flatten)]
    in_use: InUse,
}

impl Base {
    pub(super) fn run(self, run: &Run) -> Result<Exit, Failure> {
        let remote = run.remote()?;
        match self {
            Self::List { product, list } => {
                let product = product
                    .map(|typed| reference::product(&remote, &typed))
                    .transpose()?;
                let path = PathQuery::new("/bases")
                    .with_some("product_id", product.map(|product| product.id));
                let page = list.page::<Record>(&remote, path)?;
                run.listed(&page, "no bases yet", |items| {
                    let mut table = Table::new(&["name", "kind", "sizes", "state", "id"]);
                    for item in items {
                        let sizes: Vec<&str> = item
                            .rooms
                            .iter()
                            .map(|room| room.size().human_name())
                            .collect();
                        table.row([
                            item.name.to_string(),
                            item.kind.to_string(),
                            sizes.join(", "),
                            if item.retired { "retired" } else { "in use" }.to_owned(),
                            item.id.to_string(),
                        ]);
                    }
                    table
                })
            }
            Self::Add {
                name,
                product,
                kind,
                rooms,
            } => {
                let new = NewBase {
                    id: fresh!(BaseId),
                    product_id: reference::product(&remote, &product)?.id,
                    name,
                    kind,
                    rooms,
                };
                let write = Write::new("add a base", "POST", "/bases", Some(&new))?;
                save(run, &remote, &write)
            }
            Self::Edit(edit) => {
                let product = edit
                    .product
                    .map(|typed| reference::product(&remote, &typed))
                    .transpose()?;
                let record =
                    reference::base(&remote, &edit.base, product.map(|product| product.id))?;
                let change = BaseEdit {
                    name: edit.name,
                    rooms: (!edit.rooms.is_empty()).then_some(edit.rooms),
                    retired: edit.in_use.change(),
                };
                let write = Write::new(
                    "change a base",
                    "PATCH",
                    format!("/bases/{}", record.id),
                    Some(&change),
                )?
                .on_version(record.version);
                save(run, &remote, &write)
            }
        }
    }
}

fn save(run: &Run, remote: &Remote, write: &Write) -> Result<Exit, Failure> {
    let saved: Record = remote.write(write)?;
    run.saved(&saved, |screen| draw(screen, &saved))
}

fn draw(screen: &mut Screen, base: &Record) {
    screen.bold(&base.name);
    screen.pair("kind", base.kind.to_string());
    for room in &base.rooms {
        screen.pair(
            "can",
            format!(
                "{}: filled to {}, room for {}",
                room.size().human_name(),
                room.fill().volume(),
                room.room().volume()
            ),
        );
    }
    screen.pair("state", if base.retired { "retired" } else { "in use" });
    screen.pair("id", base.id.to_string());
}
