//! Persons: the logins. A manager keeps those of the clerks of the own stores and of contractors, an admin all.

use formula::id::{PersonId, StoreId};
use formula::role::Role;
use formula::wire::v1::{NewPerson, OneTimeToken, Page, Person, PersonAdded, PersonEdit};

use super::claims::PERSON_LIFE;
use super::policy::{Act, require};
use super::sessions::needs_store;
use super::{App, AppError, AppResult, Caller, one_time};
use crate::store::sessions::{self, Ended};
use crate::store::write::{Begun, PageAsk, Reply, WriteKey, WriteTx, Written};
use crate::store::{Conn, claims, persons};

impl App {
    /// The logins that the caller may see, in order of id.
    ///
    /// # Errors
    /// As [`AppError`] says.
    pub async fn list_persons(&self, caller: &Caller, ask: PageAsk) -> AppResult<Page<Person>> {
        require(caller, Act::SeePersons)?;
        let mut read = self.db.read().await?;
        Ok(persons::list(&mut read, caller, ask).await?)
    }

    /// One login.
    ///
    /// # Errors
    /// As [`AppError`] says.
    pub async fn show_person(&self, caller: &Caller, id: PersonId) -> AppResult<Person> {
        require(caller, Act::SeePersons)?;
        let mut read = self.db.read().await?;
        persons::find(&mut read, caller, id)
            .await?
            .ok_or(AppError::NotFound("person"))
    }

    /// Adds a login, with the one-time token by which its person chooses a password.
    ///
    /// # Errors
    /// As [`AppError`] says.
    pub async fn add_person(
        &self,
        caller: &Caller,
        key: WriteKey,
        mut new: NewPerson,
    ) -> AppResult<Reply> {
        require(caller, Act::EditPersons)?;
        let mut tx = match self.db.begin(caller, key).await? {
            Begun::Fresh(tx) => tx,
            Begun::Repeated(reply) => return Ok(reply),
        };
        new.roles.sort_unstable_by_key(|role| role.as_str());
        new.stores.sort_unstable();
        check_roles_and_stores(&new.roles, &new.stores)?;
        within_bounds(caller, &new.roles, &[], &new.stores)?;
        check_stores_exist(tx.conn(), caller, &new.stores).await?;
        let person = persons::insert(tx.conn(), caller, &new).await?;
        let claim = hand_out(&mut tx, caller, person.id).await?;
        let shown = PersonAdded {
            person,
            claim: Some(claim),
        };
        let kept = PersonAdded {
            person: shown.person.clone(),
            claim: None,
        };
        let written = Written::created(&shown, format!("/api/v1/persons/{}", shown.person.id))
            .stored_as(&kept)
            .at_version(shown.person.version);
        Ok(tx.finish(written).await?)
    }

    /// Renames, moves, promotes, suspends or lets in again.
    ///
    /// # Errors
    /// As [`AppError`] says.
    pub async fn edit_person(
        &self,
        caller: &Caller,
        key: WriteKey,
        id: PersonId,
        version: i32,
        edit: PersonEdit,
    ) -> AppResult<Reply> {
        require(caller, Act::EditPersons)?;
        let mut tx = match self.db.begin(caller, key).await? {
            Begun::Fresh(tx) => tx,
            Begun::Repeated(reply) => return Ok(reply),
        };
        // Before the row itself: two admins who take each other's role must not wait for each other.
        persons::lock_admins(tx.conn(), caller).await?;
        let now = persons::lock(tx.conn(), caller, id)
            .await?
            .ok_or(AppError::NotFound("person"))?;
        AppError::unless_version("person", now.version, version)?;
        let next = edited(&now, edit);
        check_roles_and_stores(&next.roles, &next.stores)?;
        let moved = next.roles != now.roles || next.stores != now.stores;
        let was_admin = now.roles.contains(&Role::Admin) && !now.suspended;
        let is_admin = next.roles.contains(&Role::Admin) && !next.suspended;
        if was_admin && !is_admin && !persons::other_admin(tx.conn(), caller, id).await? {
            return Err(AppError::StateConflict {
                problem: "this is the last admin who can log in".to_owned(),
                remedy: "make somebody else an admin first, and let them choose a password"
                    .to_owned(),
            });
        }
        if id == caller.person_id && (moved || next.suspended || !caller.is(Role::Admin)) {
            return Err(AppError::NotAllowed(
                "nobody changes the own login's roles, stores or suspension; another admin does"
                    .to_owned(),
            ));
        }
        within_bounds(caller, &now.roles, &now.stores, &now.stores)?;
        within_bounds(caller, &next.roles, &now.stores, &next.stores)?;
        if next.stores != now.stores {
            check_stores_exist(tx.conn(), caller, &next.stores).await?;
        }
        persons::update(tx.conn(), caller, &next).await?;
        if next.suspended && !now.suspended {
            sessions::end_all(tx.conn(), id, None, Ended::Suspended).await?;
            claims::end_open(tx.conn(), Some(id)).await?;
        } else if moved {
            sessions::end_all(tx.conn(), id, None, Ended::RolesChanged).await?;
        }
        Ok(tx
            .finish(Written::changed(&next).at_version(next.version))
            .await?)
    }

