//! Reorders: the second can, from placing it to the counter.

use formula::id::ReorderId;
use formula::reorder::ReorderState;
use formula::wire::v1::{NewReorder, Page, Reorder, ReorderAdvance};

use super::policy::{Act, require};
use super::warnings::with_warnings;
use super::{App, AppError, AppResult, Caller};
pub use crate::store::reorders::Filter;
use crate::store::reorders::Held;
use crate::store::write::{Begun, PageAsk, Reply, WriteKey, WriteTx, Written};
use crate::store::{formulas, reorders, stores};

/// The most cans of one reorder.
const MOST_CANS: u16 = 500;

impl App {
    /// Reorders in order of id; a contractor's are those of linked customers.
    ///
    /// # Errors
    /// As [`AppError`] says.
    pub async fn list_reorders(
        &self,
        caller: &Caller,
        filter: Filter,
        ask: PageAsk,
    ) -> AppResult<Page<Reorder>> {
        require(caller, Act::SeeReorders)?;
        let mut read = self.db.read().await?;
        let page = reorders::list(&mut read, caller, filter, ask).await?;
        Ok(Page {
            items: page.items.into_iter().map(with_warnings).collect(),
            next: page.next,
        })
    }

    /// One reorder.
    ///
    /// # Errors
    /// As [`AppError`] says.
    pub async fn show_reorder(&self, caller: &Caller, id: ReorderId) -> AppResult<Reorder> {
        require(caller, Act::SeeReorders)?;
        let mut read = self.db.read().await?;
        reorders::find(&mut read, caller, id)
            .await?
            .map(with_warnings)
            .ok_or(AppError::NotFound("reorder"))
    }

    /// Places a reorder.
    ///
    /// # Errors
    /// As [`AppError`] says.
    pub async fn place_reorder(
        &self,
        caller: &Caller,
        key: WriteKey,
        new: NewReorder,
    ) -> AppResult<Reply> {
        require(caller, Act::PlaceReorders)?;
        let mut tx = match self.db.begin(caller, key).await? {
            Begun::Fresh(tx) => tx,
            Begun::Repeated(reply) => return Ok(reply),
        };
        check_new(&mut tx, caller, &new).await?;
        reorders::insert(tx.conn(), caller, &new).await?;
        let reorder = with_warnings(reorders::written(tx.conn(), caller, new.id).await?);
        let written = Written::created(&reorder, format!("/api/v1/reorders/{}", reorder.id))
            .at_version(reorder.version);
        Ok(tx.finish(written).await?)
    }

    /// Moves a reorder on, or cancels it.
    ///
    /// # Errors
    /// As [`AppError`] says.
    pub async fn advance_reorder(
        &self,
        caller: &Caller,
        key: WriteKey,
        id: ReorderId,
        version: i32,
        advance: ReorderAdvance,
    ) -> AppResult<Reply> {
        let to = advance.to;
        require(
            caller,
            match to {
                ReorderState::Cancelled => Act::CancelReorders,
                _ => Act::AdvanceReorders,
            },
        )?;
        let mut tx = match self.db.begin(caller, key).await? {
            Begun::Fresh(tx) => tx,
            Begun::Repeated(reply) => return Ok(reply),
        };
        let now = reorders::lock(tx.conn(), caller, id)
            .await?
            .ok_or(AppError::NotFound("reorder"))?;
        may_move(caller, &now)?;
        AppError::unless_version("reorder", now.version, version)?;
        // Once a clerk has started, paint is in the can: calling it off is the store's to decide.
        if caller.contractor().is_some()
            && now.state != ReorderState::Placed
            && !now.state.is_final()
        {
            return Err(AppError::StateConflict {
                problem: format!(
                    "reorder is {} and can no longer be cancelled from here",
                    now.state.human_name()
                ),
                remedy: "ask the store where it is to be picked up".to_owned(),
            });
        }
        let to = now
            .state
            .advance(to)
            .map_err(|error| AppError::StateConflict {
                problem: error.to_string(),
                remedy: match now.state.ordinary_next() {
                    Some(_) => {
                        "read the reorder again and choose one of its next_states".to_owned()
                    }
                    None => "place a new reorder".to_owned(),
                },
            })?;
        reorders::advance(tx.conn(), caller, now, to).await?;
        let reorder = with_warnings(reorders::written(tx.conn(), caller, id).await?);
        Ok(tx
            .finish(Written::changed(&reorder).at_version(reorder.version))
            .await?)
    }
}

async fn check_new(tx: &mut WriteTx, caller: &Caller, new: &NewReorder) -> AppResult<()> {
    if !(1..=MOST_CANS).contains(&new.cans) {
        return Err(AppError::invalid(
            "cans",
            format!("{} cans are not 1 to {MOST_CANS}", new.cans),
            "order fewer cans, or place several reorders",
        ));
    }
    let wanted = formulas::wanted(tx.conn(), caller, new.match_id)
        .await?
        .ok_or(AppError::NotFound("match"))?;
    if wanted.counts.is_none() {
        return Err(AppError::StateConflict {
            problem: "the match has no formula yet, so nothing can be tinted".to_owned(),
            remedy: "record a formula for it first".to_owned(),
        });
    }
    if let Some(revision) = new.revision_id {
        let formula = formulas::find(tx.conn(), caller, revision).await?;
        if formula.is_none_or(|formula| formula.match_id != new.match_id) {
            return Err(AppError::invalid(
                "revision_id",
                format!("{revision} is no revision of this match"),
                "choose one of the match's revisions, or leave it out for the one that counts",
            ));
        }
    }
    match stores::find(tx.conn(), caller, new.store_id).await? {
        Some(store) if !store.closed => Ok(()),
        Some(store) => Err(AppError::invalid(
            "store_id",
            format!("{} is closed", store.name),
            "choose a store that is open",
        )),
        None => Err(AppError::invalid(
            "store_id",
            format!("there is no store {}", new.store_id),
            "choose one from the list of stores",
        )),
    }
}

/// Whose reorder it is to move: the store's where it is picked up, and, to call it off, a contractor's own.
fn may_move(caller: &Caller, now: &Held) -> AppResult<()> {
    if caller.contractor().is_some() {
        return if now.placed_by == caller.person_id {
            Ok(())
        } else {
            Err(AppError::NotAllowed(
                "a contractor cancels only reorders placed by the same login".to_owned(),
            ))
        };
    }
    if caller.works_at(now.store_id) {
        Ok(())
    } else {
        Err(AppError::NotAllowed(
            "a reorder is moved on only by staff of the store where it is picked up".to_owned(),
        ))
    }
}
