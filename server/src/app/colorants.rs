//! Colorants: pigments that go into a base, by Colour Index generic name.

use formula::id::ColorantId;
use formula::wire::v1::{Colorant, ColorantEdit, NewColorant, Page};

use super::policy::{Act, require};
use super::{App, AppError, AppResult, Caller};
use crate::store::colorants;
use crate::store::write::{Begun, PageAsk, Reply, WriteKey, Written};

impl App {
    /// Every colorant, in order of id, retired ones too.
    ///
    /// # Errors
    /// As [`AppError`] says.
    pub async fn list_colorants(&self, caller: &Caller, ask: PageAsk) -> AppResult<Page<Colorant>> {
        require(caller, Act::SeeCatalog)?;
        let mut read = self.db.read().await?;
        Ok(colorants::list(&mut read, caller, ask).await?)
    }

    /// One colorant.
    ///
    /// # Errors
    /// As [`AppError`] says.
    pub async fn show_colorant(&self, caller: &Caller, id: ColorantId) -> AppResult<Colorant> {
        require(caller, Act::SeeCatalog)?;
        let mut read = self.db.read().await?;
        colorants::find(&mut read, caller, id)
            .await?
            .ok_or(AppError::NotFound("colorant"))
    }

    /// Adds a colorant.
    ///
    /// # Errors
    /// As [`AppError`] says.
    pub async fn add_colorant(
        &self,
        caller: &Caller,
        key: WriteKey,
        new: NewColorant,
    ) -> AppResult<Reply> {
        require(caller, Act::EditCatalog)?;
        let mut tx = match self.db.begin(caller, key).await? {
            Begun::Fresh(tx) => tx,
            Begun::Repeated(reply) => return Ok(reply),
        };
        let colorant = colorants::insert(tx.conn(), caller, &new).await?;
        let written = Written::created(&colorant, format!("/api/v1/colorants/{}", colorant.id))
            .at_version(colorant.version);
        Ok(tx.finish(written).await?)
    }

    /// Renames a colorant's pigment, retires it or takes it back.
    ///
    /// # Errors
    /// As [`AppError`] says.
    pub async fn edit_colorant(
        &self,
        caller: &Caller,
        key: WriteKey,
        id: ColorantId,
        version: i32,
        edit: ColorantEdit,
    ) -> AppResult<Reply> {
        require(caller, Act::EditCatalog)?;
        let mut tx = match self.db.begin(caller, key).await? {
            Begun::Fresh(tx) => tx,
            Begun::Repeated(reply) => return Ok(reply),
        };
        let now = colorants::lock(tx.conn(), caller, id)
            .await?
            .ok_or(AppError::NotFound("colorant"))?;
        AppError::unless_version("colorant", now.version, version)?;
        let colorant = colorants::update(tx.conn(), caller, now, edit).await?;
        Ok(tx
            .finish(Written::changed(&colorant).at_version(colorant.version))
            .await?)
    }
}
