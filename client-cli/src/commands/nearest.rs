//! `nearest`: at the server, or in a library on this machine.

use std::path::PathBuf;

use color::Lab;
use formula::sheen::SheenWord;
use formula::wire::v1::{
    Backing, Geometry, LabD65, NearestAnswer, NearestRequest, ShopLight, SpectrumValues, Specular,
};

use super::{Run, library};
use crate::amounts;
use crate::exit::{Exit, Failure};
use crate::output::{Table, time_text};
use crate::reference;
use crate::spectrum_file::SampleOptions;
use crate::word::word;

/// The nearest formulas to a color, across the chain; or the nearest spectra of a library on this machine
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Examples:\n  secondcan nearest --spectrum cushion.csv --sheen satin --limit 5\n  \
    secondcan nearest --lab 52.1,-3.4,10 --verified-only\n  \
    secondcan nearest --library chips --spectrum cushion.csv\n  \
    secondcan nearest --library chips --queries samples.csv --json"
)]
#[command(group = clap::ArgGroup::new("query").required(true).multiple(false).args(["spectrum", "lab", "queries"]))]
pub(crate) struct Nearest {
    #[command(flatten)]
    sample: SampleOptions,
    /// The color itself: L,a,b under D65 and 10°
    #[arg(long, value_name = "L,a,b", value_parser = amounts::lab)]
    lab: Option<Lab>,
    /// How many at most
    #[arg(long, value_name = "N", default_value_t = 10, value_parser = clap::value_parser!(u16).range(1..))]
    limit: u16,
    /// Search in a library on this machine; no server is asked
    #[arg(long, value_name = "DIR", conflicts_with_all = ["product", "base", "sheen", "store", "verified_only"])]
    library: Option<PathBuf>,
    /// Many colors: a file of spectra, or CSV with columns L,a,b and maybe name
    #[arg(long, value_name = "FILE", requires = "library")]
    queries: Option<PathBuf>,
    /// Only of this product: name or id
    #[arg(long, value_name = "PRODUCT")]
    product: Option<String>,
    /// Only in this base: name or id
    #[arg(long, value_name = "BASE")]
    base: Option<String>,
    /// Only in this sheen
    #[arg(long, value_parser = word::<SheenWord>())]
    sheen: Option<SheenWord>,
    /// Only made at this store: name or id
    #[arg(long, value_name = "STORE")]
    store: Option<String>,
    /// Only drawn down and measured dry
    #[arg(long)]
    verified_only: bool,
    /// Geometry of the instrument that read the color asked for (CIE 15)
    #[arg(long, value_parser = word::<Geometry>())]
    geometry: Option<Geometry>,
    /// Whether a sphere instrument caught the mirror reflection
    #[arg(long, value_parser = word::<Specular>())]
    specular: Option<Specular>,
    /// What lay behind the sample
    #[arg(long, value_parser = word::<Backing>())]
    backing: Option<Backing>,
}

impl Nearest {
    pub(super) fn run(self, run: &Run) -> Result<Exit, Failure> {
        if let Some(folder) = &self.library {
            let ask = library::Ask {
                folder,
                sample: &self.sample,
                lab: self.lab,
                queries: self.queries.as_deref(),
                limit: usize::from(self.limit),
            };
            return ask.run(run);
        }
        if self.limit > 200 {
            return Err(Failure::bad("limit", "a server gives at most 200 formulas")
                .value(self.limit.to_string())
                .remedy("ask for fewer"));
        }
        let spectrum = self.sample.read()?;
        let remote = run.remote()?;
        let product = self
            .product
            .map(|typed| reference::product(&remote, &typed))
            .transpose()?;
        let base = self
            .base
            .map(|typed| {
                reference::base(&remote, &typed, product.as_ref().map(|product| product.id))
            })
            .transpose()?;
        let store = self
            .store
            .map(|typed| reference::store(&remote, &typed))
            .transpose()?;
        let request = NearestRequest {
            lab: self.lab.map(LabD65),
            spectrum: spectrum.map(|one| SpectrumValues::from(&one.reading.spectrum)),
            limit: self.limit,
            product_id: product.map(|product| product.id),
            base_id: base.map(|base| base.id),
            sheen: self.sheen,
            store_id: store.map(|store| store.id),
            verified_only: self.verified_only,
            geometry: self.geometry,
            specular: self.specular,
            backing: self.backing,
        };
        let answer: NearestAnswer = remote.ask("/nearest", &request)?;
        run.output().show(&answer, |screen| {
            screen.color("asked for", answer.query.0, "");
            screen.gap();
            if answer.results.is_empty() {
                screen.line(format!(
                    "no formula found; {} passed the filters",
                    answer.examined
                ));
                return;
            }
            let mut table = Table::new(&[
                ">ΔE00",
                "verdict",
                "it is",
                "label",
                "product",
                "base",
                "sheen",
                "store",
                "made",
                ">tints",
                "state",
                "shop light",
            ]);
            for hit in &answer.results {
                let verified = if hit.verified {
                    "drawn down"
                } else {
                    "not yet verified"
                };
                table.row([
                    format!("{:.2}", hit.de2000),
                    hit.verdict_phrase.clone(),
                    hit.direction.clone(),
                    hit.label_code.to_string(),
                    hit.product.name.clone(),
                    hit.base.name.clone(),
                    hit.sheen.human_name().to_owned(),
                    hit.store.name.clone(),
                    time_text(hit.made_at),
                    hit.tints.to_string(),
                    if hit.bad_tints > 0 {
                        format!("BAD TINT ({}), {verified}", hit.bad_tints)
                    } else {
                        verified.to_owned()
                    },
                    shop_light(&hit.shop_light),
                ]);
            }
            screen.table(&table);
            for hit in &answer.results {
                for warning in &hit.warnings {
                    screen.warn(format!("{}: {warning}", hit.label_code));
                }
            }
            screen.gap();
            screen.line(format!("{} formulas examined", answer.examined));
        })?;
        Ok(if answer.results.is_empty() {
            Exit::NothingFound
        } else {
            Exit::Done
        })
    }
}

fn shop_light(judged: &ShopLight) -> String {
    match judged {
        ShopLight::Judged { parts, worst, .. } => format!(
            "{}{:.2} under {}",
            if *parts { "PARTS: " } else { "" },
            worst.de2000,
            worst.light.0
        ),
        ShopLight::Unjudged { .. } => "not known".to_owned(),
    }
}
