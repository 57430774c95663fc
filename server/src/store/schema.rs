//! Which version the schema is at, and whether the app's role is as small as it must be. No caller here: this runs
//! before anybody can log in.

use std::time::Duration;

use sqlx::{Connection, PgConnection};

use super::MIGRATIONS;
use crate::config::DatabaseUrl;

/// Why the schema can't be used.
#[derive(Debug, thiserror::Error)]
pub enum SchemaError {
    /// The database can't be reached, or refuses the role.
    #[error("the database can't be opened: {0}")]
    Open(#[source] sqlx::Error),
    /// It does not answer at all.
    #[error(
        "the database can't be opened: it did not answer within {} s; check the host and port of DATABASE_URL",
        CONNECT.as_secs()
    )]
    Silent,
    /// A migration failed; it was rolled back.
    #[error(
        "the schema could not be brought up to date; nothing was changed by the step that failed: {0}"
    )]
    Migrate(#[from] sqlx::migrate::MigrateError),
    /// Nobody has migrated yet, or not far enough.
    #[error(
        "the database is at version {found}, this program needs {needed}: run `secondcan-server migrate` with \
         DATABASE_OWNER_URL set"
    )]
    Old {
        /// Where it stands; 0 is empty.
        found: i64,
        /// What this program needs.
        needed: i64,
    },
    /// A newer program has migrated.
    #[error(
        "the database is at version {found}, this program knows {needed}: install the newer secondcan-server"
    )]
    New {
        /// Where it stands.
        found: i64,
        /// What this program knows.
        needed: i64,
    },
}

fn newest() -> i64 {
    MIGRATIONS
        .iter()
        .map(|migration| migration.version)
        .max()
        .unwrap_or(0)
}

/// A network that swallows packets would hold the start up for minutes.
const CONNECT: Duration = Duration::from_secs(10);

async fn connect(url: &DatabaseUrl) -> Result<PgConnection, SchemaError> {
    match tokio::time::timeout(CONNECT, PgConnection::connect(url.expose())).await {
        Ok(connected) => connected.map_err(SchemaError::Open),
        Err(_) => Err(SchemaError::Silent),
    }
}

/// Brings the schema up to date as its owner, under the migrations' own advisory lock.
///
/// # Errors
/// [`SchemaError`]; an older program refuses to touch a newer schema.
pub async fn migrate(owner: &DatabaseUrl) -> Result<(), SchemaError> {
    let mut conn = connect(owner).await?;
    let found = version(&mut conn).await?;
    if found > newest() {
        return Err(SchemaError::New {
            found,
            needed: newest(),
        });
    }
    MIGRATIONS.run(&mut conn).await?;
    // The app reads the version to tell an old schema from a new one.
    sqlx::query("GRANT SELECT ON _sqlx_migrations TO secondcan_app")
        .execute(&mut conn)
        .await
        .map_err(SchemaError::Open)?;
    conn.close().await.map_err(SchemaError::Open)
}

async fn version(conn: &mut PgConnection) -> Result<i64, SchemaError> {
    let there: bool =
        sqlx::query_scalar("SELECT to_regclass('public._sqlx_migrations') IS NOT NULL")
            .fetch_one(&mut *conn)
            .await
            .map_err(SchemaError::Open)?;
    if !there {
        return Ok(0);
    }
    let found: Option<i64> =
        sqlx::query_scalar("SELECT max(version) FROM _sqlx_migrations WHERE success")
            .fetch_one(&mut *conn)
            .await
            .map_err(SchemaError::Open)?;
    Ok(found.unwrap_or(0))
}

/// Refuses a schema that is older or newer than this program.
///
/// # Errors
/// [`SchemaError::Old`], [`SchemaError::New`].
pub async fn check(app: &DatabaseUrl) -> Result<(), SchemaError> {
    let mut conn = connect(app).await?;
    let (found, needed) = (version(&mut conn).await?, newest());
    conn.close().await.map_err(SchemaError::Open)?;
    match found {
        found if found < needed => Err(SchemaError::Old { found, needed }),
        found if found > needed => Err(SchemaError::New { found, needed }),
        _ => Ok(()),
    }
}

/// Why the role that serves may do more than it must: each with the command that mends it.
///
/// # Errors
/// When the database can't be read.
pub async fn role_refusals(app: &DatabaseUrl) -> Result<Vec<String>, SchemaError> {
    let mut conn = connect(app).await?;
    let row: (String, bool, bool, i64, bool) = sqlx::query_as(
        "SELECT r.rolname::text, r.rolsuper, r.rolbypassrls,
                (SELECT count(*) FROM pg_class c JOIN pg_namespace n ON n.oid = c.relnamespace
                 WHERE n.nspname = 'public' AND c.relkind = 'r' AND pg_has_role(r.oid, c.relowner, 'MEMBER')),
                has_database_privilege(r.oid, current_database(), 'TEMP')
         FROM pg_roles r WHERE r.rolname = current_user",
    )
    .fetch_one(&mut conn)
    .await
    .map_err(SchemaError::Open)?;
    conn.close().await.map_err(SchemaError::Open)?;
    let (role, superuser, bypass, owned, temp) = row;
    let mut refusals = Vec::new();
    if superuser {
        refusals.push(format!(
            "role {role} is a superuser: ALTER ROLE {role} NOSUPERUSER"
        ));
    }
    if bypass {
        refusals.push(format!(
            "role {role} bypasses row security: ALTER ROLE {role} NOBYPASSRLS"
        ));
    }
    if owned > 0 && !superuser {
        refusals.push(format!(
            "role {role} owns {owned} tables and could rewrite history: serve as secondcan_app (docs/roles.sql)"
        ));
    }
    if temp && !superuser {
        refusals.push(format!(
            "role {role} may make temporary tables, by which log rows can be forged: \
             REVOKE TEMP ON DATABASE secondcan FROM PUBLIC"
        ));
    }
    Ok(refusals)
}
