//! Stores: the branches of the chain.

use std::collections::HashSet;

use formula::id::StoreId;
use formula::wire::v1::{LIGHTS_OF_A_STORE, NewStore, Page, Store, StoreEdit};

use super::policy::{Act, require};
use super::{App, AppError, AppResult, Caller};
use crate::store::stores;
use crate::store::write::{Begun, PageAsk, Reply, WriteKey, Written};

impl App {
    /// Every store, in order of id.
    ///
    /// # Errors
    /// As [`AppError`] says.
    pub async fn list_stores(&self, caller: &Caller, ask: PageAsk) -> AppResult<Page<Store>> {
        require(caller, Act::SeeCatalog)?;
        let mut read = self.db.read().await?;
        Ok(stores::list(&mut read, caller, ask).await?)
    }

    /// One store.
    ///
    /// # Errors
    /// As [`AppError`] says.
    pub async fn show_store(&self, caller: &Caller, id: StoreId) -> AppResult<Store> {
        require(caller, Act::SeeCatalog)?;
        let mut read = self.db.read().await?;
        stores::find(&mut read, caller, id)
            .await?
            .ok_or(AppError::NotFound("store"))
    }

    /// Adds a store.
    ///
    /// # Errors
    /// As [`AppError`] says.
    pub async fn add_store(
        &self,
        caller: &Caller,
        key: WriteKey,
        new: NewStore,
    ) -> AppResult<Reply> {
        require(caller, Act::EditStores)?;
        let mut tx = match self.db.begin(caller, key).await? {
            Begun::Fresh(tx) => tx,
            Begun::Repeated(reply) => return Ok(reply),
        };
        let store = stores::insert(tx.conn(), caller, &new).await?;
        let written = Written::created(&store, format!("/api/v1/stores/{}", store.id))
            .at_version(store.version);
        Ok(tx.finish(written).await?)
    }

    /// Renames, closes or opens a store, or chooses its lights.
    ///
    /// # Errors
    /// As [`AppError`] says.
    pub async fn edit_store(
        &self,
        caller: &Caller,
        key: WriteKey,
        id: StoreId,
        version: i32,
        edit: StoreEdit,
    ) -> AppResult<Reply> {
        check_edit(caller, id, &edit)?;
        let mut tx = match self.db.begin(caller, key).await? {
            Begun::Fresh(tx) => tx,
            Begun::Repeated(reply) => return Ok(reply),
        };
        let now = stores::lock(tx.conn(), caller, id)
            .await?
            .ok_or(AppError::NotFound("store"))?;
        AppError::unless_version("store", now.version, version)?;
        let store = stores::update(tx.conn(), caller, now, edit).await?;
        Ok(tx
            .finish(Written::changed(&store).at_version(store.version))
            .await?)
    }
}

/// The lights alone are the store's own affair; all else is the chain's.
fn check_edit(caller: &Caller, id: StoreId, edit: &StoreEdit) -> AppResult<()> {
    let only_lights = StoreEdit {
        name: None,
        phone_region: None,
        closed: None,
        lights: edit.lights.clone(),
    };
    if edit.lights.is_none() || *edit != only_lights {
        require(caller, Act::EditStores)?;
    } else {
        require(caller, Act::ChooseLights)?;
        if !caller.works_at(id) {
            return Err(AppError::NotAllowed(
                "lights are chosen by managers of the store itself, or by an admin".to_owned(),
            ));
        }
    }
    let Some(lights) = &edit.lights else {
        return Ok(());
    };
    let mut once = HashSet::new();
    if !LIGHTS_OF_A_STORE.contains(&lights.len()) || !lights.iter().all(|light| once.insert(light))
    {
        return Err(AppError::invalid(
            "lights",
            format!("{} lights, or one twice", lights.len()),
            "give 1 to 6 lights, each once, such as D65, A, LED-B3",
        ));
    }
    Ok(())
}
