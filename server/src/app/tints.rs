//! Tints: cans really made. A can is a fact: it is recorded whatever it is like, and what stands out is flagged.

use std::collections::HashSet;

use formula::id::{ColorantId, MatchId, TintId};
use formula::naming::Lot;
use formula::wire::v1::{AccessAct, NewTint, NewTintFault, Page, Tint, TintShotLine};

use super::flags::with_flags;
use super::policy::{Act, require};
use super::{App, AppError, AppResult, Caller};
use crate::store::formulas::KeptFormula;
use crate::store::tints::Can;
use crate::store::write::{Begun, PageAsk, Reply, WriteKey, WriteTx, Written};
use crate::store::{access, formulas, reorders, tints};

/// The most colorants of one can.
const MOST_SHOTS: usize = 16;

impl App {
    /// The cans of a match, in order of id.
    ///
    /// # Errors
    /// As [`AppError`] says.
    pub async fn list_tints(
        &self,
        caller: &Caller,
        match_id: MatchId,
        ask: PageAsk,
    ) -> AppResult<Page<Tint>> {
        require(caller, Act::OpenMatch)?;
        let mut tx = self.db.plain().await?;
        let wanted = formulas::wanted(tx.conn(), caller, match_id)
            .await?
            .ok_or(AppError::NotFound("match"))?;
        let page = tints::list(tx.conn(), caller, match_id, ask).await?;
        access::note_opened(
            tx.conn(),
            caller,
            AccessAct::MatchOpened,
            match_id.as_uuid(),
            wanted.store_id,
        )
        .await?;
        tx.commit().await?;
        Ok(Page {
            items: page.items.into_iter().map(with_flags).collect(),
            next: page.next,
        })
    }

    /// One can.
    ///
    /// # Errors
    /// As [`AppError`] says.
    pub async fn show_tint(&self, caller: &Caller, id: TintId) -> AppResult<Tint> {
        require(caller, Act::OpenMatch)?;
        let mut tx = self.db.plain().await?;
        let kept = tints::find(tx.conn(), caller, id)
            .await?
            .ok_or(AppError::NotFound("tint"))?;
        access::note_opened(
            tx.conn(),
            caller,
            AccessAct::MatchOpened,
            kept.tint.match_id.as_uuid(),
            kept.match_store,
        )
        .await?;
        tx.commit().await?;
        Ok(with_flags(kept))
    }

    /// Records a can.
    ///
    /// # Errors
    /// As [`AppError`] says.
    pub async fn record_tint(
        &self,
        caller: &Caller,
        key: WriteKey,
        new: NewTint,
    ) -> AppResult<Reply> {
        require(caller, Act::RecordTints)?;
        let store = caller.counter()?;
        let mut tx = match self.db.begin(caller, key).await? {
            Begun::Fresh(tx) => tx,
            Begun::Repeated(reply) => return Ok(reply),
        };
        let formula = formulas::find(tx.conn(), caller, new.revision_id)
            .await?
            .ok_or(AppError::NotFound("revision"))?;
        if let Some(reorder) = new.reorder_id {
            // Held, so that this can and the reorder's next step have an order.
            let held = reorders::lock(tx.conn(), caller, reorder).await?;
            if held.is_none_or(|held| held.match_id != formula.match_id) {
                return Err(AppError::invalid(
                    "reorder_id",
                    format!("{reorder} is no reorder of this match"),
                    "give the reorder that the can was made for, or leave it out",
                ));
            }
        }
        let base = new.base_id.unwrap_or(formula.base.id);
        if !tints::knows_base(tx.conn(), caller, base).await? {
            return Err(AppError::invalid(
                "base_id",
                format!("there is no base {base}"),
                "choose one from the list of bases, or leave it out for the formula's",
            ));
        }
        let shots = match &new.shots {
            Some(given) => as_given(&mut tx, caller, &new, given).await?,
            None => as_formula(&new, &formula)?,
        };
        let can = Can {
            new: &new,
            match_id: formula.match_id,
            base,
            shots: &shots,
            store,
        };
        tints::insert(tx.conn(), caller, &can).await?;
        finish(tx, caller, new.id).await
    }

