//! Rows of `person` and `person_store`.

use formula::id::{PersonId, StoreId};
use formula::role::Role;
use formula::wire::v1::{NewPerson, Page, Person};
use time::OffsetDateTime;
use uuid::Uuid;

use super::read_back::{id, kept};
use super::write::PageAsk;
use super::{Conn, StoreResult};
use crate::app::Caller;

struct Row {
    id: Uuid,
    login: String,
    display_name: String,
    roles: Vec<String>,
    stores: Vec<Uuid>,
    suspended: bool,
    has_password: bool,
    version: i32,
    created_at: OffsetDateTime,
}

impl Row {
    fn shown(self) -> StoreResult<Person> {
        Ok(Person {
            id: id(self.id)?,
            login: kept(&self.login)?,
            display_name: kept(&self.display_name)?,
            roles: self
                .roles
                .iter()
                .map(|role| kept(role))
                .collect::<StoreResult<_>>()?,
            stores: self
                .stores
                .into_iter()
                .map(id)
                .collect::<StoreResult<_>>()?,
            suspended: self.suspended,
            has_password: self.has_password,
            version: self.version,
            created_at: self.created_at,
        })
    }
}

/// Everybody sees the own login. An admin sees all; a manager, contractors and those who are clerks of an own store
/// and nothing else.
async fn select(
    conn: &mut Conn,
    caller: &Caller,
    only: Option<PersonId>,
    after: Option<Uuid>,
    limit: i64,
) -> StoreResult<Vec<Person>> {
    let own: Vec<Uuid> = caller.stores.iter().map(|store| store.as_uuid()).collect();
    sqlx::query_as!(
        Row,
        r#"SELECT p.id, p.login, p.display_name, p.roles,
                  ARRAY(SELECT ps.store_id FROM person_store ps WHERE ps.person_id = p.id ORDER BY 1) AS "stores!",
                  p.suspended_at IS NOT NULL AS "suspended!", p.password_hash IS NOT NULL AS "has_password!",
                  p.version, p.created_at
           FROM person p
           WHERE (p.id = $1 OR $2 OR ($3 AND (
                      p.roles = ARRAY['contractor']
                      OR (p.roles = ARRAY['clerk'] AND EXISTS (
                          SELECT FROM person_store ps WHERE ps.person_id = p.id AND ps.store_id = ANY ($4))))))
             AND ($5::uuid IS NULL OR p.id = $5)
             AND ($6::uuid IS NULL OR p.id > $6)
           ORDER BY p.id LIMIT $7"#,
        caller.person_id.as_uuid(),
        caller.is(Role::Admin),
        caller.is(Role::Manager),
        &own,
        only.map(PersonId::as_uuid),
        after,
        limit
    )
    .fetch_all(conn)
    .await?
    .into_iter()
    .map(Row::shown)
    .collect()
}

/// The logins that the caller may see, in order of id.
///
/// # Errors
/// When the database can't be read.
pub async fn list(conn: &mut Conn, caller: &Caller, ask: PageAsk) -> StoreResult<Page<Person>> {
    let persons = select(conn, caller, None, ask.after, ask.fetch()).await?;
    Ok(ask.page(persons, |person| person.id.as_uuid()))
}

/// One login that the caller may see.
///
/// # Errors
/// When the database can't be read.
pub async fn find(conn: &mut Conn, caller: &Caller, id: PersonId) -> StoreResult<Option<Person>> {
    Ok(select(conn, caller, Some(id), None, 1).await?.pop())
}

/// One login that the caller may see, held until the transaction ends.
///
/// # Errors
/// When the database can't be read.
pub async fn lock(conn: &mut Conn, caller: &Caller, id: PersonId) -> StoreResult<Option<Person>> {
    sqlx::query!(
        "SELECT FROM person WHERE id = $1 FOR NO KEY UPDATE",
        id.as_uuid()
    )
    .execute(&mut *conn)
    .await?;
    find(conn, caller, id).await
}

/// Lets one edit of roles and suspensions go on at a time, until the transaction ends.
///
/// # Errors
/// When the database can't be reached, or the wait is too long.
pub async fn lock_admins(conn: &mut Conn, _caller: &Caller) -> StoreResult<()> {
    sqlx::query!("SELECT pg_advisory_xact_lock(732, 0)")
        .execute(conn)
        .await?;
    Ok(())
}

