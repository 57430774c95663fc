//! Readings compared across instruments: a correction in force is applied to the comparison, never to what is stored,
//! and the figure says so.

use std::collections::BTreeSet;

use color::instrument::Corrected;
use color::{Ends, Lab, Viewing, de2000};
use formula::id::{InstrumentId, MatchId};
use formula::wire::v1::{CorrectedFigure, CorrectionUsed, Match, Measurement};
use uuid::Uuid;

use super::{AppResult, Caller, measurements};
use crate::store::corrections::{self, InForce};
use crate::store::{Conn, matches};

/// The match as opened, with what is to be known of its readings, and its drawdowns compared with the sample by the
/// corrections in force.
///
/// # Errors
/// When the database can't be read.
pub(super) async fn open_match(
    conn: &mut Conn,
    caller: &Caller,
    id: MatchId,
) -> AppResult<Option<Match>> {
    let Some(mut opened) = matches::open(conn, caller, id).await? else {
        return Ok(None);
    };
    opened.sample.cautions = measurements::cautions(&opened.sample);
    let drawdowns = || {
        opened
            .revisions
            .iter()
            .flat_map(|revision| &revision.drawdowns)
    };
    let instruments: BTreeSet<Uuid> = drawdowns()
        .map(|drawdown| &drawdown.measurement)
        .chain([&opened.sample])
        .filter_map(|read| read.read.instrument_id)
        .map(InstrumentId::as_uuid)
        .collect();
    let in_force = if instruments.len() > 1 {
        let instruments: Vec<Uuid> = instruments.into_iter().collect();
        corrections::in_force(conn, caller, &instruments).await?
    } else {
        Vec::new()
    };
    let sample = &opened.sample;
    for drawdown in opened
        .revisions
        .iter_mut()
        .flat_map(|revision| &mut revision.drawdowns)
    {
        drawdown.measurement.cautions = measurements::cautions(&drawdown.measurement);
        drawdown.corrected = corrected_difference(&in_force, sample, &drawdown.measurement);
    }
    Ok(Some(opened))
}

/// ΔE00 (D65, 10°) between two readings of two instruments, corrected: one taken to the other's instrument, or both to
/// a third. None when they come from one instrument, or no correction fits: none in force between the two, fitted in
/// the other specular mode, or at other wavelengths.
#[must_use]
pub fn corrected_difference(
    in_force: &[InForce],
    wanted: &Measurement,
    produced: &Measurement,
) -> Option<CorrectedFigure> {
    let (first, second) = (wanted.read.instrument_id?, produced.read.instrument_id?);
    if first == second {
        return None;
    }
    let between = |from: InstrumentId, to: InstrumentId| {
        in_force
            .iter()
            .find(|known| known.used.instrument.id == from && known.used.reference.id == to)
    };
    let mut figure = Figure::default();
    let labs = if let Some(known) = between(second, first) {
        (wanted.lab.0, figure.taken_over(known, produced)?)
    } else if let Some(known) = between(first, second) {
        (figure.taken_over(known, wanted)?, produced.lab.0)
    } else {
        let (known, other) = in_force
            .iter()
            .filter(|known| known.used.instrument.id == first)
            .find_map(|known| Some((known, between(second, known.used.reference.id)?)))?;
        (
            figure.taken_over(known, wanted)?,
            figure.taken_over(other, produced)?,
        )
    };
    Some(CorrectedFigure {
        de2000_from_wanted: de2000(labs.0, labs.1),
        rests_on: figure.rests_on,
        cautions: figure.cautions,
    })
}

/// What a corrected figure rests on, as it comes together.
#[derive(Default)]
struct Figure {
    rests_on: Vec<CorrectionUsed>,
    cautions: Vec<String>,
}

impl Figure {
    /// The color that the reference instrument would have read.
    fn taken_over(&mut self, known: &InForce, read: &Measurement) -> Option<Lab> {
        let unlike = known.specular.zip(read.read.specular);
        if unlike.is_some_and(|(fitted, here)| fitted != here) {
            return None;
        }
        let ends = if read.read.ends_extended {
            Ends::Extend
        } else {
            Ends::Refuse
        };
        let spectrum = read.read.spectrum.checked(ends).ok()?;
        let Corrected {
            spectrum,
            extrapolated,
        } = known.correction.apply(&spectrum).ok()?;
        if extrapolated > 0 {
            self.cautions.push(format!(
                "at {extrapolated} wavelengths the reading lies beyond every tile that the correction of {} to {} was \
                 fitted on: the corrected figure is a guess there",
                known.used.instrument.name, known.used.reference.name
            ));
        }
        self.rests_on.push(known.used.clone());
        Some(spectrum.lab(Viewing::default()))
    }
}
