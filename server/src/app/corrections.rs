//! Corrections of one instrument to another: fitted on tiles read on both, put in force and taken out by the color
//! lead.

use std::collections::BTreeSet;

use color::instrument::{Correction, CorrectionError, TilePair};
use formula::id::{CorrectionId, InstrumentId};
use formula::wire::v1::{Instrument, InstrumentCorrection, NewCorrection, Page, Specular};
use sha2::{Digest as _, Sha256};
use time::{Duration, OffsetDateTime};

use super::policy::{Act, require};
use super::tiles::kept_spectrum;
use super::{App, AppError, AppResult, Caller};
use crate::store::corrections::FittedCorrection;
use crate::store::write::{Begun, PageAsk, Reply, WriteKey, Written};
use crate::store::{Conn, corrections, instruments, tiles};

/// Tile readings older than this are not fitted on, unless asked for: an instrument changes (common practice, no
/// source).
const FRESH: Duration = Duration::days(90);

impl App {
    /// Corrections in order of id, retired ones too, from or to one instrument or all.
    ///
    /// # Errors
    /// As [`AppError`] says.
    pub async fn list_corrections(
        &self,
        caller: &Caller,
        instrument: Option<InstrumentId>,
        ask: PageAsk,
    ) -> AppResult<Page<InstrumentCorrection>> {
        require(caller, Act::SeeInstruments)?;
        let mut read = self.db.read().await?;
        Ok(corrections::list(&mut read, caller, instrument, ask).await?)
    }

    /// One correction.
    ///
    /// # Errors
    /// As [`AppError`] says.
    pub async fn show_correction(
        &self,
        caller: &Caller,
        id: CorrectionId,
    ) -> AppResult<InstrumentCorrection> {
        require(caller, Act::SeeInstruments)?;
        let mut read = self.db.read().await?;
        corrections::find(&mut read, caller, id)
            .await?
            .ok_or(AppError::NotFound("correction"))
    }

    /// Fits a correction on the latest readings of the tiles that both instruments have read, and puts it in force.
    ///
    /// # Errors
    /// As [`AppError`] says; [`AppError::StateConflict`] with the figures when it does not help.
    pub async fn fit_correction(
        &self,
        caller: &Caller,
        key: WriteKey,
        new: NewCorrection,
    ) -> AppResult<Reply> {
        require(caller, Act::EditCorrections)?;
        let mut tx = match self.db.begin(caller, key).await? {
            Begun::Fresh(tx) => tx,
            Begun::Repeated(reply) => return Ok(reply),
        };
        let conn = tx.conn();
        let instrument = named(conn, caller, "instrument_id", new.instrument_id).await?;
        let reference = named(conn, caller, "reference_id", new.reference_id).await?;
        if instrument.id == reference.id {
            return Err(AppError::invalid(
                "reference_id",
                "is the instrument itself",
                "name another instrument to correct to",
            ));
        }
        if instrument.geometry != reference.geometry {
            return Err(AppError::invalid(
                "reference_id",
                format!(
                    "is a {} instrument, the other one {}: gloss counts in one and not in the other, which no \
                     correction takes off",
                    reference.geometry, instrument.geometry
                ),
                "name an instrument of the same geometry",
            ));
        }
        let since = new
            .read_since
            .unwrap_or_else(|| OffsetDateTime::now_utc() - FRESH);
        let read = tiles::latest_readings(conn, caller, instrument.id, since).await?;
        let there = tiles::latest_readings(conn, caller, reference.id, since).await?;
        let mut pairs = Vec::new();
        let mut modes: BTreeSet<&str> = BTreeSet::new();
        let mut specular = None;
        for (tile, here) in &read {
            let Some(there) = there.get(tile) else {
                continue;
            };
            for mode in [here.specular, there.specular].into_iter().flatten() {
                modes.insert(match mode {
                    Specular::Included => "included",
                    Specular::Excluded => "excluded",
                });
                specular = Some(mode);
            }
            pairs.push(TilePair {
                name: here.tile.name.clone(),
                read: kept_spectrum(here)?,
                reference: kept_spectrum(there)?,
            });
        }
        if modes.len() > 1 {
            return Err(AppError::StateConflict {
                problem: "the tiles were read with specular included and excluded".to_owned(),
                remedy: "read them on both instruments in one mode".to_owned(),
            });
        }
        // The order of a map is another one each time; the sums, and so the digest, follow the order of names.
        pairs.sort_by(|a, b| a.name.cmp(&b.name));
        let (correction, check) = Correction::fit(&pairs).map_err(|error| refused(&error))?;
        let coefficients = serde_json::to_string(&correction)
            .map_err(|_| AppError::Internal("a correction can't be written".to_owned()))?;
        let fitted = FittedCorrection {
            digest: hexadecimal(&Sha256::digest(coefficients.as_bytes())),
            coefficients,
            check,
            specular,
        };
        let correction = corrections::put_in_force(conn, caller, &new, &fitted).await?;
        let written = Written::created(
            &correction,
            format!("/api/v1/corrections/{}", correction.id),
        );
        Ok(tx.finish(written).await?)
    }

    /// Takes a correction out of force.
    ///
    /// # Errors
    /// As [`AppError`] says.
    pub async fn retire_correction(
        &self,
        caller: &Caller,
        key: WriteKey,
        id: CorrectionId,
    ) -> AppResult<Reply> {
        require(caller, Act::EditCorrections)?;
        let mut tx = match self.db.begin(caller, key).await? {
            Begun::Fresh(tx) => tx,
            Begun::Repeated(reply) => return Ok(reply),
        };
        let conn = tx.conn();
        let was_in_force = corrections::retire(conn, caller, id).await?;
        let correction = corrections::find(conn, caller, id)
            .await?
            .ok_or(AppError::NotFound("correction"))?;
        if !was_in_force {
            return Err(AppError::StateConflict {
                problem: "the correction is out of force already".to_owned(),
                remedy: "fit a new one when the instruments are to be corrected again".to_owned(),
            });
        }
        Ok(tx.finish(Written::changed(&correction)).await?)
    }
}

async fn named(
    conn: &mut Conn,
    caller: &Caller,
    field: &str,
    id: InstrumentId,
) -> AppResult<Instrument> {
    instruments::find(conn, caller, id).await?.ok_or_else(|| {
        AppError::invalid(
            field,
            "there is no such instrument",
            "choose one from the instrument list",
        )
    })
}

fn refused(error: &CorrectionError) -> AppError {
    AppError::StateConflict {
        problem: error.to_string(),
        remedy: match error {
            CorrectionError::TileCount { .. } | CorrectionError::Wavelengths { .. } => {
                "read the tiles on both instruments, then fit again"
            }
            CorrectionError::DoesNotHelp { .. } => {
                "calibrate both instruments, clean the tiles, read them on both and fit again; until then the \
                 readings are compared as they are"
            }
            CorrectionError::Malformed { .. } | CorrectionError::Spectrum(_) => {
                "read the tiles on both instruments again"
            }
        }
        .to_owned(),
    }
}

fn hexadecimal(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}
