//! Writes with a receipt: a request that is repeated gets the stored answer, in the same transaction as its effect.

use formula::id::IdempotencyKey;
use serde::Serialize;
use sqlx::{Postgres, Transaction};

use super::{Conn, Database, StoreError, StoreResult};
use crate::app::Caller;

/// Which part of a list is wanted.
#[derive(Debug, Clone, Copy)]
pub struct PageAsk {
    /// Rows at most, 1 to 200.
    pub limit: i64,
    /// The last id of the page before.
    pub after: Option<uuid::Uuid>,
}

impl PageAsk {
    /// Cuts a list that was fetched with `limit + 1` rows, and names the next page.
    #[must_use]
    pub fn page<T>(
        &self,
        mut items: Vec<T>,
        id: impl Fn(&T) -> uuid::Uuid,
    ) -> formula::wire::v1::Page<T> {
        let limit = usize::try_from(self.limit).unwrap_or(usize::MAX);
        let next = (items.len() > limit).then(|| {
            items.truncate(limit);
            items.last().map(|last| id(last).to_string())
        });
        formula::wire::v1::Page {
            items,
            next: next.flatten(),
        }
    }

    /// What to fetch: one row more than the page holds, to know whether there is a next one.
    #[must_use]
    pub fn fetch(&self) -> i64 {
        self.limit + 1
    }
}

/// The caller's name for a write, and a digest of what was asked.
#[derive(Debug, Clone, Copy)]
pub struct WriteKey {
    /// From `Idempotency-Key`.
    pub key: IdempotencyKey,
    /// SHA-256 over method, path, `If-Match` and body.
    pub request_hash: [u8; 32],
}

/// A write's answer, as it goes out and as it is stored.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Reply {
    /// 200, 201 or 204.
    pub status: u16,
    /// Version for `ETag`.
    pub etag: Option<String>,
    /// For `Location`.
    pub location: Option<String>,
    /// JSON; none with 204.
    pub body: Option<String>,
}

/// What a write did, before it is turned into a reply.
pub struct Written<'a, T> {
    status: u16,
    value: Option<&'a T>,
    stored: Option<&'a T>,
    version: Option<i32>,
    location: Option<String>,
}

impl<'a, T: Serialize> Written<'a, T> {
    /// A record was made; `location` is its path.
    pub fn created(value: &'a T, location: String) -> Self {
        Self {
            status: 201,
            value: Some(value),
            stored: Some(value),
            version: None,
            location: Some(location),
        }
    }

    /// A record was changed.
    pub fn changed(value: &'a T) -> Self {
        Self {
            status: 200,
            value: Some(value),
            stored: Some(value),
            version: None,
            location: None,
        }
    }

    /// With the version that `If-Match` will ask for.
    #[must_use]
    pub fn at_version(mut self, version: i32) -> Self {
        self.version = Some(version);
        self
    }

    /// Stores `kept` instead of the answer that goes out, which holds a secret shown only once.
    #[must_use]
    pub fn stored_as(mut self, kept: &'a T) -> Self {
        self.stored = Some(kept);
        self
    }

    /// Stores no answer, since all of it is a secret shown only once: a repeat has to be refused.
    #[must_use]
    pub fn not_stored(mut self) -> Self {
        self.stored = None;
        self
    }
}

impl Written<'static, ()> {
    /// A record was removed.
    #[must_use]
    pub fn removed() -> Self {
        Self {
            status: 204,
            value: None,
            stored: None,
            version: None,
            location: None,
        }
    }
}

/// A write begun: fresh, or one that was done before.
pub enum Begun {
    /// Go on.
    Fresh(WriteTx),
    /// Done before: this was the answer.
    Repeated(Reply),
}

/// A transaction that ends with a receipt; it rolls back unless finished.
pub struct WriteTx {
    tx: Transaction<'static, Postgres>,
    person: uuid::Uuid,
    key: WriteKey,
}

impl Database {
    /// Begins a write, unless the same was done before.
    ///
    /// # Errors
    /// [`StoreError::KeyReused`] when the key came before with another request.
    pub async fn begin(&self, caller: &Caller, key: WriteKey) -> StoreResult<Begun> {
        let mut tx = self.pool.begin().await?;
        let person = caller.person_id.as_uuid();
        let wanted = key.key.as_uuid();
        // Two copies of one request that arrive together: the second waits here, then finds the receipt. The
        // two-part lock space is apart from the change log's.
        sqlx::query!(
            "SELECT pg_advisory_xact_lock(731, hashtext($1))",
            format!("{person}{wanted}")
        )
        .execute(&mut *tx)
        .await?;
        let before = sqlx::query!(
            "SELECT request_hash, status, etag, location, body FROM receipt WHERE person_id = $1 AND key = $2",
            person,
            wanted
        )
        .fetch_optional(&mut *tx)
        .await?;
        match before {
            None => Ok(Begun::Fresh(WriteTx { tx, person, key })),
            Some(row) if row.request_hash == key.request_hash => Ok(Begun::Repeated(Reply {
                status: u16::try_from(row.status).unwrap_or(200),
                etag: row.etag,
                location: row.location,
                body: row.body,
            })),
            Some(_) => Err(StoreError::KeyReused),
        }
    }
}

impl WriteTx {
    /// The connection to work on.
    pub fn conn(&mut self) -> &mut Conn {
        &mut self.tx
    }

    /// Stores the receipt of the caller it was begun for, and commits.
    ///
    /// # Errors
    /// When the database refuses or can't be reached: then nothing was done.
    pub async fn finish<T: Serialize>(mut self, written: Written<'_, T>) -> StoreResult<Reply> {
        let json = |value: Option<&T>| {
            value
                .map(serde_json::to_string)
                .transpose()
                .map_err(|error| StoreError::Fault(error.to_string()))
        };
        let kept = json(written.stored)?;
        let reply = Reply {
            status: written.status,
            etag: written.version.map(|version| format!("\"{version}\"")),
            location: written.location,
            body: json(written.value)?,
        };
        sqlx::query!(
            "INSERT INTO receipt (person_id, key, request_hash, status, etag, location, body)
             VALUES ($1, $2, $3, $4, $5, $6, $7)",
            self.person,
            self.key.key.as_uuid(),
            &self.key.request_hash[..],
            i16::try_from(reply.status).unwrap_or(200),
            reply.etag,
            reply.location,
            kept
        )
        .execute(&mut *self.tx)
        .await?;
        self.tx.commit().await?;
        Ok(reply)
    }
}