    /// Hands out a one-time token for a new password. The old one stays until the token is claimed; all sessions of
    /// the person end at once. Since the token is shown only once, the same request again is refused.
    ///
    /// # Errors
    /// As [`AppError`] says.
    pub async fn reset_person(
        &self,
        caller: &Caller,
        key: WriteKey,
        id: PersonId,
    ) -> AppResult<Reply> {
        require(caller, Act::EditPersons)?;
        let Begun::Fresh(mut tx) = self.db.begin(caller, key).await? else {
            return Err(AppError::StateConflict {
                problem: "this reset was done before, and its token is shown only once".to_owned(),
                remedy: "reset again with a new Idempotency-Key; the earlier token ends".to_owned(),
            });
        };
        let now = persons::lock(tx.conn(), caller, id)
            .await?
            .ok_or(AppError::NotFound("person"))?;
        if id == caller.person_id {
            return Err(AppError::NotAllowed(
                "nobody resets the own login; change the password instead".to_owned(),
            ));
        }
        within_bounds(caller, &now.roles, &now.stores, &now.stores)?;
        if now.suspended {
            return Err(AppError::StateConflict {
                problem: "the login is suspended".to_owned(),
                remedy: "let it in again first".to_owned(),
            });
        }
        let claim = hand_out(&mut tx, caller, id).await?;
        sessions::end_all(tx.conn(), id, None, Ended::PasswordChanged).await?;
        Ok(tx.finish(Written::changed(&claim).not_stored()).await?)
    }
}

async fn hand_out(tx: &mut WriteTx, caller: &Caller, person: PersonId) -> AppResult<OneTimeToken> {
    let (token, hash) = one_time::claim_token()?;
    let maker = Some(caller.person_id);
    let expires_at = claims::insert(tx.conn(), &hash, Some(person), maker, PERSON_LIFE).await?;
    Ok(OneTimeToken { token, expires_at })
}

fn edited(now: &Person, edit: PersonEdit) -> Person {
    let mut next = now.clone();
    next.version += 1;
    if let Some(name) = edit.display_name {
        next.display_name = name;
    }
    if let Some(mut roles) = edit.roles {
        roles.sort_unstable_by_key(|role| role.as_str());
        next.roles = roles;
    }
    if let Some(mut stores) = edit.stores {
        stores.sort_unstable();
        next.stores = stores;
    }
    next.suspended = edit.suspended.unwrap_or(now.suspended);
    next
}

/// Roles and stores, sorted, that fit together.
fn check_roles_and_stores(roles: &[Role], stores: &[StoreId]) -> AppResult<()> {
    let twice = |field: &str| AppError::invalid(field, "names one twice", "name each once");
    if roles.is_empty() {
        return Err(AppError::invalid(
            "roles",
            "is empty",
            "give at least one role",
        ));
    }
    if roles.windows(2).any(|pair| pair[0] == pair[1]) {
        return Err(twice("roles"));
    }
    if stores.windows(2).any(|pair| pair[0] == pair[1]) {
        return Err(twice("stores"));
    }
    if stores.len() > 200 {
        return Err(AppError::invalid(
            "stores",
            format!("names {} stores, more than 200", stores.len()),
            "name fewer",
        ));
    }
    if roles.contains(&Role::Contractor) {
        if roles.len() > 1 {
            return Err(AppError::invalid(
                "roles",
                "has contractor beside another role; that login would see every customer",
                "make two logins",
            ));
        }
        if !stores.is_empty() {
            return Err(AppError::invalid(
                "stores",
                "names a store, but a contractor works at none",
                "leave stores empty and link the login to its customers",
            ));
        }
    }
    if stores.is_empty()
        && let Some(role) = roles.iter().find(|role| needs_store(**role))
    {
        return Err(AppError::invalid(
            "stores",
            format!("is empty, but a {} works at a store", role.human_name()),
            "give at least one store",
        ));
    }
    Ok(())
}

/// A manager keeps logins that are a clerk's or a contractor's and nothing else, and gives or takes own stores only.
fn within_bounds(
    caller: &Caller,
    roles: &[Role],
    before: &[StoreId],
    after: &[StoreId],
) -> AppResult<()> {
    if caller.is(Role::Admin) {
        return Ok(());
    }
    if !matches!(roles, [Role::Clerk] | [Role::Contractor]) {
        return Err(AppError::NotAllowed(
            "a manager keeps the logins of clerks and contractors only; other roles take an admin"
                .to_owned(),
        ));
    }
    let foreign = before
        .iter()
        .filter(|store| !after.contains(store))
        .chain(after.iter().filter(|store| !before.contains(store)))
        .any(|store| !caller.stores.contains(store));
    if foreign {
        return Err(AppError::NotAllowed(
            "a manager gives and takes only stores of the own; others take an admin".to_owned(),
        ));
    }
    Ok(())
}

async fn check_stores_exist(conn: &mut Conn, caller: &Caller, stores: &[StoreId]) -> AppResult<()> {
    match persons::missing_store(conn, caller, stores).await? {
        None => Ok(()),
        Some(missing) => Err(AppError::invalid(
            "stores",
            format!("{missing} is no store"),
            "list the stores and take an id from there",
        )),
    }
}
