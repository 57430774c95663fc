//! `instrument verify` and `instrument drift`.

use std::collections::BTreeMap;
use std::path::PathBuf;

use formula::id::TileReadingId;
use formula::wire::v1::{
    NewTileReading, SpectrumValues, Specular, Tile, TileDrift, TileReading, TileStanding,
};
use serde::Serialize;
use time::OffsetDateTime;

use super::{Run, pick};
use crate::conditions;
use crate::exit::{Exit, Failure};
use crate::output::{Screen, Table, time_text};
use crate::plot::{DriftChart, Figure, PlotOptions};
use crate::reference;
use crate::remote::{PathQuery, Remote, Write, fresh, now};
use crate::spectrum_file::{self, ReadingOptions};
use crate::word::word;

/// Verify an instrument by its tiles: each sample of the file is named after a tile
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Example:\n  secondcan instrument verify \"Counter sphere 2\" --spectrum tiles.csv --temperature 22.5\n\n\
    A reading is compared with the first 20 of its tile; there are limits from 10 readings on 3 days on."
)]
pub(crate) struct Verify {
    /// Name, serial number or id
    instrument: String,
    /// File with the tiles' spectra; - is stdin
    #[arg(long, value_name = "FILE")]
    spectrum: PathBuf,
    #[command(flatten)]
    reading: ReadingOptions,
    /// Whether a sphere instrument caught the mirror reflection
    #[arg(long, value_parser = word::<Specular>())]
    specular: Option<Specular>,
    /// Temperature in °C: red and orange tiles change color as they warm
    #[arg(long, value_name = "C", allow_negative_numbers = true)]
    temperature: Option<f32>,
    /// When they were read; now when left out
    #[arg(long, value_name = "TIME", value_parser = conditions::time)]
    read_at: Option<OffsetDateTime>,
}

/// How the readings of an instrument's tiles move over time
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Example:\n  secondcan instrument drift \"Counter sphere 2\" --tile \"brick red\" --plot --svg drift.svg"
)]
pub(crate) struct Drift {
    /// Name, serial number or id
    instrument: String,
    /// Only this tile: name or id
    #[arg(long, value_name = "TILE")]
    tile: Option<String>,
    #[command(flatten)]
    plot: PlotOptions,
}

#[derive(Serialize)]
struct Readings<'a> {
    readings: &'a [TileReading],
}

impl Verify {
    pub(super) fn run(self, run: &Run, remote: &Remote) -> Result<Exit, Failure> {
        let record = pick(remote, &self.instrument)?;
        let file = spectrum_file::read(&self.spectrum, self.reading)?;
        let own = PathQuery::new("/tiles").with("store_id", record.store_id);
        let mut tiles = remote.all::<Tile>(own)?;
        if tiles.is_empty() {
            tiles = remote.all::<Tile>("/tiles")?;
        }
        let read_at = self.read_at.unwrap_or_else(now);
        // All names are looked up before the first reading is kept.
        let writes = file
            .readings
            .iter()
            .map(|reading| {
                let new = NewTileReading {
                    id: fresh!(TileReadingId),
                    tile_id: reference::pick("tile", &reading.name, &tiles)?.id,
                    spectrum: SpectrumValues::from(&reading.spectrum),
                    ends_extended: reading.spectrum.ends_extended(),
                    specular: self.specular,
                    temperature_c: self.temperature,
                    read_at,
                };
                let path = format!("/instruments/{}/tile-readings", record.id);
                Write::new("keep a reading of a tile", "POST", path, Some(&new))
            })
            .collect::<Result<Vec<Write>, Failure>>()?;
        let mut kept: Vec<TileReading> = Vec::new();
        let mut failed = None;
        for write in &writes {
            // One that could not be sent is kept on this machine, and so are those after it.
            match remote.write(write) {
                Ok(reading) => kept.push(reading),
                Err(failure) => failed = failed.or(Some(failure)),
            }
        }
        if let Some(failure) = failed {
            return Err(failure);
        }
        run.saved(&Readings { readings: &kept }, |screen| {
            screen.bold(&record.name);
            screen.table(&table(&kept));
            remarks(screen, &kept);
        })
    }
}

