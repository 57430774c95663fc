//! Customers and their jobs.

use formula::id::{CustomerId, JobId};
use formula::naming::Note;
use formula::phone::PhoneRegion;
use formula::wire::v1::{
    AccessAct, Customer, CustomerEdit, CustomerInBrief, JobEdit, NewCustomer, NewJob, NewPhone,
    Page, Phone,
};

use super::policy::{Act, require};
use super::{App, AppError, AppResult, Caller};
use crate::store::customers::{self, Said};
use crate::store::write::{Begun, PageAsk, Reply, WriteKey, Written};
use crate::store::{Conn, access, jobs};

/// Phones of a customer at most.
const PHONES: usize = 10;
/// Jobs at most in one request.
const JOBS: usize = 50;

impl App {
    /// Customers in brief, in order of id: for staff those of one store, or without `store` those of the caller's
    /// stores; for a contractor those linked to the login.
    ///
    /// # Errors
    /// As [`AppError`] says.
    pub async fn list_customers(
        &self,
        caller: &Caller,
        store: Option<formula::id::StoreId>,
        ask: PageAsk,
    ) -> AppResult<Page<CustomerInBrief>> {
        require(caller, Act::OpenCustomer)?;
        let mut read = self.db.read().await?;
        Ok(customers::list(&mut read, caller, store, ask).await?)
    }

    /// Opens a customer. Opening another store's is noted in the access log before the answer goes out.
    ///
    /// # Errors
    /// As [`AppError`] says.
    pub async fn open_customer(&self, caller: &Caller, id: CustomerId) -> AppResult<Customer> {
        require(caller, Act::OpenCustomer)?;
        let customer = {
            let mut read = self.db.read().await?;
            customers::find(&mut read, caller, id)
                .await?
                .ok_or(AppError::NotFound("customer"))?
        };
        let mut plain = self.db.plain().await?;
        note_opened(plain.conn(), caller, &customer).await?;
        plain.commit().await?;
        Ok(customer)
    }

    /// Adds a customer of the session's store.
    ///
    /// # Errors
    /// As [`AppError`] says.
    pub async fn add_customer(
        &self,
        caller: &Caller,
        key: WriteKey,
        new: NewCustomer,
    ) -> AppResult<Reply> {
        require(caller, Act::EditCustomers)?;
        let store = caller.counter()?;
        AppError::unless_within("phones", new.phones.len(), 0..=PHONES)?;
        AppError::unless_within("jobs", new.jobs.len(), 0..=JOBS)?;
        let mut tx = match self.db.begin(caller, key).await? {
            Begun::Fresh(tx) => tx,
            Begun::Repeated(reply) => return Ok(reply),
        };
        let said = Said {
            kind: new.kind,
            name: new.name,
            phones: normalized(tx.conn(), caller, new.phones).await?,
            note: new.note,
        };
        let customer =
            customers::insert(tx.conn(), caller, new.id, store, &said, &new.jobs).await?;
        let written = Written::created(&customer, format!("/api/v1/customers/{}", customer.id))
            .at_version(customer.version);
        Ok(tx.finish(written).await?)
    }

    /// Edits a customer. The answer shows the whole record, so another store's counts as opened.
    ///
    /// # Errors
    /// As [`AppError`] says.
    pub async fn edit_customer(
        &self,
        caller: &Caller,
        key: WriteKey,
        id: CustomerId,
        version: i32,
        edit: CustomerEdit,
    ) -> AppResult<Reply> {
        require(caller, Act::EditCustomers)?;
        let note = edit.note.map(|text| new_note(&text)).transpose()?;
        if let Some(phones) = &edit.phones {
            AppError::unless_within("phones", phones.len(), 0..=PHONES)?;
        }
        let mut tx = match self.db.begin(caller, key).await? {
            Begun::Fresh(tx) => tx,
            Begun::Repeated(reply) => return Ok(reply),
        };
        let now = customers::lock(tx.conn(), caller, id)
            .await?
            .ok_or(AppError::NotFound("customer"))?;
        AppError::unless_version("customer", now.version, version)?;
        let next = Said {
            kind: edit.kind.unwrap_or(now.kind),
            name: edit.name.unwrap_or_else(|| now.name.clone()),
            phones: match edit.phones {
                Some(phones) => normalized(tx.conn(), caller, phones).await?,
                None => now.phones.clone(),
            },
            note: note.unwrap_or_else(|| now.note.clone()),
        };
        let customer = customers::update(tx.conn(), caller, now, &next).await?;
        note_opened(tx.conn(), caller, &customer).await?;
        Ok(tx
            .finish(Written::changed(&customer).at_version(customer.version))
            .await?)
    }

