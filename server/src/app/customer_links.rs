//! Which customers a contractor's login stands for.

use formula::id::{CustomerId, PersonId};
use formula::role::Role;
use formula::wire::v1::{AccessAct, CustomerLink, Page};

use super::policy::{Act, require};
use super::{App, AppError, AppResult, Caller};
use crate::store::write::{Begun, PageAsk, Reply, WriteKey, Written};
use crate::store::{Conn, access, customer_links, persons};

impl App {
    /// The customers of a contractor's login, in order of id.
    ///
    /// # Errors
    /// As [`AppError`] says.
    pub async fn list_customer_links(
        &self,
        caller: &Caller,
        person: PersonId,
        ask: PageAsk,
    ) -> AppResult<Page<CustomerLink>> {
        require(caller, Act::LinkCustomers)?;
        let mut read = self.db.read().await?;
        persons::find(&mut read, caller, person)
            .await?
            .ok_or(AppError::NotFound("person"))?;
        Ok(customer_links::list(&mut read, caller, person, ask).await?)
    }

    /// Lets a contractor's login see a customer; one that does already stays as it is.
    ///
    /// # Errors
    /// As [`AppError`] says.
    pub async fn link_customer(
        &self,
        caller: &Caller,
        key: WriteKey,
        person: PersonId,
        customer: CustomerId,
    ) -> AppResult<Reply> {
        require(caller, Act::LinkCustomers)?;
        let mut tx = match self.db.begin(caller, key).await? {
            Begun::Fresh(tx) => tx,
            Begun::Repeated(reply) => return Ok(reply),
        };
        lock_contractor(tx.conn(), caller, person).await?;
        let linked = customer_links::link(tx.conn(), caller, person, customer)
            .await?
            .ok_or(AppError::NotFound("customer"))?;
        // The answer names the customer, as opening it would.
        let act = AccessAct::CustomerOpened;
        let entity = customer.as_uuid();
        access::note_opened(tx.conn(), caller, act, entity, linked.store).await?;
        Ok(tx.finish(Written::changed(&linked.link)).await?)
    }

    /// Takes a customer out of a contractor's sight, from the next request on.
    ///
    /// # Errors
    /// As [`AppError`] says.
    pub async fn unlink_customer(
        &self,
        caller: &Caller,
        key: WriteKey,
        person: PersonId,
        customer: CustomerId,
    ) -> AppResult<Reply> {
        require(caller, Act::LinkCustomers)?;
        let mut tx = match self.db.begin(caller, key).await? {
            Begun::Fresh(tx) => tx,
            Begun::Repeated(reply) => return Ok(reply),
        };
        lock_contractor(tx.conn(), caller, person).await?;
        if !customer_links::unlink(tx.conn(), caller, person, customer).await? {
            return Err(AppError::NotFound("link to this customer"));
        }
        Ok(tx.finish(Written::removed()).await?)
    }
}

/// Holds the login until the transaction ends, so that it does not become staff's meanwhile.
async fn lock_contractor(conn: &mut Conn, caller: &Caller, person: PersonId) -> AppResult<()> {
    let person = persons::lock(conn, caller, person)
        .await?
        .ok_or(AppError::NotFound("person"))?;
    if person.roles == [Role::Contractor] {
        return Ok(());
    }
    Err(AppError::StateConflict {
        problem: "only a contractor's login is linked to customers; staff see all of them"
            .to_owned(),
        remedy: "name a contractor's login".to_owned(),
    })
}