impl Drift {
    pub(super) fn run(self, run: &Run, remote: &Remote) -> Result<Exit, Failure> {
        let record = pick(remote, &self.instrument)?;
        let tile = match &self.tile {
            Some(typed) => {
                let all = remote.all::<Tile>("/tiles")?;
                Some(reference::pick("tile", typed, &all)?.id)
            }
            None => None,
        };
        let path = PathQuery::new(format!("/instruments/{}/tile-readings", record.id))
            .with_some("tile_id", tile);
        let mut readings = remote.all::<TileReading>(path)?;
        readings.sort_by_key(|reading| (reading.read_at, reading.id));
        let mut by_tile: BTreeMap<String, Vec<TileReading>> = BTreeMap::new();
        for reading in &readings {
            let tile = by_tile.entry(reading.tile.name.clone()).or_default();
            tile.push(reading.clone());
        }
        let figures: Vec<Figure> = by_tile
            .iter()
            .filter_map(|(tile, readings)| figure(tile, record.name.as_str(), readings))
            .collect();
        self.plot.write(&figures)?;
        run.output().show(
            &Readings {
                readings: &readings,
            },
            |screen| {
                screen.bold(&record.name);
                if readings.is_empty() {
                    screen.line("no tile was read on it yet");
                    return;
                }
                let latest: Vec<TileReading> = match tile {
                    Some(_) => readings.clone(),
                    None => by_tile
                        .values()
                        .filter_map(|readings| readings.last().cloned())
                        .collect(),
                };
                screen.table(&table(&latest));
                remarks(screen, &latest);
                self.plot.draw(screen, &figures);
                if self.plot.wanted() && figures.len() < by_tile.len() {
                    screen.line("tiles without limits yet are not drawn");
                }
            },
        )?;
        Ok(Exit::Done)
    }
}

/// The chart of a tile that has limits.
fn figure(tile: &str, instrument: &str, readings: &[TileReading]) -> Option<Figure> {
    let limits = readings.last()?.drift.limits?;
    let chart = DriftChart {
        tile: format!("{tile} on {instrument}"),
        value: "ΔE00 from the mean of its baseline".to_owned(),
        points: readings
            .iter()
            .filter_map(|reading| Some((reading.read_at, reading.drift.de2000?)))
            .collect(),
        center: limits.mcdm,
        upper: limits.action,
        lower: None,
    };
    Some(chart.figure())
}

fn table(readings: &[TileReading]) -> Table {
    let mut table = Table::new(&[
        "tile", "read", ">°C", ">ΔE00", ">warning", ">action", "stands",
    ]);
    let number = |value: Option<f64>| value.map_or(String::new(), |value| format!("{value:.3}"));
    for reading in readings {
        let drift = &reading.drift;
        table.row([
            reading.tile.name.clone(),
            time_text(reading.read_at),
            reading
                .temperature_c
                .map_or(String::new(), |celsius| format!("{celsius:.1}")),
            number(drift.de2000),
            number(drift.limits.map(|limits| limits.warning)),
            number(drift.limits.map(|limits| limits.action)),
            stands(drift),
        ]);
    }
    table
}

fn stands(drift: &TileDrift) -> String {
    match (drift.standing, &drift.no_limits_yet) {
        (TileStanding::Within, _) => "within".to_owned(),
        (TileStanding::Warning, _) => "WARNING".to_owned(),
        (TileStanding::Action, _) => "ACTION".to_owned(),
        (TileStanding::NotKnown, Some(why)) => why.clone(),
        (TileStanding::NotKnown, None) => "not known".to_owned(),
    }
}

/// What to do, and what temperature explains.
fn remarks(screen: &mut Screen, readings: &[TileReading]) {
    for reading in readings {
        let tile = &reading.tile.name;
        match reading.drift.standing {
            TileStanding::Warning => screen.warn(format!(
                "{tile} is beyond its warning limit: clean the tile and read it again"
            )),
            TileStanding::Action => screen.warn(format!(
                "{tile} is beyond its action limit: calibrate and read it again; if it stays there, have the \
                 instrument serviced"
            )),
            TileStanding::NotKnown | TileStanding::Within => {}
        }
        if let Some(warmth) = reading.drift.warmth {
            let (by, than) = (
                warmth.warmer_c.abs(),
                if warmth.warmer_c < 0.0 {
                    "colder"
                } else {
                    "warmer"
                },
            );
            screen.line(format!(
                "{tile} was {by:.1} °C {than} than usual, which moves such a tile by ΔE76 {:.2}; ΔE00 {:.3} is left \
                 when that is taken off (Malkin et al. 1997)",
                warmth.expected_de76, warmth.de2000_at_temperature
            ));
        }
    }
}
