//! Puts the demo into an empty library.

use std::io;

use formula::naming::{LoginName, StoreName};
use formula::phone::PhoneRegion;
use formula::role::Role;
use zeroize::Zeroizing;

use super::{Flaw, Library, generate, passphrase};
use crate::app::AppError;
use crate::app::passwords::Passwords;
use crate::store::bulk::{self, Content, PersonRow};
use crate::store::{Database, StoreError};

/// Why the demo was not loaded. Nothing of it is in the library then.
#[derive(Debug, thiserror::Error)]
pub enum DemoError {
    /// There is something in the library already.
    #[error(
        "the library is not empty: the demo goes into an empty library only; give it a data folder or a database of its own"
    )]
    NotEmpty,
    /// The data themselves.
    #[error(transparent)]
    Flaw(#[from] Flaw),
    /// The database.
    #[error("the demo was not loaded: {0}")]
    Store(#[from] StoreError),
    /// A password was refused or not hashed.
    #[error("a password for the demo: {0}")]
    Password(AppError),
    /// The system gave no random bytes.
    #[error("the system has no randomness for passwords")]
    NoRandomness,
    /// The logins could not be handed over, so the demo was taken back.
    #[error("the demo's logins could not be kept: {0}")]
    Handover(io::Error),
}

/// A login of the demo with its password, which stands nowhere else.
pub struct DemoLogin {
    /// The name typed at login.
    pub login: LoginName,
    /// What it may do.
    pub role: Role,
    /// Where the person works; empty for contractors.
    pub stores: Vec<StoreName>,
    /// The password.
    pub password: Zeroizing<String>,
}

/// What came of it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Loaded {
    /// The demo is in the library now, and its logins were handed over.
    Fresh {
        /// How many matches.
        matches: usize,
        /// How many customers.
        customers: usize,
    },
    /// It was there before; its passwords are not known here any more.
    AlreadyThere,
}

/// Loads the demo in one transaction. `keep` gets the logins with their passwords just before it is committed: where it
/// fails, nothing is loaded, so there is never a demo whose passwords nobody has.
///
/// # Errors
/// [`DemoError`]; the library is unchanged then.
pub async fn load(
    db: &Database,
    passwords: &Passwords,
    keep: impl FnOnce(&[DemoLogin]) -> io::Result<()>,
) -> Result<Loaded, DemoError> {
    let library = tokio::task::spawn_blocking(generate)
        .await
        .map_err(|error| Flaw(format!("making it ended early: {error}")))??;
    let Some(first_store) = library.stores.first().map(|store| store.id) else {
        return Err(Flaw("no store".to_owned()).into());
    };
    let mut tx = db.plain().await?;
    match bulk::content(tx.conn(), first_store).await? {
        Content::HasStore => return Ok(Loaded::AlreadyThere),
        Content::Other => return Err(DemoError::NotEmpty),
        Content::Empty => {}
    }
    let (persons, logins) = persons(&library, passwords).await?;
    let conn = tx.conn();
    bulk::insert_stores(conn, &library.stores).await?;
    bulk::insert_persons(conn, &persons).await?;
    bulk::insert_colorants(conn, &library.colorants).await?;
    bulk::insert_products(conn, &library.products).await?;
    bulk::insert_bases(conn, &library.bases).await?;
    bulk::insert_instruments(conn, &library.instruments).await?;
    bulk::insert_calibrations(conn, &library.calibrations).await?;
    bulk::insert_customers(conn, &library.customers, PhoneRegion::UnitedStates).await?;
    bulk::insert_links(conn, &library.links).await?;
    bulk::insert_matches(conn, &library.matches).await?;
    bulk::insert_revisions(conn, &library.revisions, &library.matches).await?;
    bulk::insert_drawdowns(conn, &library.drawdowns).await?;
    bulk::insert_reorders(conn, &library.reorders).await?;
    bulk::insert_tints(conn, &library.tints).await?;
    bulk::insert_faults(conn, &library.faults).await?;
    bulk::insert_notes(conn, &library.notes).await?;
    keep(&logins).map_err(DemoError::Handover)?;
    tx.commit().await?;
    Ok(Loaded::Fresh {
        matches: library.matches.len(),
        customers: library.customers.len(),
    })
}

/// The logins with the hashes of new passwords, and with the passwords themselves.
async fn persons(
    library: &Library,
    passwords: &Passwords,
) -> Result<(Vec<PersonRow>, Vec<DemoLogin>), DemoError> {
    let (mut rows, mut logins) = (Vec::new(), Vec::new());
    for person in &library.persons {
        let (password, chosen) = passphrase::draw(person.login.as_str())?;
        let password_hash = passwords.hash(&chosen).await.map_err(DemoError::Password)?;
        rows.push(PersonRow {
            person: person.clone(),
            password_hash,
        });
        for &role in &person.roles {
            logins.push(DemoLogin {
                login: person.login.clone(),
                role,
                stores: library
                    .stores
                    .iter()
                    .filter(|store| person.stores.contains(&store.id))
                    .map(|store| store.name.clone())
                    .collect(),
                password: password.clone(),
            });
        }
    }
    Ok((rows, logins))
}
