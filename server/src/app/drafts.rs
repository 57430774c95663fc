//! Drafts: half-made matches, each its maker's alone.

use formula::id::DraftId;
use formula::wire::v1::{Draft, DraftEdit, NewDraft, Page};

use super::policy::{Act, require};
use super::{App, AppError, AppResult, Caller};
use crate::store::drafts;
use crate::store::write::{Begun, PageAsk, Reply, WriteKey, Written};

/// The most drafts that one person keeps: nobody finds anything among more.
const MOST_DRAFTS: i64 = 100;

impl App {
    /// The caller's drafts, in order of id.
    ///
    /// # Errors
    /// As [`AppError`] says.
    pub async fn list_drafts(&self, caller: &Caller, ask: PageAsk) -> AppResult<Page<Draft>> {
        require(caller, Act::RecordMatches)?;
        let mut read = self.db.read().await?;
        Ok(drafts::list(&mut read, caller, ask).await?)
    }

    /// One of the caller's drafts; another person's is as good as missing.
    ///
    /// # Errors
    /// As [`AppError`] says.
    pub async fn show_draft(&self, caller: &Caller, id: DraftId) -> AppResult<Draft> {
        require(caller, Act::RecordMatches)?;
        let mut read = self.db.read().await?;
        drafts::find(&mut read, caller, id)
            .await?
            .ok_or(AppError::NotFound("draft"))
    }

    /// Keeps a draft.
    ///
    /// # Errors
    /// As [`AppError`] says.
    pub async fn add_draft(
        &self,
        caller: &Caller,
        key: WriteKey,
        new: NewDraft,
    ) -> AppResult<Reply> {
        require(caller, Act::RecordMatches)?;
        let store = caller.counter()?;
        let mut tx = match self.db.begin(caller, key).await? {
            Begun::Fresh(tx) => tx,
            Begun::Repeated(reply) => return Ok(reply),
        };
        let there = drafts::count(tx.conn(), caller).await?;
        if there >= MOST_DRAFTS {
            return Err(AppError::StateConflict {
                problem: format!("you have {there} drafts, and {MOST_DRAFTS} is the most"),
                remedy: "finish or delete some of them, then keep this one".to_owned(),
            });
        }
        let draft = drafts::insert(tx.conn(), caller, store, &new).await?;
        let written = Written::created(&draft, format!("/api/v1/drafts/{}", draft.id))
            .at_version(draft.version);
        Ok(tx.finish(written).await?)
    }

    /// Puts a draft down again.
    ///
    /// # Errors
    /// As [`AppError`] says.
    pub async fn edit_draft(
        &self,
        caller: &Caller,
        key: WriteKey,
        id: DraftId,
        version: i32,
        edit: DraftEdit,
    ) -> AppResult<Reply> {
        require(caller, Act::RecordMatches)?;
        let mut tx = match self.db.begin(caller, key).await? {
            Begun::Fresh(tx) => tx,
            Begun::Repeated(reply) => return Ok(reply),
        };
        let now = drafts::lock(tx.conn(), caller, id)
            .await?
            .ok_or(AppError::NotFound("draft"))?;
        AppError::unless_version("draft", now.version, version)?;
        let draft = drafts::update(tx.conn(), caller, now, edit).await?;
        Ok(tx
            .finish(Written::changed(&draft).at_version(draft.version))
            .await?)
    }

    /// Throws a draft away.
    ///
    /// # Errors
    /// As [`AppError`] says.
    pub async fn delete_draft(
        &self,
        caller: &Caller,
        key: WriteKey,
        id: DraftId,
    ) -> AppResult<Reply> {
        require(caller, Act::RecordMatches)?;
        let mut tx = match self.db.begin(caller, key).await? {
            Begun::Fresh(tx) => tx,
            Begun::Repeated(reply) => return Ok(reply),
        };
        if !drafts::delete(tx.conn(), caller, id).await? {
            return Err(AppError::NotFound("draft"));
        }
        Ok(tx.finish(Written::removed()).await?)
    }
}
