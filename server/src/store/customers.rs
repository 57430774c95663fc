//! Rows of `customer`, `customer_phone`, `customer_name` and `customer_past`.

use formula::folding::{fold_company, fold_person};
use formula::id::{CustomerId, StoreId};
use formula::naming::{CustomerName, Note, PhoneLabel};
use formula::phone::PhoneRegion;
use formula::wire::v1::{Customer, CustomerInBrief, CustomerKind, Named, NewJob, Page, Phone};
use serde::Serialize;
use uuid::Uuid;

use super::read_back::{id, kept, small, vanished};
use super::write::PageAsk;
use super::{Conn, StoreError, StoreResult, jobs};
use crate::app::Caller;

/// What of a customer can be edited, phones already in E.164.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Said {
    /// Person or company.
    pub kind: CustomerKind,
    /// The name.
    pub name: CustomerName,
    /// The phones, the first one first.
    pub phones: Vec<Phone>,
    /// A remark.
    pub note: Option<Note>,
}

/// The name as it is searched for.
fn folded(kind: CustomerKind, name: &CustomerName) -> String {
    match kind {
        CustomerKind::Person => fold_person(name.as_str()),
        CustomerKind::Company => fold_company(name.as_str()),
    }
}

struct BriefRow {
    id: Uuid,
    kind: String,
    name: String,
    store_id: Uuid,
    store_name: String,
    phone_ends: Option<String>,
    jobs: Vec<String>,
    matches: i64,
}

impl BriefRow {
    fn shown(self) -> StoreResult<CustomerInBrief> {
        Ok(CustomerInBrief {
            id: id(self.id)?,
            kind: kept(&self.kind)?,
            name: self.name,
            phone_ends: self.phone_ends,
            jobs: self.jobs,
            store: Named {
                id: id(self.store_id)?,
                name: self.store_name,
            },
            matches: self.matches,
        })
    }
}

/// Customers in brief, in order of id: for staff those of the store, or without one those of the caller's stores
/// (all for an admin); for a contractor those linked to the login.
///
/// # Errors
/// When the database can't be read.
pub async fn list(
    conn: &mut Conn,
    caller: &Caller,
    store: Option<StoreId>,
    ask: PageAsk,
) -> StoreResult<Page<CustomerInBrief>> {
    let own: Vec<Uuid> = caller.stores.iter().map(|store| store.as_uuid()).collect();
    let everywhere = caller.contractor().is_some() || caller.is(formula::role::Role::Admin);
    let rows = sqlx::query_as!(
        BriefRow,
        r#"SELECT c.id, c.kind, c.name AS "name!", c.store_id, s.name AS store_name,
                  (SELECT p.last_four FROM customer_phone p WHERE p.customer_id = c.id
                   ORDER BY p.position LIMIT 1) AS phone_ends,
                  ARRAY(SELECT j.label FROM job j WHERE j.customer_id = c.id AND j.label IS NOT NULL
                        ORDER BY j.id DESC LIMIT 3) AS "jobs!",
                  (SELECT count(*) FROM match m WHERE m.customer_id = c.id) AS "matches!"
           FROM customer c JOIN store s ON s.id = c.store_id
           WHERE c.erased_at IS NULL AND ($1::uuid IS NULL OR c.id > $1)
             AND ($3::uuid IS NULL OR EXISTS (SELECT FROM customer_link l
                                              WHERE l.customer_id = c.id AND l.person_id = $3))
             AND CASE WHEN $4::uuid IS NOT NULL THEN c.store_id = $4 ELSE $5 OR c.store_id = ANY ($6) END
           ORDER BY c.id LIMIT $2"#,
        ask.after,
        ask.fetch(),
        caller.contractor().map(Uuid::from),
        store.map(StoreId::as_uuid),
        everywhere,
        &own
    )
    .fetch_all(conn)
    .await?;
    let customers = rows
        .into_iter()
        .map(BriefRow::shown)
        .collect::<StoreResult<Vec<_>>>()?;
    Ok(ask.page(customers, |customer| customer.id.as_uuid()))
}

