//! What a formula is checked against: bases with their rooms, colorants, sheens. Every login may see these.

use formula::base::BaseRoom;
use formula::id::{BaseId, ColorantId, ProductId, SheenId};
use formula::naming::BaseName;
use formula::quantity::Centiml;
use uuid::Uuid;

use super::read_back::{id, kept};
use super::{Conn, StoreError, StoreResult};
use crate::app::Caller;

/// A base with its rooms.
#[derive(Debug, Clone)]
pub struct BaseRow {
    /// Its id.
    pub id: BaseId,
    /// Its name.
    pub name: BaseName,
    /// Whether new formulas may no longer use it.
    pub retired: bool,
    /// Fill and room by can size.
    pub rooms: Vec<BaseRoom>,
}

/// Every base of a product.
///
/// # Errors
/// When the database can't be read.
pub async fn bases_of(
    conn: &mut Conn,
    _caller: &Caller,
    product: ProductId,
) -> StoreResult<Vec<BaseRow>> {
    let bases = sqlx::query!(
        r#"SELECT id, name, retired_at IS NOT NULL AS "retired!" FROM base WHERE product_id = $1 ORDER BY id"#,
        product.as_uuid()
    )
    .fetch_all(&mut *conn)
    .await?;
    let rooms = sqlx::query!(
        "SELECT r.base_id, r.size, r.fill_centiml, r.room_centiml
         FROM base_room r JOIN base b ON b.id = r.base_id WHERE b.product_id = $1",
        product.as_uuid()
    )
    .fetch_all(conn)
    .await?;
    bases
        .into_iter()
        .map(|base| {
            let rooms = rooms
                .iter()
                .filter(|room| room.base_id == base.id)
                .map(|room| {
                    let amount = |value: i32| {
                        Centiml::new(value).map_err(|_| {
                            StoreError::Fault("a stored fill or room is refused".to_owned())
                        })
                    };
                    BaseRoom::new(
                        kept(&room.size)?,
                        amount(room.fill_centiml)?,
                        amount(room.room_centiml)?,
                    )
                    .map_err(|_| {
                        StoreError::Fault("a stored fill and room don't fit the can".to_owned())
                    })
                });
            Ok(BaseRow {
                id: id(base.id)?,
                name: kept(&base.name)?,
                retired: base.retired,
                rooms: rooms.collect::<StoreResult<_>>()?,
            })
        })
        .collect()
}

/// Which of these colorants exist and are in use.
///
/// # Errors
/// When the database can't be read.
pub async fn colorants_in_use(
    conn: &mut Conn,
    _caller: &Caller,
    ids: &[Uuid],
) -> StoreResult<Vec<ColorantId>> {
    sqlx::query_scalar!(
        "SELECT id FROM colorant WHERE id = ANY ($1) AND retired_at IS NULL",
        ids
    )
    .fetch_all(conn)
    .await?
    .into_iter()
    .map(id)
    .collect()
}

/// Whether the product exists, is in use, and is made in the sheen.
#[derive(Debug, Clone, Copy)]
pub struct ProductFit {
    /// Whether new matches may no longer use it.
    pub retired: bool,
    /// Whether it is made in the sheen asked for.
    pub has_sheen: bool,
}

/// How a product and a sheen fit, or none when there is no such product.
///
/// # Errors
/// When the database can't be read.
pub async fn product_fit(
    conn: &mut Conn,
    _caller: &Caller,
    product: ProductId,
    sheen: SheenId,
) -> StoreResult<Option<ProductFit>> {
    Ok(sqlx::query_as!(
        ProductFit,
        r#"SELECT retired_at IS NOT NULL AS "retired!",
                  EXISTS (SELECT FROM sheen s WHERE s.product_id = p.id AND s.id = $2) AS "has_sheen!"
           FROM product p WHERE p.id = $1"#,
        product.as_uuid(),
        sheen.as_uuid()
    )
    .fetch_optional(conn)
    .await?)
}
