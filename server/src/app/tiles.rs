//! Verification tiles, and their readings judged against their own history.

use std::collections::HashMap;

use color::instrument::drift::{self, BASELINE_READINGS};
use color::{Lab, Spectrum, Viewing, WeightTable, de2000};
use formula::id::{InstrumentId, StoreId, TileId, TileReadingId};
use formula::wire::v1::{LabD65, NewTile, NewTileReading, Page, Tile, TileEdit, TileReading};
use time::OffsetDateTime;
use uuid::Uuid;

use super::instrument_care::not_to_come;
use super::instruments::{TEMPERATURE_C, own_store, within};
use super::policy::{Act, require};
use super::{App, AppError, AppResult, Caller, measurements};
use crate::store::tiles::KeptReading;
use crate::store::write::{Begun, PageAsk, Reply, WriteKey, Written};
use crate::store::{Conn, instruments, tiles};

impl App {
    /// Tiles in order of id, retired ones too, of one store or of all.
    ///
    /// # Errors
    /// As [`AppError`] says.
    pub async fn list_tiles(
        &self,
        caller: &Caller,
        store: Option<StoreId>,
        ask: PageAsk,
    ) -> AppResult<Page<Tile>> {
        require(caller, Act::SeeInstruments)?;
        let mut read = self.db.read().await?;
        Ok(tiles::list(&mut read, caller, store, ask).await?)
    }

    /// One tile.
    ///
    /// # Errors
    /// As [`AppError`] says.
    pub async fn show_tile(&self, caller: &Caller, id: TileId) -> AppResult<Tile> {
        require(caller, Act::SeeInstruments)?;
        let mut read = self.db.read().await?;
        tiles::find(&mut read, caller, id)
            .await?
            .ok_or(AppError::NotFound("tile"))
    }

    /// Adds a tile to the set of a store that the caller works at.
    ///
    /// # Errors
    /// As [`AppError`] says.
    pub async fn add_tile(&self, caller: &Caller, key: WriteKey, new: NewTile) -> AppResult<Reply> {
        require(caller, Act::EditInstruments)?;
        own_store(caller, new.store_id)?;
        let mut tx = match self.db.begin(caller, key).await? {
            Begun::Fresh(tx) => tx,
            Begun::Repeated(reply) => return Ok(reply),
        };
        let tile = tiles::insert(tx.conn(), caller, &new).await?;
        let written =
            Written::created(&tile, format!("/api/v1/tiles/{}", tile.id)).at_version(tile.version);
        Ok(tx.finish(written).await?)
    }

    /// Renames a tile of a store that the caller works at, says its hue, retires it or takes it back.
    ///
    /// # Errors
    /// As [`AppError`] says.
    pub async fn edit_tile(
        &self,
        caller: &Caller,
        key: WriteKey,
        id: TileId,
        version: i32,
        edit: TileEdit,
    ) -> AppResult<Reply> {
        require(caller, Act::EditInstruments)?;
        let mut tx = match self.db.begin(caller, key).await? {
            Begun::Fresh(tx) => tx,
            Begun::Repeated(reply) => return Ok(reply),
        };
        let now = tiles::lock_own(tx.conn(), caller, id)
            .await?
            .ok_or(AppError::NotFound("tile"))?;
        AppError::unless_version("tile", now.version, version)?;
        let tile = tiles::update(tx.conn(), caller, now, edit).await?;
        Ok(tx
            .finish(Written::changed(&tile).at_version(tile.version))
            .await?)
    }

    /// Readings of tiles on an instrument in order of id, each judged against those of its tile before it.
    ///
    /// # Errors
    /// As [`AppError`] says.
    pub async fn list_tile_readings(
        &self,
        caller: &Caller,
        instrument: InstrumentId,
        tile: Option<TileId>,
        ask: PageAsk,
    ) -> AppResult<Page<TileReading>> {
        require(caller, Act::SeeInstruments)?;
        let mut read = self.db.read().await?;
        instruments::find(&mut read, caller, instrument)
            .await?
            .ok_or(AppError::NotFound("instrument"))?;
        let page = tiles::list_readings(&mut read, caller, instrument, tile, ask).await?;
        Ok(Page {
            items: judged(&mut read, caller, instrument, page.items).await?,
            next: page.next,
        })
    }

