//! Rows of `colorant`.

use formula::id::ColorantId;
use formula::wire::v1::{Colorant, ColorantEdit, NewColorant, Page};
use uuid::Uuid;

use super::read_back::{id, kept};
use super::write::PageAsk;
use super::{Conn, StoreResult};
use crate::app::Caller;

struct Row {
    id: Uuid,
    ci_name: String,
    pigment: String,
    retired: bool,
    version: i32,
}

impl Row {
    fn shown(self) -> StoreResult<Colorant> {
        Ok(Colorant {
            id: id(self.id)?,
            ci_name: kept(&self.ci_name)?,
            pigment: kept(&self.pigment)?,
            retired: self.retired,
            version: self.version,
        })
    }
}

/// Colorants in order of id, retired ones too. Every login may see them.
///
/// # Errors
/// When the database can't be read.
pub async fn list(conn: &mut Conn, _caller: &Caller, ask: PageAsk) -> StoreResult<Page<Colorant>> {
    let rows = sqlx::query_as!(
        Row,
        r#"SELECT id, ci_name, pigment, retired_at IS NOT NULL AS "retired!", version
           FROM colorant WHERE ($1::uuid IS NULL OR id > $1) ORDER BY id LIMIT $2"#,
        ask.after,
        ask.fetch()
    )
    .fetch_all(conn)
    .await?;
    let colorants = rows
        .into_iter()
        .map(Row::shown)
        .collect::<StoreResult<Vec<_>>>()?;
    Ok(ask.page(colorants, |colorant| colorant.id.as_uuid()))
}

/// One colorant. Every login may see it.
///
/// # Errors
/// When the database can't be read.
pub async fn find(
    conn: &mut Conn,
    _caller: &Caller,
    id: ColorantId,
) -> StoreResult<Option<Colorant>> {
    sqlx::query_as!(
        Row,
        r#"SELECT id, ci_name, pigment, retired_at IS NOT NULL AS "retired!", version FROM colorant WHERE id = $1"#,
        id.as_uuid()
    )
    .fetch_optional(conn)
    .await?
    .map(Row::shown)
    .transpose()
}

/// One colorant, held until the transaction ends.
///
/// # Errors
/// When the database can't be read.
pub async fn lock(
    conn: &mut Conn,
    _caller: &Caller,
    id: ColorantId,
) -> StoreResult<Option<Colorant>> {
    sqlx::query_as!(
        Row,
        r#"SELECT id, ci_name, pigment, retired_at IS NOT NULL AS "retired!", version
           FROM colorant WHERE id = $1 FOR UPDATE"#,
        id.as_uuid()
    )
    .fetch_optional(conn)
    .await?
    .map(Row::shown)
    .transpose()
}

/// Adds a colorant.
///
/// # Errors
/// When the id is taken, or the Colour Index name with this pigment.
pub async fn insert(conn: &mut Conn, _caller: &Caller, new: &NewColorant) -> StoreResult<Colorant> {
    sqlx::query!(
        "INSERT INTO colorant (id, ci_name, pigment) VALUES ($1, $2, $3)",
        new.id.as_uuid(),
        new.ci_name.as_str(),
        new.pigment.as_str()
    )
    .execute(conn)
    .await?;
    Ok(Colorant {
        id: new.id,
        ci_name: new.ci_name.clone(),
        pigment: new.pigment.clone(),
        retired: false,
        version: 1,
    })
}

/// Changes a colorant that is held, and raises its version.
///
/// # Errors
/// When the Colour Index name with this pigment is taken.
pub async fn update(
    conn: &mut Conn,
    _caller: &Caller,
    now: Colorant,
    edit: ColorantEdit,
) -> StoreResult<Colorant> {
    let next = Colorant {
        id: now.id,
        ci_name: now.ci_name,
        pigment: edit.pigment.unwrap_or(now.pigment),
        retired: edit.retired.unwrap_or(now.retired),
        version: now.version + 1,
    };
    sqlx::query!(
        "UPDATE colorant SET pigment = $2, version = $3,
                retired_at = CASE WHEN $4 THEN coalesce(retired_at, now()) END
         WHERE id = $1",
        next.id.as_uuid(),
        next.pigment.as_str(),
        next.version,
        next.retired
    )
    .execute(conn)
    .await?;
    Ok(next)
}
