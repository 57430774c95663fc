//! Bases: what stands in the can before colorant goes in, and how much room it leaves.

use formula::base::BaseRoom;
use formula::id::{BaseId, ProductId};
use formula::quantity::CanSize;
use formula::wire::v1::{Base, BaseEdit, NewBase, Page};

use super::policy::{Act, require};
use super::{App, AppError, AppResult, Caller};
use crate::store::bases;
use crate::store::write::{Begun, PageAsk, Reply, WriteKey, Written};

impl App {
    /// Bases in order of id, retired ones too, of one product or of all.
    ///
    /// # Errors
    /// As [`AppError`] says.
    pub async fn list_bases(
        &self,
        caller: &Caller,
        product: Option<ProductId>,
        ask: PageAsk,
    ) -> AppResult<Page<Base>> {
        require(caller, Act::SeeCatalog)?;
        let mut read = self.db.read().await?;
        Ok(bases::list(&mut read, caller, product, ask).await?)
    }

    /// One base.
    ///
    /// # Errors
    /// As [`AppError`] says.
    pub async fn show_base(&self, caller: &Caller, id: BaseId) -> AppResult<Base> {
        require(caller, Act::SeeCatalog)?;
        let mut read = self.db.read().await?;
        bases::find(&mut read, caller, id)
            .await?
            .ok_or(AppError::NotFound("base"))
    }

    /// Adds a base with fill and room by can size.
    ///
    /// # Errors
    /// As [`AppError`] says.
    pub async fn add_base(&self, caller: &Caller, key: WriteKey, new: NewBase) -> AppResult<Reply> {
        require(caller, Act::EditCatalog)?;
        check_rooms(&new.rooms)?;
        let mut tx = match self.db.begin(caller, key).await? {
            Begun::Fresh(tx) => tx,
            Begun::Repeated(reply) => return Ok(reply),
        };
        let base = bases::insert(tx.conn(), caller, &new).await?;
        let written =
            Written::created(&base, format!("/api/v1/bases/{}", base.id)).at_version(base.version);
        Ok(tx.finish(written).await?)
    }

    /// Renames a base, sets its rooms anew, retires it or takes it back.
    ///
    /// # Errors
    /// As [`AppError`] says.
    pub async fn edit_base(
        &self,
        caller: &Caller,
        key: WriteKey,
        id: BaseId,
        version: i32,
        edit: BaseEdit,
    ) -> AppResult<Reply> {
        require(caller, Act::EditCatalog)?;
        if let Some(rooms) = &edit.rooms {
            check_rooms(rooms)?;
        }
        let mut tx = match self.db.begin(caller, key).await? {
            Begun::Fresh(tx) => tx,
            Begun::Repeated(reply) => return Ok(reply),
        };
        let now = bases::lock(tx.conn(), caller, id)
            .await?
            .ok_or(AppError::NotFound("base"))?;
        AppError::unless_version("base", now.version, version)?;
        let base = bases::update(tx.conn(), caller, now, edit).await?;
        Ok(tx
            .finish(Written::changed(&base).at_version(base.version))
            .await?)
    }
}

/// Each can size once. That fill and room fit the can is held by [`BaseRoom`] itself.
fn check_rooms(rooms: &[BaseRoom]) -> AppResult<()> {
    AppError::unless_within("rooms", rooms.len(), 1..=CanSize::ALL.len())?;
    for (index, room) in rooms.iter().enumerate() {
        if rooms[..index]
            .iter()
            .any(|other| other.size() == room.size())
        {
            return Err(AppError::invalid(
                format!("rooms[{index}].size"),
                format!("{} stands here twice", room.size()),
                "give each can size once",
            ));
        }
    }
    Ok(())
}