/// Whether an admin other than this one can log in. About the whole chain, so the caller narrows nothing.
///
/// # Errors
/// When the database can't be read.
pub async fn other_admin(conn: &mut Conn, _caller: &Caller, id: PersonId) -> StoreResult<bool> {
    let other = sqlx::query_scalar!(
        r#"SELECT EXISTS (SELECT FROM person WHERE id <> $1 AND 'admin' = ANY (roles)
                          AND suspended_at IS NULL AND password_hash IS NOT NULL) AS "other!""#,
        id.as_uuid()
    )
    .fetch_one(conn)
    .await?;
    Ok(other)
}

/// The first of these that is no store. Every login may see every store.
///
/// # Errors
/// When the database can't be read.
pub async fn missing_store(
    conn: &mut Conn,
    _caller: &Caller,
    stores: &[StoreId],
) -> StoreResult<Option<StoreId>> {
    let wanted: Vec<Uuid> = stores.iter().map(|store| store.as_uuid()).collect();
    let missing = sqlx::query_scalar!(
        r#"SELECT wanted AS "wanted!" FROM unnest($1::uuid[]) AS w(wanted)
           WHERE NOT EXISTS (SELECT FROM store WHERE id = wanted) LIMIT 1"#,
        &wanted
    )
    .fetch_optional(conn)
    .await?;
    missing.map(id).transpose()
}

/// Adds a login without a password. `app` has checked roles and stores against the caller's.
///
/// # Errors
/// When the id or the login's name is taken.
pub async fn insert(conn: &mut Conn, caller: &Caller, new: &NewPerson) -> StoreResult<Person> {
    let roles = names(&new.roles);
    let created_at = sqlx::query_scalar!(
        "INSERT INTO person (id, login, display_name, roles, created_by) VALUES ($1, $2, $3, $4, $5)
         RETURNING created_at",
        new.id.as_uuid(),
        new.login.as_str(),
        new.display_name.as_str(),
        &roles,
        caller.person_id.as_uuid()
    )
    .fetch_one(&mut *conn)
    .await?;
    set_stores(conn, new.id, &new.stores).await?;
    Ok(Person {
        id: new.id,
        login: new.login.clone(),
        display_name: new.display_name.clone(),
        roles: new.roles.clone(),
        stores: new.stores.clone(),
        suspended: false,
        has_password: false,
        version: 1,
        created_at,
    })
}

/// Makes a login that is held say what `next` says. `app` has checked roles and stores against the caller's.
///
/// # Errors
/// When the database refuses.
pub async fn update(conn: &mut Conn, _caller: &Caller, next: &Person) -> StoreResult<()> {
    let roles = names(&next.roles);
    sqlx::query!(
        "UPDATE person SET display_name = $2, roles = $3, version = $4,
                suspended_at = CASE WHEN $5 THEN coalesce(suspended_at, now()) END
         WHERE id = $1",
        next.id.as_uuid(),
        next.display_name.as_str(),
        &roles,
        next.version,
        next.suspended
    )
    .execute(&mut *conn)
    .await?;
    set_stores(conn, next.id, &next.stores).await
}

fn names(roles: &[Role]) -> Vec<String> {
    roles.iter().map(|role| role.as_str().to_owned()).collect()
}

async fn set_stores(conn: &mut Conn, person: PersonId, stores: &[StoreId]) -> StoreResult<()> {
    let stores: Vec<Uuid> = stores.iter().map(|store| store.as_uuid()).collect();
    sqlx::query!(
        "DELETE FROM person_store WHERE person_id = $1 AND store_id <> ALL ($2)",
        person.as_uuid(),
        &stores
    )
    .execute(&mut *conn)
    .await?;
    sqlx::query!(
        "INSERT INTO person_store (person_id, store_id) SELECT $1, unnest($2::uuid[]) ON CONFLICT DO NOTHING",
        person.as_uuid(),
        &stores
    )
    .execute(conn)
    .await?;
    Ok(())
}