    /// Adds a job of a customer.
    ///
    /// # Errors
    /// As [`AppError`] says.
    pub async fn add_job(
        &self,
        caller: &Caller,
        key: WriteKey,
        customer: CustomerId,
        new: NewJob,
    ) -> AppResult<Reply> {
        require(caller, Act::EditCustomers)?;
        let mut tx = match self.db.begin(caller, key).await? {
            Begun::Fresh(tx) => tx,
            Begun::Repeated(reply) => return Ok(reply),
        };
        // Held, so that no erasure comes between the look and the row.
        customers::lock(tx.conn(), caller, customer)
            .await?
            .ok_or(AppError::NotFound("customer"))?;
        let job = jobs::insert(tx.conn(), caller, customer, &new).await?;
        let written =
            Written::created(&job, format!("/api/v1/jobs/{}", job.id)).at_version(job.version);
        Ok(tx.finish(written).await?)
    }

    /// Gives a job another label.
    ///
    /// # Errors
    /// As [`AppError`] says.
    pub async fn edit_job(
        &self,
        caller: &Caller,
        key: WriteKey,
        id: JobId,
        version: i32,
        edit: JobEdit,
    ) -> AppResult<Reply> {
        require(caller, Act::EditCustomers)?;
        let mut tx = match self.db.begin(caller, key).await? {
            Begun::Fresh(tx) => tx,
            Begun::Repeated(reply) => return Ok(reply),
        };
        let now = jobs::lock(tx.conn(), caller, id)
            .await?
            .ok_or(AppError::NotFound("job"))?;
        AppError::unless_version("job", now.version, version)?;
        let job = jobs::relabel(tx.conn(), caller, now, edit.label).await?;
        Ok(tx
            .finish(Written::changed(&job).at_version(job.version))
            .await?)
    }
}

async fn note_opened(conn: &mut Conn, caller: &Caller, customer: &Customer) -> AppResult<()> {
    access::note_opened(
        conn,
        caller,
        AccessAct::CustomerOpened,
        customer.id.as_uuid(),
        customer.store.id,
    )
    .await?;
    Ok(())
}

/// A note from an edit: none when it is to be cleared.
fn new_note(text: &str) -> AppResult<Option<Note>> {
    if text.is_empty() {
        return Ok(None);
    }
    text.parse().map(Some).map_err(|error| {
        AppError::invalid(
            "note",
            format!("{error}"),
            "give visible text, or \"\" to clear the note",
        )
    })
}

/// Phones as typed, brought to E.164 in the region of the session's store, each once.
async fn normalized(
    conn: &mut Conn,
    caller: &Caller,
    typed: Vec<NewPhone>,
) -> AppResult<Vec<Phone>> {
    if typed.is_empty() {
        return Ok(Vec::new());
    }
    let region = customers::phone_region(conn, caller)
        .await?
        .ok_or(AppError::NotFound("store"))?;
    in_region(region, typed)
}

fn in_region(region: PhoneRegion, typed: Vec<NewPhone>) -> AppResult<Vec<Phone>> {
    let mut phones: Vec<Phone> = Vec::with_capacity(typed.len());
    for (index, phone) in typed.into_iter().enumerate() {
        let number = phone.number.normalize(region).map_err(|error| {
            AppError::invalid(
                format!("phones[{index}].number"),
                error.to_string(),
                "give it with its area code, or with + and the country code",
            )
        })?;
        if let Some(first) = phones.iter().position(|other| other.number == number) {
            return Err(AppError::invalid(
                format!("phones[{index}].number"),
                format!("is the same number as phones[{first}]"),
                "give each number once",
            ));
        }
        phones.push(Phone {
            number,
            label: phone.label,
        });
    }
    Ok(phones)
}
