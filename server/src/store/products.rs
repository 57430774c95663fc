//! Rows of `product` and `sheen`.

use formula::id::ProductId;
use formula::wire::v1::{NewProduct, Page, Product, ProductEdit, Sheen};
use uuid::Uuid;

use super::read_back::{id, kept, small, vanished};
use super::write::PageAsk;
use super::{Conn, StoreResult};
use crate::app::Caller;

struct Row {
    id: Uuid,
    name: String,
    carrier: String,
    retired: bool,
    version: i32,
}

impl Row {
    /// Still without its sheens.
    fn bare(self) -> StoreResult<Product> {
        Ok(Product {
            id: id(self.id)?,
            name: kept(&self.name)?,
            carrier: kept(&self.carrier)?,
            sheens: Vec::new(),
            retired: self.retired,
            version: self.version,
        })
    }
}

/// Gives each product its sheens, dullest first.
async fn with_sheens(conn: &mut Conn, mut products: Vec<Product>) -> StoreResult<Vec<Product>> {
    let ids: Vec<Uuid> = products
        .iter()
        .map(|product| product.id.as_uuid())
        .collect();
    let rows = sqlx::query!(
        "SELECT id, product_id, word, gloss60_min, gloss60_max FROM sheen
         WHERE product_id = ANY($1) ORDER BY gloss60_min, gloss60_max, id",
        &ids
    )
    .fetch_all(conn)
    .await?;
    for row in rows {
        let sheen = Sheen {
            id: id(row.id)?,
            word: kept(&row.word)?,
            gloss60_min: small(row.gloss60_min)?,
            gloss60_max: small(row.gloss60_max)?,
        };
        if let Some(product) = products
            .iter_mut()
            .find(|product| product.id.as_uuid() == row.product_id)
        {
            product.sheens.push(sheen);
        }
    }
    Ok(products)
}

async fn with_its_sheens(conn: &mut Conn, row: Option<Row>) -> StoreResult<Option<Product>> {
    let Some(row) = row else { return Ok(None) };
    Ok(with_sheens(conn, vec![row.bare()?]).await?.pop())
}

/// Products in order of id, retired ones too. Every login may see them.
///
/// # Errors
/// When the database can't be read.
pub async fn list(conn: &mut Conn, _caller: &Caller, ask: PageAsk) -> StoreResult<Page<Product>> {
    let rows = sqlx::query_as!(
        Row,
        r#"SELECT id, name, carrier, retired_at IS NOT NULL AS "retired!", version
           FROM product WHERE ($1::uuid IS NULL OR id > $1) ORDER BY id LIMIT $2"#,
        ask.after,
        ask.fetch()
    )
    .fetch_all(&mut *conn)
    .await?;
    let products = rows
        .into_iter()
        .map(Row::bare)
        .collect::<StoreResult<Vec<_>>>()?;
    let products = with_sheens(conn, products).await?;
    Ok(ask.page(products, |product| product.id.as_uuid()))
}

/// One product. Every login may see it.
///
/// # Errors
/// When the database can't be read.
pub async fn find(
    conn: &mut Conn,
    _caller: &Caller,
    id: ProductId,
) -> StoreResult<Option<Product>> {
    let row = sqlx::query_as!(
        Row,
        r#"SELECT id, name, carrier, retired_at IS NOT NULL AS "retired!", version FROM product WHERE id = $1"#,
        id.as_uuid()
    )
    .fetch_optional(&mut *conn)
    .await?;
    with_its_sheens(conn, row).await
}

/// One product, held until the transaction ends.
///
/// # Errors
/// When the database can't be read.
pub async fn lock(
    conn: &mut Conn,
    _caller: &Caller,
    id: ProductId,
) -> StoreResult<Option<Product>> {
    let row = sqlx::query_as!(
        Row,
        r#"SELECT id, name, carrier, retired_at IS NOT NULL AS "retired!", version
           FROM product WHERE id = $1 FOR UPDATE"#,
        id.as_uuid()
    )
    .fetch_optional(&mut *conn)
    .await?;
    with_its_sheens(conn, row).await
}

async fn insert_sheens(conn: &mut Conn, product: ProductId, sheens: &[Sheen]) -> StoreResult<()> {
    for sheen in sheens {
        sqlx::query!(
            "INSERT INTO sheen (id, product_id, word, gloss60_min, gloss60_max) VALUES ($1, $2, $3, $4, $5)",
            sheen.id.as_uuid(),
            product.as_uuid(),
            sheen.word.as_str(),
            i16::from(sheen.gloss60_min),
            i16::from(sheen.gloss60_max)
        )
        .execute(&mut *conn)
        .await?;
    }
    Ok(())
}

/// Adds a product with its sheens.
///
/// # Errors
/// When an id or the name is taken.
pub async fn insert(conn: &mut Conn, caller: &Caller, new: &NewProduct) -> StoreResult<Product> {
    sqlx::query!(
        "INSERT INTO product (id, name, carrier) VALUES ($1, $2, $3)",
        new.id.as_uuid(),
        new.name.as_str(),
        new.carrier.as_str()
    )
    .execute(&mut *conn)
    .await?;
    insert_sheens(conn, new.id, &new.sheens).await?;
    find(conn, caller, new.id).await?.ok_or_else(vanished)
}

/// Changes a product that is held, and raises its version.
///
/// # Errors
/// When the name, a sheen's id or a sheen's word is taken.
pub async fn update(
    conn: &mut Conn,
    caller: &Caller,
    now: Product,
    edit: ProductEdit,
) -> StoreResult<Product> {
    let name = edit.name.unwrap_or(now.name);
    sqlx::query!(
        "UPDATE product SET name = $2, version = $3,
                retired_at = CASE WHEN $4 THEN coalesce(retired_at, now()) END
         WHERE id = $1",
        now.id.as_uuid(),
        name.as_str(),
        now.version + 1,
        edit.retired.unwrap_or(now.retired)
    )
    .execute(&mut *conn)
    .await?;
    insert_sheens(conn, now.id, &edit.add_sheens).await?;
    find(conn, caller, now.id).await?.ok_or_else(vanished)
}
