//! Rows of `base` and `base_room`.

use formula::base::BaseRoom;
use formula::id::{BaseId, ProductId};
use formula::quantity::Centiml;
use formula::wire::v1::{Base, BaseEdit, NewBase, Page};
use uuid::Uuid;

use super::read_back::{id, kept, small, vanished};
use super::write::PageAsk;
use super::{Conn, StoreError, StoreResult};
use crate::app::Caller;

struct Row {
    id: Uuid,
    product_id: Uuid,
    name: String,
    kind: String,
    retired: bool,
    version: i32,
}

impl Row {
    /// Still without its rooms.
    fn bare(self) -> StoreResult<Base> {
        Ok(Base {
            id: id(self.id)?,
            product_id: id(self.product_id)?,
            name: kept(&self.name)?,
            kind: kept(&self.kind)?,
            rooms: Vec::new(),
            retired: self.retired,
            version: self.version,
        })
    }
}

fn room(size: &str, fill: i32, room: i32) -> StoreResult<BaseRoom> {
    let centiml = |column: i32| {
        Centiml::new(column).map_err(|error| StoreError::Fault(format!("a stored fill: {error}")))
    };
    BaseRoom::new(kept(size)?, centiml(fill)?, centiml(room)?)
        .map_err(|error| StoreError::Fault(format!("a stored fill: {error}")))
}

/// Gives each base its rooms, smallest can first.
async fn with_rooms(conn: &mut Conn, mut bases: Vec<Base>) -> StoreResult<Vec<Base>> {
    let ids: Vec<Uuid> = bases.iter().map(|base| base.id.as_uuid()).collect();
    let rows = sqlx::query!(
        "SELECT base_id, size, fill_centiml, room_centiml FROM base_room
         WHERE base_id = ANY($1) ORDER BY fill_centiml + room_centiml, size",
        &ids
    )
    .fetch_all(conn)
    .await?;
    for row in rows {
        let room = room(&row.size, row.fill_centiml, row.room_centiml)?;
        if let Some(base) = bases
            .iter_mut()
            .find(|base| base.id.as_uuid() == row.base_id)
        {
            base.rooms.push(room);
        }
    }
    Ok(bases)
}

async fn with_its_rooms(conn: &mut Conn, row: Option<Row>) -> StoreResult<Option<Base>> {
    let Some(row) = row else { return Ok(None) };
    Ok(with_rooms(conn, vec![row.bare()?]).await?.pop())
}

/// Bases in order of id, retired ones too, of one product or of all. Every login may see them.
///
/// # Errors
/// When the database can't be read.
pub async fn list(
    conn: &mut Conn,
    _caller: &Caller,
    product: Option<ProductId>,
    ask: PageAsk,
) -> StoreResult<Page<Base>> {
    let rows = sqlx::query_as!(
        Row,
        r#"SELECT id, product_id, name, kind, retired_at IS NOT NULL AS "retired!", version
           FROM base WHERE ($1::uuid IS NULL OR id > $1) AND ($3::uuid IS NULL OR product_id = $3)
           ORDER BY id LIMIT $2"#,
        ask.after,
        ask.fetch(),
        product.map(ProductId::as_uuid)
    )
    .fetch_all(&mut *conn)
    .await?;
    let bases = rows
        .into_iter()
        .map(Row::bare)
        .collect::<StoreResult<Vec<_>>>()?;
    let bases = with_rooms(conn, bases).await?;
    Ok(ask.page(bases, |base| base.id.as_uuid()))
}

/// One base. Every login may see it.
///
/// # Errors
/// When the database can't be read.
pub async fn find(conn: &mut Conn, _caller: &Caller, id: BaseId) -> StoreResult<Option<Base>> {
    let row = sqlx::query_as!(
        Row,
        r#"SELECT id, product_id, name, kind, retired_at IS NOT NULL AS "retired!", version
           FROM base WHERE id = $1"#,
        id.as_uuid()
    )
    .fetch_optional(&mut *conn)
    .await?;
    with_its_rooms(conn, row).await
}

/// One base, held until the transaction ends.
///
/// # Errors
/// When the database can't be read.
pub async fn lock(conn: &mut Conn, _caller: &Caller, id: BaseId) -> StoreResult<Option<Base>> {
    let row = sqlx::query_as!(
        Row,
        r#"SELECT id, product_id, name, kind, retired_at IS NOT NULL AS "retired!", version
           FROM base WHERE id = $1 FOR UPDATE"#,
        id.as_uuid()
    )
    .fetch_optional(&mut *conn)
    .await?;
    with_its_rooms(conn, row).await
}

async fn insert_rooms(conn: &mut Conn, base: BaseId, rooms: &[BaseRoom]) -> StoreResult<()> {
    for room in rooms {
        sqlx::query!(
            "INSERT INTO base_room (base_id, size, fill_centiml, room_centiml) VALUES ($1, $2, $3, $4)",
            base.as_uuid(),
            room.size().as_str(),
            small::<_, i32>(room.fill().get())?,
            small::<_, i32>(room.room().get())?
        )
        .execute(&mut *conn)
        .await?;
    }
    Ok(())
}

/// Adds a base with its rooms.
///
/// # Errors
/// When the id is taken, or the name within the product, or there is no such product.
pub async fn insert(conn: &mut Conn, caller: &Caller, new: &NewBase) -> StoreResult<Base> {
    sqlx::query!(
        "INSERT INTO base (id, product_id, name, kind) VALUES ($1, $2, $3, $4)",
        new.id.as_uuid(),
        new.product_id.as_uuid(),
        new.name.as_str(),
        new.kind.as_str()
    )
    .execute(&mut *conn)
    .await?;
    insert_rooms(conn, new.id, &new.rooms).await?;
    find(conn, caller, new.id).await?.ok_or_else(vanished)
}

/// Changes a base that is held, and raises its version.
///
/// # Errors
/// When the name is taken within the product.
pub async fn update(
    conn: &mut Conn,
    caller: &Caller,
    now: Base,
    edit: BaseEdit,
) -> StoreResult<Base> {
    let name = edit.name.unwrap_or(now.name);
    sqlx::query!(
        "UPDATE base SET name = $2, version = $3,
                retired_at = CASE WHEN $4 THEN coalesce(retired_at, now()) END
         WHERE id = $1",
        now.id.as_uuid(),
        name.as_str(),
        now.version + 1,
        edit.retired.unwrap_or(now.retired)
    )
    .execute(&mut *conn)
    .await?;
    if let Some(rooms) = &edit.rooms {
        sqlx::query!("DELETE FROM base_room WHERE base_id = $1", now.id.as_uuid())
            .execute(&mut *conn)
            .await?;
        insert_rooms(conn, now.id, rooms).await?;
    }
    find(conn, caller, now.id).await?.ok_or_else(vanished)
}