/// These customers in brief, in no order; erased ones are left out.
///
/// # Errors
/// When the database can't be read.
pub async fn in_brief(
    conn: &mut Conn,
    caller: &Caller,
    customers: &[CustomerId],
) -> StoreResult<Vec<CustomerInBrief>> {
    let wanted: Vec<Uuid> = customers.iter().map(|id| id.as_uuid()).collect();
    sqlx::query_as!(
        BriefRow,
        r#"SELECT c.id, c.kind, c.name AS "name!", c.store_id, s.name AS store_name,
                  (SELECT p.last_four FROM customer_phone p WHERE p.customer_id = c.id
                   ORDER BY p.position LIMIT 1) AS phone_ends,
                  ARRAY(SELECT j.label FROM job j WHERE j.customer_id = c.id AND j.label IS NOT NULL
                        ORDER BY j.id DESC LIMIT 3) AS "jobs!",
                  (SELECT count(*) FROM match m WHERE m.customer_id = c.id) AS "matches!"
           FROM customer c JOIN store s ON s.id = c.store_id
           WHERE c.erased_at IS NULL AND c.id = ANY ($1)
             AND ($2::uuid IS NULL OR EXISTS (SELECT FROM customer_link l
                                              WHERE l.customer_id = c.id AND l.person_id = $2))"#,
        &wanted,
        caller.contractor().map(Uuid::from)
    )
    .fetch_all(conn)
    .await?
    .into_iter()
    .map(BriefRow::shown)
    .collect()
}

/// One customer in full: any for staff, a linked one for a contractor.
///
/// # Errors
/// When the database can't be read.
pub async fn find(
    conn: &mut Conn,
    caller: &Caller,
    customer: CustomerId,
) -> StoreResult<Option<Customer>> {
    let row = sqlx::query!(
        r#"SELECT c.kind, c.name AS "name!", c.note, c.store_id, s.name AS store_name, c.version, c.created_at
           FROM customer c JOIN store s ON s.id = c.store_id
           WHERE c.id = $1 AND c.erased_at IS NULL
             AND ($2::uuid IS NULL OR EXISTS (SELECT FROM customer_link l
                                              WHERE l.customer_id = c.id AND l.person_id = $2))"#,
        customer.as_uuid(),
        caller.contractor().map(Uuid::from)
    )
    .fetch_optional(&mut *conn)
    .await?;
    let Some(row) = row else { return Ok(None) };
    Ok(Some(Customer {
        id: customer,
        kind: kept(&row.kind)?,
        name: kept(&row.name)?,
        phones: phones(&mut *conn, customer).await?,
        jobs: jobs::of_customer(conn, caller, customer).await?,
        note: row.note.as_deref().map(kept).transpose()?,
        store: Named {
            id: id(row.store_id)?,
            name: row.store_name,
        },
        version: row.version,
        created_at: row.created_at,
    }))
}

async fn phones(conn: &mut Conn, customer: CustomerId) -> StoreResult<Vec<Phone>> {
    let rows = sqlx::query!(
        "SELECT e164, label FROM customer_phone WHERE customer_id = $1 ORDER BY position",
        customer.as_uuid()
    )
    .fetch_all(conn)
    .await?;
    rows.into_iter()
        .map(|row| {
            Ok(Phone {
                number: kept(&row.e164)?,
                label: row.label.as_deref().map(kept::<PhoneLabel>).transpose()?,
            })
        })
        .collect()
}

/// One customer in full, held until the transaction ends.
///
/// # Errors
/// When the database can't be read.
pub async fn lock(
    conn: &mut Conn,
    caller: &Caller,
    customer: CustomerId,
) -> StoreResult<Option<Customer>> {
    sqlx::query!(
        "SELECT id FROM customer WHERE id = $1 FOR UPDATE",
        customer.as_uuid()
    )
    .fetch_optional(&mut *conn)
    .await?;
    find(conn, caller, customer).await
}

