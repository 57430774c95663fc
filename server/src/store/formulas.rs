<<<<<<< HEAD
//! What a formula is checked against: bases with their rooms, colorants, sheens. Every login may see these.

use formula::base::BaseRoom;
use formula::id::{BaseId, ColorantId, ProductId, SheenId};
use formula::naming::BaseName;
use formula::quantity::Centiml;
use uuid::Uuid;
=======
//! What reorders and tints need to know of a match and its formulas. A contractor finds only those of linked
//! customers.

use formula::id::{BaseId, ColorantId, MatchId, RevisionId, StoreId};
use formula::quantity::{CanSize, ShotCount};
use formula::revision::Amount;
use formula::wire::v1::Named;
>>>>>>> reorders

use super::read_back::{id, kept};
use super::{Conn, StoreError, StoreResult};
use crate::app::Caller;

<<<<<<< HEAD
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
=======
/// A match, as far as a reorder or a tint asks.
#[derive(Debug, Clone, Copy)]
pub struct Wanted {
    /// The store that recorded it.
    pub store_id: StoreId,
    /// The revision that counts: picked, else the latest; none without a formula.
    pub counts: Option<RevisionId>,
}

/// The formula of a revision.
#[derive(Debug, Clone)]
pub struct KeptFormula {
    /// The match it belongs to.
    pub match_id: MatchId,
    /// Its base.
    pub base: Named<BaseId>,
    /// The can size that the amounts are for.
    pub size: CanSize,
    /// The amounts, in order.
    pub amounts: Vec<Amount>,
}

/// A match that the caller may see.
///
/// # Errors
/// When the database can't be read.
pub async fn wanted(
    conn: &mut Conn,
    caller: &Caller,
    match_id: MatchId,
) -> StoreResult<Option<Wanted>> {
    let row = sqlx::query!(
        r#"SELECT m.store_id,
                  coalesce(m.picked_revision_id,
                      (SELECT v.id FROM revision v WHERE v.match_id = m.id ORDER BY v.number DESC LIMIT 1)) AS counts
           FROM match m
           WHERE m.id = $1 AND ($2::uuid IS NULL OR EXISTS
               (SELECT FROM customer_link l WHERE l.person_id = $2 AND l.customer_id = m.customer_id))"#,
        match_id.as_uuid(),
        caller.contractor().map(|person| person.as_uuid())
    )
    .fetch_optional(conn)
    .await?;
    row.map(|row| {
        Ok(Wanted {
            store_id: id(row.store_id)?,
            counts: row.counts.map(id).transpose()?,
        })
    })
    .transpose()
}

/// The formula of a revision that the caller may see.
///
/// # Errors
/// When the database can't be read.
pub async fn find(
    conn: &mut Conn,
    caller: &Caller,
    revision: RevisionId,
) -> StoreResult<Option<KeptFormula>> {
    let row = sqlx::query!(
        r#"SELECT v.match_id, v.base_id, b.name AS base, v.size
           FROM revision v JOIN match m ON m.id = v.match_id JOIN base b ON b.id = v.base_id
           WHERE v.id = $1 AND ($2::uuid IS NULL OR EXISTS
               (SELECT FROM customer_link l WHERE l.person_id = $2 AND l.customer_id = m.customer_id))"#,
        revision.as_uuid(),
        caller.contractor().map(|person| person.as_uuid())
    )
    .fetch_optional(&mut *conn)
    .await?;
    let Some(row) = row else { return Ok(None) };
    let amounts = sqlx::query!(
        "SELECT colorant_id, count, unit FROM revision_shot WHERE revision_id = $1 ORDER BY position",
        revision.as_uuid()
>>>>>>> reorders
    )
    .fetch_all(conn)
    .await?
    .into_iter()
<<<<<<< HEAD
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
=======
    .map(|shot| {
        Ok(Amount {
            colorant: id::<ColorantId>(shot.colorant_id)?,
            count: count(shot.count)?,
            unit: kept(&shot.unit)?,
        })
    })
    .collect::<StoreResult<_>>()?;
    Ok(Some(KeptFormula {
        match_id: id(row.match_id)?,
        base: Named {
            id: id(row.base_id)?,
            name: row.base,
        },
        size: kept(&row.size)?,
        amounts,
    }))
}

/// A count of shots as kept.
pub(super) fn count(column: i32) -> StoreResult<ShotCount> {
    ShotCount::new(column)
        .map_err(|_| StoreError::Fault("a stored value is no shot count".to_owned()))
>>>>>>> reorders
}
