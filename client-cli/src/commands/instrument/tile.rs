//! `instrument tile …`.

use formula::id::TileId;
use formula::naming::TileName;
use formula::wire::v1::{LabD65, NewTile, Tile as Record, TileEdit, TileHue};

use super::{InUse, ListOptions, Run, own_store};
use crate::amounts::lab;
use crate::exit::{Exit, Failure};
use crate::output::{Screen, Table, lab_text};
use crate::reference;
use crate::remote::{PathQuery, Remote, Write, fresh};
use crate::word::word;

/// `instrument tile`.
#[derive(Debug, clap::Subcommand)]
pub(crate) enum Tile {
    /// All tiles, or those of a store
    #[command(after_help = "Example:\n  secondcan instrument tile list --store \"North Quay\"")]
    List {
        /// Only at this store
        #[arg(long, value_name = "STORE")]
        store: Option<String>,
        #[command(flatten)]
        list: ListOptions,
    },
    /// Add a tile to a store's set
    #[command(
        after_help = "Example:\n  secondcan instrument tile add \"brick red\" --hue red\n\n\
        Files of readings name their samples as the tiles are named here."
    )]
    Add {
        /// What it is called, in files too
        name: TileName,
        /// Its hue, when it is a ceramic tile: red and orange ones change color as they warm
        #[arg(long, value_parser = word::<TileHue>())]
        hue: Option<TileHue>,
        /// L*,a*,b* of its certificate, D65, 10°
        #[arg(long, value_name = "L,a,b", value_parser = lab, allow_hyphen_values = true)]
        certified: Option<color::Lab>,
        /// Whose it is; your own store's when left out
        #[arg(long, value_name = "STORE")]
        store: Option<String>,
    },
    /// Change a tile; what is not named stays
    #[command(after_help = "Example:\n  secondcan instrument tile edit \"brick red\" --retire")]
    Edit {
        /// Name or id
        tile: String,
        /// New name
        #[arg(long)]
        name: Option<TileName>,
        /// Its hue
        #[arg(long, value_parser = word::<TileHue>())]
        hue: Option<TileHue>,
        #[command(flatten)]
        in_use: InUse,
    },
}

impl Tile {
    pub(super) fn run(self, run: &Run, remote: &Remote) -> Result<Exit, Failure> {
        match self {
            Self::List { store, list } => {
                let store = store
                    .map(|typed| reference::store(remote, &typed))
                    .transpose()?;
                let path =
                    PathQuery::new("/tiles").with_some("store_id", store.map(|store| store.id));
                let page = list.page::<Record>(remote, path)?;
                run.listed(&page, "no tiles yet", |items| {
                    let mut table = Table::new(&["name", "hue", "certificate", "state", "id"]);
                    for item in items {
                        table.row([
                            item.name.to_string(),
                            item.hue.map_or(String::new(), |hue| hue.to_string()),
                            item.certified_lab
                                .map_or(String::new(), |lab| lab_text(lab.0)),
                            if item.retired { "retired" } else { "in use" }.to_owned(),
                            item.id.to_string(),
                        ]);
                    }
                    table
                })
            }
            Self::Add {
                name,
                hue,
                certified,
                store,
            } => {
                let new = NewTile {
                    id: fresh!(TileId),
                    store_id: own_store(remote, store.as_deref())?.id,
                    name,
                    hue,
                    certified_lab: certified.map(LabD65),
                };
                let write = Write::new("add a tile", "POST", "/tiles", Some(&new))?;
                save(run, remote, &write)
            }
            Self::Edit {
                tile,
                name,
                hue,
                in_use,
            } => {
                let all = remote.all::<Record>("/tiles")?;
                let record = reference::pick("tile", &tile, &all)?;
                let edit = TileEdit {
                    name,
                    hue,
                    retired: in_use.change(),
                };
                let path = format!("/tiles/{}", record.id);
                let write = Write::new("change a tile", "PATCH", path, Some(&edit))?
                    .on_version(record.version);
                save(run, remote, &write)
            }
        }
    }
}

fn save(run: &Run, remote: &Remote, write: &Write) -> Result<Exit, Failure> {
    let saved: Record = remote.write(write)?;
    run.saved(&saved, |screen| draw(screen, &saved))
}

fn draw(screen: &mut Screen, tile: &Record) {
    screen.bold(&tile.name);
    if let Some(hue) = tile.hue {
        screen.pair("hue", hue.as_str());
    }
    if let Some(certified) = tile.certified_lab {
        screen.color("certificate", certified.0, "");
    }
    screen.pair("state", if tile.retired { "retired" } else { "in use" });
    screen.pair("id", tile.id.to_string());
}
