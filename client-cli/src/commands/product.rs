//! `product …`.

use std::str::FromStr;

use formula::id::{ProductId, SheenId};
use formula::naming::ProductName;
use formula::sheen::SheenWord;
use formula::wire::v1::{Carrier, NewProduct, Product as Record, ProductEdit, Sheen};

use super::{InUse, ListOptions, Run};
use crate::exit::{Exit, Failure};
use crate::output::{Screen, Table};
use crate::reference;
use crate::remote::{Write, fresh};
use crate::word::{self, word};

/// `product`.
#[derive(Debug, clap::Subcommand)]
pub(crate) enum Product {
    /// All products
    #[command(after_help = "Example:\n  secondcan product list")]
    List {
        #[command(flatten)]
        list: ListOptions,
    },
    /// Add a product
    #[command(
        after_help = "Example:\n  secondcan product add \"Interior wall, waterborne\" --carrier water --sheen matte --sheen satin=26-40"
    )]
    Add {
        /// Its name, unique
        name: ProductName,
        /// What carries it; decides which cautions are shown
        #[arg(long, value_parser = word::<Carrier>())]
        carrier: Carrier,
        /// A sheen, with its gloss units at 60° when they are not the usual ones; repeat for more
        #[arg(long = "sheen", required = true, value_name = "SHEEN[=MIN-MAX]")]
        sheens: Vec<SheenArg>,
    },
    /// Change a product; what is not named stays
    #[command(
        after_help = "Example:\n  secondcan product edit \"Interior wall\" --add-sheen eggshell"
    )]
    Edit(Edit),
}

/// `product edit`.
#[derive(Debug, clap::Args)]
pub(crate) struct Edit {
    /// Name or id
    product: String,
    /// New name
    #[arg(long)]
    name: Option<ProductName>,
    /// One more sheen; repeat for more
    #[arg(long = "add-sheen", value_name = "SHEEN[=MIN-MAX]")]
    add_sheens: Vec<SheenArg>,
    #[command(flatten)]
    in_use: InUse,
}

/// A sheen and its gloss on the command line.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct SheenArg {
    word: SheenWord,
    min: u8,
    max: u8,
}

impl FromStr for SheenArg {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let Some((name, range)) = text.split_once('=') else {
            let word: SheenWord = word::read(text)?;
            let usual = word.nominal_gloss_60();
            return Ok(Self {
                word,
                min: usual.min,
                max: usual.max.unwrap_or(100),
            });
        };
        let wrong = || {
            format!(
                "gloss {range:?} is not two whole numbers from 0 to 100, the smaller first, such as 26-40"
            )
        };
        let (min, max) = range.split_once('-').ok_or_else(wrong)?;
        let number = |text: &str| {
            text.trim()
                .parse::<u8>()
                .ok()
                .filter(|units| *units <= 100)
                .ok_or_else(wrong)
        };
        let (min, max) = (number(min)?, number(max)?);
        if min > max {
            return Err(wrong());
        }
        Ok(Self {
            word: word::read(name)?,
            min,
            max,
        })
    }
}

impl SheenArg {
    fn sheen(self) -> Sheen {
        Sheen {
            id: fresh!(SheenId),
            word: self.word,
            gloss60_min: self.min,
            gloss60_max: self.max,
        }
    }
}

impl Product {
    pub(super) fn run(self, run: &Run) -> Result<Exit, Failure> {
        let remote = run.remote()?;
        match self {
            Self::List { list } => {
                let page = list.page::<Record>(&remote, "/products")?;
                run.listed(&page, "no products yet", |items| {
                    let mut table = Table::new(&["name", "carrier", "sheens", "state", "id"]);
                    for item in items {
                        let sheens: Vec<&str> = item
                            .sheens
                            .iter()
                            .map(|sheen| sheen.word.human_name())
                            .collect();
                        table.row([
                            item.name.to_string(),
                            carrier(item.carrier).to_owned(),
                            sheens.join(", "),
                            if item.retired { "retired" } else { "in use" }.to_owned(),
                            item.id.to_string(),
                        ]);
                    }
                    table
                })
            }
            Self::Add {
                name,
                carrier,
                sheens,
            } => {
                let new = NewProduct {
                    id: fresh!(ProductId),
                    name,
                    carrier,
                    sheens: sheens.into_iter().map(SheenArg::sheen).collect(),
                };
                let write = Write::new("add a product", "POST", "/products", Some(&new))?;
                let saved: Record = remote.write(&write)?;
                run.saved(&saved, |screen| draw(screen, &saved))
            }
            Self::Edit(edit) => {
                let record = reference::product(&remote, &edit.product)?;
                let change = ProductEdit {
                    name: edit.name,
                    retired: edit.in_use.change(),
                    add_sheens: edit.add_sheens.into_iter().map(SheenArg::sheen).collect(),
                };
                let write = Write::new(
                    "change a product",
                    "PATCH",
                    format!("/products/{}", record.id),
                    Some(&change),
                )?
                .on_version(record.version);
                let saved: Record = remote.write(&write)?;
                run.saved(&saved, |screen| draw(screen, &saved))
            }
        }
    }
}

const fn carrier(carrier: Carrier) -> &'static str {
    match carrier {
        Carrier::Water => "water",
        Carrier::Solvent => "solvent",
    }
}

fn draw(screen: &mut Screen, product: &Record) {
    screen.bold(&product.name);
    screen.pair("carrier", carrier(product.carrier));
    for sheen in &product.sheens {
        screen.pair(
            "sheen",
            format!(
                "{}, {} to {} at 60°",
                sheen.word.human_name(),
                sheen.gloss60_min,
                sheen.gloss60_max
            ),
        );
    }
    screen.pair("state", if product.retired { "retired" } else { "in use" });
    screen.pair("id", product.id.to_string());
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sheens_take_the_usual_gloss_or_one_of_their_own() {
        let satin: SheenArg = "Satin=26-40".parse().unwrap();
        assert_eq!(
            (satin.word, satin.min, satin.max),
            (SheenWord::Satin, 26, 40)
        );
        let high: SheenArg = "high gloss".parse().unwrap();
        assert_eq!((high.min, high.max), (85, 100));
        for bad in ["shiny", "satin=40-26", "satin=1", "satin=1-300", "satin=-"] {
            assert!(bad.parse::<SheenArg>().is_err(), "{bad}");
        }
    }
}
