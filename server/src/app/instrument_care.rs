//! When an instrument was switched on, and readings at which something was due.

use formula::id::{InstrumentId, MeasurementId};
use formula::role::Role;
use formula::wire::v1::{NewAcceptance, NewInstrumentStart};
use time::{Duration, OffsetDateTime};

use super::policy::{Act, require};
use super::{App, AppError, AppResult, Caller, measurements};
use crate::store::write::{Begun, Reply, WriteKey, Written};
use crate::store::{acceptances, instrument_care, instruments, notes};

/// How far a branch's clock may run ahead.
const CLOCKS_APART: Duration = Duration::minutes(5);

/// Refuses a time that has not come yet.
///
/// # Errors
/// [`AppError::Invalid`] naming the field.
pub(super) fn not_to_come(field: &str, at: OffsetDateTime) -> AppResult<()> {
    if at <= OffsetDateTime::now_utc() + CLOCKS_APART {
        return Ok(());
    }
    Err(AppError::invalid(
        field,
        "lies in the future",
        "give when it happened, and check the clock of the machine",
    ))
}

impl App {
    /// Keeps when an instrument of a store that the caller works at was switched on.
    ///
    /// # Errors
    /// As [`AppError`] says.
    pub async fn tell_instrument_start(
        &self,
        caller: &Caller,
        key: WriteKey,
        instrument: InstrumentId,
        new: NewInstrumentStart,
    ) -> AppResult<Reply> {
        require(caller, Act::RecordCalibrations)?;
        not_to_come("switched_on_at", new.switched_on_at)?;
        let mut tx = match self.db.begin(caller, key).await? {
            Begun::Fresh(tx) => tx,
            Begun::Repeated(reply) => return Ok(reply),
        };
        instruments::lock_own(tx.conn(), caller, instrument)
            .await?
            .ok_or(AppError::NotFound("instrument"))?;
        let start = instrument_care::insert_start(tx.conn(), caller, instrument, &new).await?;
        let written = Written::created(&start, format!("/api/v1/instruments/{instrument}"));
        Ok(tx.finish(written).await?)
    }

    /// Accepts a reading at which something was due at its instrument: a manager of the store where it was made, or
    /// the color lead.
    ///
    /// # Errors
    /// As [`AppError`] says.
    pub async fn accept_reading(
        &self,
        caller: &Caller,
        key: WriteKey,
        id: MeasurementId,
        new: NewAcceptance,
    ) -> AppResult<Reply> {
        require(caller, Act::AcceptReadings)?;
        let mut tx = match self.db.begin(caller, key).await? {
            Begun::Fresh(tx) => tx,
            Begun::Repeated(reply) => return Ok(reply),
        };
        let conn = tx.conn();
        let place = acceptances::place_of(conn, caller, id)
            .await?
            .filter(|place| caller.is(Role::ColorLead) || caller.works_at(place.store))
            .ok_or(AppError::NotFound("measurement"))?;
        let read = measurements::kept(conn, caller, id).await?;
        if read.instrument_due.is_empty() {
            return Err(AppError::StateConflict {
                problem: "nothing was due at the instrument when this was read".to_owned(),
                remedy: "it counts as it is; there is nothing to accept".to_owned(),
            });
        }
        acceptances::insert(conn, caller, place.of_match, id, &new).await?;
        if let Some(note) = &new.note {
            notes::insert(
                conn,
                caller,
                place.of_match,
                notes::About::Acceptance,
                new.id.as_uuid(),
                note,
            )
            .await?;
        }
        let accepted = measurements::kept(conn, caller, id).await?;
        let written = Written::created(&accepted, format!("/api/v1/matches/{}", place.of_match));
        Ok(tx.finish(written).await?)
    }
}
