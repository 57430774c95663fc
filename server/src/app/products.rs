//! Products: lines of paint with the sheens they are made in.

use formula::id::ProductId;
use formula::wire::v1::{NewProduct, Page, Product, ProductEdit, Sheen};

use super::policy::{Act, require};
use super::{App, AppError, AppResult, Caller};
use crate::store::products;
use crate::store::write::{Begun, PageAsk, Reply, WriteKey, Written};

impl App {
    /// Every product, in order of id, retired ones too.
    ///
    /// # Errors
    /// As [`AppError`] says.
    pub async fn list_products(&self, caller: &Caller, ask: PageAsk) -> AppResult<Page<Product>> {
        require(caller, Act::SeeCatalog)?;
        let mut read = self.db.read().await?;
        Ok(products::list(&mut read, caller, ask).await?)
    }

    /// One product.
    ///
    /// # Errors
    /// As [`AppError`] says.
    pub async fn show_product(&self, caller: &Caller, id: ProductId) -> AppResult<Product> {
        require(caller, Act::SeeCatalog)?;
        let mut read = self.db.read().await?;
        products::find(&mut read, caller, id)
            .await?
            .ok_or(AppError::NotFound("product"))
    }

    /// Adds a product with its sheens.
    ///
    /// # Errors
    /// As [`AppError`] says.
    pub async fn add_product(
        &self,
        caller: &Caller,
        key: WriteKey,
        new: NewProduct,
    ) -> AppResult<Reply> {
        require(caller, Act::EditCatalog)?;
        AppError::unless_within("sheens", new.sheens.len(), 1..=SHEENS)?;
        check_sheens("sheens", &new.sheens)?;
        let mut tx = match self.db.begin(caller, key).await? {
            Begun::Fresh(tx) => tx,
            Begun::Repeated(reply) => return Ok(reply),
        };
        let product = products::insert(tx.conn(), caller, &new).await?;
        let written = Written::created(&product, format!("/api/v1/products/{}", product.id))
            .at_version(product.version);
        Ok(tx.finish(written).await?)
    }

    /// Renames a product, adds sheens, retires it or takes it back.
    ///
    /// # Errors
    /// As [`AppError`] says.
    pub async fn edit_product(
        &self,
        caller: &Caller,
        key: WriteKey,
        id: ProductId,
        version: i32,
        edit: ProductEdit,
    ) -> AppResult<Reply> {
        require(caller, Act::EditCatalog)?;
        AppError::unless_within("add_sheens", edit.add_sheens.len(), 0..=SHEENS)?;
        check_sheens("add_sheens", &edit.add_sheens)?;
        let mut tx = match self.db.begin(caller, key).await? {
            Begun::Fresh(tx) => tx,
            Begun::Repeated(reply) => return Ok(reply),
        };
        let now = products::lock(tx.conn(), caller, id)
            .await?
            .ok_or(AppError::NotFound("product"))?;
        AppError::unless_version("product", now.version, version)?;
        let product = products::update(tx.conn(), caller, now, edit).await?;
        Ok(tx
            .finish(Written::changed(&product).at_version(product.version))
            .await?)
    }
}

/// Sheens at most in one request.
const SHEENS: usize = 20;
/// Top of the scale of specular gloss that is taken, in gloss units (ISO 2813).
const MOST_GLOSS: u8 = 100;

/// Each word once, and each range a range.
fn check_sheens(field: &str, sheens: &[Sheen]) -> AppResult<()> {
    for (index, sheen) in sheens.iter().enumerate() {
        if sheens[..index].iter().any(|other| other.word == sheen.word) {
            return Err(AppError::invalid(
                format!("{field}[{index}].word"),
                format!("{} stands here twice", sheen.word),
                "give each sheen once",
            ));
        }
        if sheen.gloss60_max > MOST_GLOSS {
            return Err(AppError::invalid(
                format!("{field}[{index}].gloss60_max"),
                format!("{} is above {MOST_GLOSS} gloss units", sheen.gloss60_max),
                format!("give a whole number from 0 to {MOST_GLOSS}"),
            ));
        }
        if sheen.gloss60_min > sheen.gloss60_max {
            return Err(AppError::invalid(
                format!("{field}[{index}].gloss60_min"),
                format!(
                    "{} is above gloss60_max, {}",
                    sheen.gloss60_min, sheen.gloss60_max
                ),
                "give the lower end first",
            ));
        }
    }
    Ok(())
}