/// The region in which a phone without a country code is read: that of the session's store, or without one of the
/// chain's first store.
///
/// # Errors
/// When the database can't be read.
pub async fn phone_region(conn: &mut Conn, caller: &Caller) -> StoreResult<Option<PhoneRegion>> {
    let region = sqlx::query_scalar!(
        "SELECT phone_region FROM store ORDER BY (id = $1) DESC NULLS LAST, id LIMIT 1",
        caller.store_id.map(StoreId::as_uuid)
    )
    .fetch_optional(conn)
    .await?;
    region.as_deref().map(kept).transpose()
}

async fn write_phones(conn: &mut Conn, customer: CustomerId, phones: &[Phone]) -> StoreResult<()> {
    for (position, phone) in phones.iter().enumerate() {
        sqlx::query!(
            "INSERT INTO customer_phone (customer_id, position, e164, label) VALUES ($1, $2, $3, $4)",
            customer.as_uuid(),
            small::<_, i16>(position)?,
            phone.number.as_str(),
            phone.label.as_ref().map(PhoneLabel::as_str)
        )
        .execute(&mut *conn)
        .await?;
    }
    Ok(())
}

/// Adds a customer of the store, with jobs.
///
/// # Errors
/// When an id is taken.
pub async fn insert(
    conn: &mut Conn,
    caller: &Caller,
    customer: CustomerId,
    store: StoreId,
    said: &Said,
    new_jobs: &[NewJob],
) -> StoreResult<Customer> {
    sqlx::query!(
        "INSERT INTO customer (id, kind, name, note, store_id, created_by) VALUES ($1, $2, $3, $4, $5, $6)",
        customer.as_uuid(),
        said.kind.as_str(),
        said.name.as_str(),
        said.note.as_ref().map(Note::as_str),
        store.as_uuid(),
        caller.person_id.as_uuid()
    )
    .execute(&mut *conn)
    .await?;
    sqlx::query!(
        "INSERT INTO customer_name (customer_id, folded) VALUES ($1, $2)",
        customer.as_uuid(),
        folded(said.kind, &said.name)
    )
    .execute(&mut *conn)
    .await?;
    write_phones(conn, customer, &said.phones).await?;
    for job in new_jobs {
        jobs::insert(conn, caller, customer, job).await?;
    }
    find(conn, caller, customer).await?.ok_or_else(vanished)
}

/// Changes a customer that is held, keeps what the record said before, and raises its version.
///
/// # Errors
/// When the database refuses or can't be reached.
pub async fn update(
    conn: &mut Conn,
    caller: &Caller,
    now: Customer,
    next: &Said,
) -> StoreResult<Customer> {
    let was = Said {
        kind: now.kind,
        name: now.name,
        phones: now.phones,
        note: now.note,
    };
    sqlx::query!(
        "INSERT INTO customer_past (customer_id, version, was, changed_by) VALUES ($1, $2, $3, $4)",
        now.id.as_uuid(),
        now.version,
        serde_json::to_value(&was).map_err(|error| StoreError::Fault(error.to_string()))?,
        caller.person_id.as_uuid()
    )
    .execute(&mut *conn)
    .await?;
    sqlx::query!(
        "UPDATE customer SET kind = $2, name = $3, note = $4, version = $5, updated_at = now() WHERE id = $1",
        now.id.as_uuid(),
        next.kind.as_str(),
        next.name.as_str(),
        next.note.as_ref().map(Note::as_str),
        now.version + 1
    )
    .execute(&mut *conn)
    .await?;
    sqlx::query!(
        "UPDATE customer_name SET folded = $2 WHERE customer_id = $1",
        now.id.as_uuid(),
        folded(next.kind, &next.name)
    )
    .execute(&mut *conn)
    .await?;
    if next.phones != was.phones {
        sqlx::query!(
            "DELETE FROM customer_phone WHERE customer_id = $1",
            now.id.as_uuid()
        )
        .execute(&mut *conn)
        .await?;
        write_phones(conn, now.id, &next.phones).await?;
    }
    find(conn, caller, now.id).await?.ok_or_else(vanished)
}
