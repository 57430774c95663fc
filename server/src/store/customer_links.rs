//! Rows of `customer_link`.

use formula::id::{CustomerId, PersonId, StoreId};
use formula::wire::v1::{CustomerLink, Page};

use super::read_back::id;
use super::write::PageAsk;
use super::{Conn, StoreResult};
use crate::app::Caller;

/// A link with the store that keeps the customer.
#[derive(Debug, Clone)]
pub struct Linked {
    /// The link.
    pub link: CustomerLink,
    /// The customer's store.
    pub store: StoreId,
}

/// The links of a login, in order of customer. `app` has looked the person up as the caller may.
///
/// # Errors
/// When the database can't be read.
pub async fn list(
    conn: &mut Conn,
    _caller: &Caller,
    person: PersonId,
    ask: PageAsk,
) -> StoreResult<Page<CustomerLink>> {
    let rows = sqlx::query!(
        r#"SELECT l.customer_id, coalesce(c.name, '') AS "name!", l.linked_at
           FROM customer_link l JOIN customer c ON c.id = l.customer_id
           WHERE l.person_id = $1 AND ($2::uuid IS NULL OR l.customer_id > $2)
           ORDER BY l.customer_id LIMIT $3"#,
        person.as_uuid(),
        ask.after,
        ask.fetch()
    )
    .fetch_all(conn)
    .await?;
    let links = rows
        .into_iter()
        .map(|row| {
            Ok(CustomerLink {
                person_id: person,
                customer_id: id(row.customer_id)?,
                customer_name: row.name,
                linked_at: row.linked_at,
            })
        })
        .collect::<StoreResult<Vec<_>>>()?;
    Ok(ask.page(links, |link| link.customer_id.as_uuid()))
}

/// Links, unless linked; none when there is no such customer. Staff may see every customer, so the caller narrows
/// nothing.
///
/// # Errors
/// When the database refuses.
pub async fn link(
    conn: &mut Conn,
    caller: &Caller,
    person: PersonId,
    customer: CustomerId,
) -> StoreResult<Option<Linked>> {
    sqlx::query!(
        "INSERT INTO customer_link (person_id, customer_id, linked_by)
         SELECT $1, c.id, $3 FROM customer c WHERE c.id = $2 AND c.erased_at IS NULL
         ON CONFLICT (person_id, customer_id) DO NOTHING",
        person.as_uuid(),
        customer.as_uuid(),
        caller.person_id.as_uuid()
    )
    .execute(&mut *conn)
    .await?;
    let row = sqlx::query!(
        r#"SELECT c.name AS "name!", c.store_id, l.linked_at
           FROM customer_link l JOIN customer c ON c.id = l.customer_id
           WHERE l.person_id = $1 AND l.customer_id = $2 AND c.erased_at IS NULL"#,
        person.as_uuid(),
        customer.as_uuid()
    )
    .fetch_optional(conn)
    .await?;
    let Some(row) = row else { return Ok(None) };
    Ok(Some(Linked {
        link: CustomerLink {
            person_id: person,
            customer_id: customer,
            customer_name: row.name,
            linked_at: row.linked_at,
        },
        store: id(row.store_id)?,
    }))
}

/// Removes a link; false when there was none. `app` has looked the person up as the caller may.
///
/// # Errors
/// When the database refuses.
pub async fn unlink(
    conn: &mut Conn,
    _caller: &Caller,
    person: PersonId,
    customer: CustomerId,
) -> StoreResult<bool> {
    let gone = sqlx::query!(
        "DELETE FROM customer_link WHERE person_id = $1 AND customer_id = $2",
        person.as_uuid(),
        customer.as_uuid()
    )
    .execute(conn)
    .await?
    .rows_affected();
    Ok(gone > 0)
}