    /// Marks a can bad, once and for good.
    ///
    /// # Errors
    /// As [`AppError`] says.
    pub async fn mark_tint_bad(
        &self,
        caller: &Caller,
        key: WriteKey,
        id: TintId,
        fault: NewTintFault,
    ) -> AppResult<Reply> {
        require(caller, Act::RecordTints)?;
        let store = caller.counter()?;
        let mut tx = match self.db.begin(caller, key).await? {
            Begun::Fresh(tx) => tx,
            Begun::Repeated(reply) => return Ok(reply),
        };
        let kept = tints::find(tx.conn(), caller, id)
            .await?
            .ok_or(AppError::NotFound("tint"))?;
        tints::mark_bad(tx.conn(), caller, &kept.tint, store, &fault).await?;
        finish(tx, caller, id).await
    }
}

async fn finish(mut tx: WriteTx, caller: &Caller, id: TintId) -> AppResult<Reply> {
    let tint = with_flags(tints::written(tx.conn(), caller, id).await?);
    Ok(tx
        .finish(Written::created(&tint, format!("/api/v1/tints/{id}")))
        .await?)
}

/// What the clerk says went in: each colorant once, and known.
async fn as_given(
    tx: &mut WriteTx,
    caller: &Caller,
    new: &NewTint,
    given: &[TintShotLine],
) -> AppResult<Vec<TintShotLine>> {
    if !new.lots.is_empty() {
        return Err(AppError::invalid(
            "lots",
            "lots stand beside shots",
            "put each lot into its line of shots, and leave lots out",
        ));
    }
    let colorants: Vec<ColorantId> = given.iter().map(|shot| shot.colorant_id).collect();
    each_once("shots", &colorants)?;
    let known = tints::known_colorants(tx.conn(), caller, &colorants).await?;
    for (place, colorant) in colorants.iter().enumerate() {
        if !known.contains(colorant) {
            return Err(AppError::invalid(
                format!("shots[{place}].colorant_id"),
                format!("there is no colorant {colorant}"),
                "choose one from the list of colorants",
            ));
        }
    }
    Ok(given.to_vec())
}

/// What the formula says, with the lots where the clerk knows them.
fn as_formula(new: &NewTint, formula: &KeptFormula) -> AppResult<Vec<TintShotLine>> {
    if new.size != formula.size {
        return Err(AppError::invalid(
            "shots",
            format!(
                "the formula's amounts are for the size {}, this can is of the size {}",
                formula.size.human_name(),
                new.size.human_name()
            ),
            "give the shots that really went in",
        ));
    }
    let lots: Vec<ColorantId> = new.lots.iter().map(|lot| lot.colorant_id).collect();
    each_once("lots", &lots)?;
    for (place, colorant) in lots.iter().enumerate() {
        if !formula
            .amounts
            .iter()
            .any(|amount| amount.colorant == *colorant)
        {
            return Err(AppError::invalid(
                format!("lots[{place}].colorant_id"),
                format!("the formula has no colorant {colorant}"),
                "give lots of the formula's colorants only, or the shots that really went in",
            ));
        }
    }
    let lot_of = |colorant: ColorantId| -> Option<Lot> {
        let lot = new.lots.iter().find(|lot| lot.colorant_id == colorant)?;
        Some(lot.lot.clone())
    };
    Ok(formula
        .amounts
        .iter()
        .map(|amount| TintShotLine {
            colorant_id: amount.colorant,
            count: amount.count,
            unit: amount.unit,
            lot: lot_of(amount.colorant),
        })
        .collect())
}

/// Refuses a list that names a colorant twice, or too many.
fn each_once(field: &str, colorants: &[ColorantId]) -> AppResult<()> {
    if colorants.len() > MOST_SHOTS {
        return Err(AppError::invalid(
            field,
            format!("{} colorants are more than {MOST_SHOTS}", colorants.len()),
            format!("give at most {MOST_SHOTS}"),
        ));
    }
    let mut seen = HashSet::new();
    for (place, colorant) in colorants.iter().enumerate() {
        if !seen.insert(colorant) {
            return Err(AppError::invalid(
                format!("{field}[{place}].colorant_id"),
                format!("colorant {colorant} stands twice"),
                "give each colorant once, with its shots added up",
            ));
        }
    }
    Ok(())
}