    /// Keeps a reading of a tile on an instrument of a store that the caller works at.
    ///
    /// # Errors
    /// As [`AppError`] says.
    pub async fn record_tile_reading(
        &self,
        caller: &Caller,
        key: WriteKey,
        instrument: InstrumentId,
        new: NewTileReading,
    ) -> AppResult<Reply> {
        require(caller, Act::RecordCalibrations)?;
        measurements::spectrum("spectrum", &new.spectrum, new.ends_extended)?;
        if let Some(temperature) = new.temperature_c {
            within("temperature_c", temperature, &TEMPERATURE_C, "°C")?;
        }
        not_to_come("read_at", new.read_at)?;
        let mut tx = match self.db.begin(caller, key).await? {
            Begun::Fresh(tx) => tx,
            Begun::Repeated(reply) => return Ok(reply),
        };
        instruments::lock_own(tx.conn(), caller, instrument)
            .await?
            .ok_or(AppError::NotFound("instrument"))?;
        let kept = tiles::insert_reading(tx.conn(), caller, instrument, &new).await?;
        let reading = judged(tx.conn(), caller, instrument, vec![kept])
            .await?
            .pop()
            .ok_or_else(|| AppError::Internal("a reading just kept is not there".to_owned()))?;
        let written = Written::created(
            &reading,
            format!("/api/v1/instruments/{instrument}/tile-readings"),
        );
        Ok(tx.finish(written).await?)
    }
}

/// Each reading judged against the readings of its tile before it, of which the first make its baseline.
async fn judged(
    conn: &mut Conn,
    caller: &Caller,
    instrument: InstrumentId,
    readings: Vec<KeptReading>,
) -> AppResult<Vec<TileReading>> {
    let mut of: Vec<Uuid> = readings
        .iter()
        .map(|reading| reading.tile.id.as_uuid())
        .collect();
    of.sort_unstable();
    of.dedup();
    let mut colors = Colors::default();
    let first = tiles::first_readings(conn, caller, instrument, &of, BASELINE_READINGS).await?;
    let mut baselines: HashMap<TileId, Vec<Dated>> = HashMap::new();
    for (tile, readings) in first {
        let dated = readings
            .iter()
            .map(|reading| colors.dated(reading))
            .collect::<AppResult<_>>()?;
        baselines.insert(tile, dated);
    }
    readings
        .into_iter()
        .map(|reading| {
            let dated = colors.dated(&reading)?;
            let history: Vec<drift::TileReading> = baselines
                .get(&reading.tile.id)
                .into_iter()
                .flatten()
                .filter(|before| before.place < dated.place)
                .map(|before| before.read)
                .collect();
            let judged = drift::judge(&history, dated.read, reading.hue.map(Into::into));
            Ok(shown(reading, dated.read.lab, judged))
        })
        .collect()
}

fn shown(reading: KeptReading, lab: Lab, judged: drift::Drift) -> TileReading {
    TileReading {
        id: reading.id,
        tile: reading.tile,
        instrument_id: reading.instrument_id,
        spectrum: reading.spectrum,
        ends_extended: reading.ends_extended,
        specular: reading.specular,
        temperature_c: reading.temperature_c,
        read_at: reading.read_at,
        made_by: reading.made_by,
        lab: LabD65(lab),
        de2000_from_certificate: reading.certified.map(|certified| de2000(certified.0, lab)),
        drift: judged.into(),
    }
}

/// A reading and its place in time.
struct Dated {
    place: (OffsetDateTime, TileReadingId),
    read: drift::TileReading,
}

/// Weights of the wavelengths met so far: a set of tiles is read at the same ones.
#[derive(Default)]
struct Colors(Vec<WeightTable>);

impl Colors {
    fn dated(&mut self, reading: &KeptReading) -> AppResult<Dated> {
        let kept = kept_spectrum(reading)?;
        Ok(Dated {
            place: (reading.read_at, reading.id),
            read: drift::TileReading {
                lab: self.lab(&kept),
                temperature_c: reading.temperature_c.map(f64::from),
                day: reading
                    .read_at
                    .to_offset(time::UtcOffset::UTC)
                    .to_julian_day(),
            },
        })
    }

    fn lab(&mut self, spectrum: &Spectrum) -> Lab {
        for table in &self.0 {
            if let Ok(lab) = table.lab(spectrum) {
                return lab;
            }
        }
        self.0
            .push(WeightTable::new(Viewing::default(), spectrum.wavelengths()));
        spectrum.lab(Viewing::default())
    }
}

/// The spectrum of a kept reading.
///
/// # Errors
/// [`AppError::Internal`] when it can't be read any more.
pub(super) fn kept_spectrum(reading: &KeptReading) -> AppResult<Spectrum> {
    measurements::spectrum("spectrum", &reading.spectrum, reading.ends_extended)
        .map_err(|_| AppError::Internal("a stored tile reading is no spectrum".to_owned()))
}
