//! Passwords of persons, and what a login opens. No caller here: these rows decide whether there will be one.

use formula::id::{PersonId, StoreId};
use formula::naming::{LoginName, PersonName};
use formula::role::Role;

use super::read_back::{id, kept};
use super::{Conn, StoreResult};

/// A login's password.
#[derive(Debug, Clone)]
pub struct Login {
    /// The person.
    pub person: PersonId,
    /// The name typed at login.
    pub login: LoginName,
    /// The hash; none before the first password is chosen.
    pub hash: Option<String>,
    /// Whether it is suspended.
    pub suspended: bool,
}

/// A store where somebody may stand.
#[derive(Debug, Clone)]
pub struct Counter {
    /// The store.
    pub id: StoreId,
    /// Its name.
    pub name: String,
    /// Whether it takes no more work.
    pub closed: bool,
}

/// What a session is opened for.
#[derive(Debug, Clone)]
pub struct Held {
    /// What the person may do.
    pub roles: Vec<Role>,
    /// The stores the person works at, by name.
    pub counters: Vec<Counter>,
}

/// The login of a name.
///
/// # Errors
/// When the database can't be read.
pub async fn by_name(conn: &mut Conn, login: &LoginName) -> StoreResult<Option<Login>> {
    let row = sqlx::query!(
        r#"SELECT id, login, password_hash, suspended_at IS NOT NULL AS "suspended!" FROM person WHERE login = $1"#,
        login.as_str()
    )
    .fetch_optional(conn)
    .await?;
    let Some(row) = row else { return Ok(None) };
    Ok(Some(Login {
        person: id(row.id)?,
        login: kept(&row.login)?,
        hash: row.password_hash,
        suspended: row.suspended,
    }))
}

/// The login of a person.
///
/// # Errors
/// When the database can't be read.
pub async fn by_person(conn: &mut Conn, person: PersonId) -> StoreResult<Option<Login>> {
    let row = sqlx::query!(
        r#"SELECT id, login, password_hash, suspended_at IS NOT NULL AS "suspended!" FROM person WHERE id = $1"#,
        person.as_uuid()
    )
    .fetch_optional(conn)
    .await?;
    let Some(row) = row else { return Ok(None) };
    Ok(Some(Login {
        person: id(row.id)?,
        login: kept(&row.login)?,
        hash: row.password_hash,
        suspended: row.suspended,
    }))
}

/// Holds a person until the transaction ends, if the password that was just found right is still the one in force
/// and nobody has suspended the login meanwhile: hashing takes long enough for that.
///
/// # Errors
/// When the database can't be read.
pub async fn hold(conn: &mut Conn, person: PersonId, hash: &str) -> StoreResult<Option<Held>> {
    let row = sqlx::query!(
        "SELECT roles FROM person WHERE id = $1 AND password_hash = $2 AND suspended_at IS NULL FOR NO KEY UPDATE",
        person.as_uuid(),
        hash
    )
    .fetch_optional(&mut *conn)
    .await?;
    let Some(row) = row else { return Ok(None) };
    let counters = sqlx::query!(
        r#"SELECT s.id, s.name, s.closed_at IS NOT NULL AS "closed!"
           FROM person_store ps JOIN store s ON s.id = ps.store_id WHERE ps.person_id = $1 ORDER BY s.name"#,
        person.as_uuid()
    )
    .fetch_all(conn)
    .await?;
    Ok(Some(Held {
        roles: row
            .roles
            .iter()
            .map(|role| kept(role))
            .collect::<StoreResult<_>>()?,
        counters: counters
            .into_iter()
            .map(|row| {
                Ok(Counter {
                    id: id(row.id)?,
                    name: row.name,
                    closed: row.closed,
                })
            })
            .collect::<StoreResult<_>>()?,
    }))
}

/// Any store of the chain, for an admin who stands there.
///
/// # Errors
/// When the database can't be read.
pub async fn counter(conn: &mut Conn, store: StoreId) -> StoreResult<Option<Counter>> {
    let row = sqlx::query!(
        r#"SELECT name, closed_at IS NOT NULL AS "closed!" FROM store WHERE id = $1"#,
        store.as_uuid()
    )
    .fetch_optional(conn)
    .await?;
    Ok(row.map(|row| Counter {
        id: store,
        name: row.name,
        closed: row.closed,
    }))
}

/// Sets a password that its person chose.
///
/// # Errors
/// When the database refuses.
pub async fn set_password(conn: &mut Conn, person: PersonId, hash: &str) -> StoreResult<()> {
    sqlx::query!(
        "UPDATE person SET password_hash = $2, password_set_at = now() WHERE id = $1",
        person.as_uuid(),
        hash
    )
    .execute(conn)
    .await?;
    Ok(())
}

/// Keeps a new hash of the same password.
///
/// # Errors
/// When the database refuses.
pub async fn rehash(conn: &mut Conn, person: PersonId, hash: &str) -> StoreResult<()> {
    sqlx::query!(
        "UPDATE person SET password_hash = $2 WHERE id = $1",
        person.as_uuid(),
        hash
    )
    .execute(conn)
    .await?;
    Ok(())
}

/// The admin whose login is made by the token of `admin init`.
///
/// # Errors
/// When the login's name is taken.
pub async fn insert_admin(
    conn: &mut Conn,
    person: PersonId,
    login: &LoginName,
    name: &PersonName,
    hash: &str,
) -> StoreResult<()> {
    sqlx::query!(
        "INSERT INTO person (id, login, display_name, roles, password_hash, password_set_at)
         VALUES ($1, $2, $3, ARRAY['admin'], $4, now())",
        person.as_uuid(),
        login.as_str(),
        name.as_str(),
        hash
    )
    .execute(conn)
    .await?;
    Ok(())
}

/// Whether the person is an admin.
///
/// # Errors
/// When the database can't be read.
pub async fn is_admin(conn: &mut Conn, person: PersonId) -> StoreResult<bool> {
    let admin = sqlx::query_scalar!(
        r#"SELECT EXISTS (SELECT FROM person WHERE id = $1 AND 'admin' = ANY (roles)) AS "admin!""#,
        person.as_uuid()
    )
    .fetch_one(conn)
    .await?;
    Ok(admin)
}
