//! Sessions: what a login opens, and what logout, suspension or a role change ends.

use std::net::IpAddr;
use std::time::Duration;

use formula::id::{PersonId, SessionId, StoreId};
use formula::naming::LoginName;
use formula::role::Role;
use formula::wire::v1::{LoginRequest, Named, PasswordRequest, RefreshRequest, Tokens, WhoAmI};
use time::OffsetDateTime;

use super::passwords::{ChosenPassword, Compared, TypedPassword};
use super::{App, AppError, AppResult, Caller, one_time, tokens};
use crate::store::logins::{self, Counter, Held};
use crate::store::sessions::{self, Ended};
use crate::store::{Conn, access, claims, persons, stores};

/// Staff log in once a shift; a shift with its overtime is over then. Our choice, as NIST SP 800-63B-4 leaves it to
/// the service within 24 h at its second level.
const STAFF_SESSION: Duration = Duration::from_secs(14 * 3600);
/// A contractor reorders from a phone of one's own every few days. Our choice, within the 30 days of the same guide's
/// first level.
const CONTRACTOR_SESSION: Duration = Duration::from_secs(30 * 24 * 3600);
/// Longest text that is looked up as a login name.
const MAX_LOGIN: usize = 200;

/// A new id from the clock and the system's randomness.
pub(super) fn new_id<I: TryFrom<uuid::Uuid>>() -> AppResult<I> {
    I::try_from(uuid::Uuid::now_v7())
        .map_err(|_| AppError::Internal("a new id is not one".to_owned()))
}

impl App {
    /// The caller behind an access token. The session is looked up each time: one that ended a moment ago is out.
    ///
    /// # Errors
    /// [`AppError::TokenExpired`] or [`AppError::NotLoggedIn`].
    pub async fn authenticate(&self, token: &str) -> AppResult<Caller> {
        let claims = self.tokens.check(token)?;
        let mut read = self.db.one().await?;
        sessions::open_caller(&mut read, claims.sub, claims.sid)
            .await?
            .ok_or(AppError::NotLoggedIn("the session has ended"))
    }

    /// Opens a session by name and password. A name that nobody has, a suspended login and one without a password
    /// are answered like a wrong password, after as long.
    ///
    /// # Errors
    /// [`AppError::WrongCredentials`], [`AppError::TooManyTries`]; once the password was right,
    /// [`AppError::Invalid`] for a store that is missing or not the person's, [`AppError::StateConflict`] for a
    /// closed one.
    pub async fn log_in(&self, request: LoginRequest, address: IpAddr) -> AppResult<Tokens> {
        let typed = TypedPassword::read("password", request.password)?;
        let name = request.login.trim();
        let count = name.chars().count();
        if count == 0 || count > MAX_LOGIN {
            return Err(AppError::invalid(
                "login",
                format!("has {count} characters, not 1 to {MAX_LOGIN}"),
                "type the login name again",
            ));
        }
        let counted = self.count_try(&name.to_lowercase(), address).await?;
        let known = match name.parse::<LoginName>() {
            Ok(login) => {
                let mut read = self.db.read().await?;
                logins::by_name(&mut read, &login).await?
            }
            Err(_) => None,
        };
        let person = known.as_ref().map(|login| login.person);
        let hash = known
            .filter(|login| !login.suspended)
            .and_then(|login| login.hash);
        let compared = self.passwords.compare(&typed, hash.as_deref()).await?;
        let (Some(person), Some(hash), Compared::Right { stale }) = (person, hash, compared) else {
            return self.wrong_login(person).await;
        };
        let better = match stale {
            true => Some(self.passwords.hash_typed(&typed).await?),
            false => None,
        };
        let mut tx = self.db.plain().await?;
        let Some(held) = logins::hold(tx.conn(), person, &hash).await? else {
            drop(tx);
            return self.wrong_login(Some(person)).await;
        };
        counted.was_right(tx.conn()).await?;
        if let Some(better) = better {
            logins::rehash(tx.conn(), person, &better).await?;
        }
        let store = match choose_store(tx.conn(), &held, request.store_id).await {
            Ok(store) => store,
            Err(refusal) => {
                // The password was right: what that opened stays open.
                tx.commit().await?;
                return Err(refusal);
            }
        };
        let life = match held.roles.contains(&Role::Contractor) {
            true => CONTRACTOR_SESSION,
            false => STAFF_SESSION,
        };
        let session: SessionId = new_id()?;
        sessions::open(tx.conn(), session, person, store, life).await?;
        let tokens = self.pair(tx.conn(), person, session).await?;
        tx.commit().await?;
        Ok(tokens)
    }

    async fn wrong_login<T>(&self, person: Option<PersonId>) -> AppResult<T> {
        let mut tx = self.db.plain().await?;
        access::note_failed_login(tx.conn(), person, None).await?;
        tx.commit().await?;
        Err(AppError::WrongCredentials)
    }

    /// Exchanges a refresh token for a new pair. A token that comes a second time ends its session: one of the two
    /// who sent it had no right to it, and the server can't tell which.
    ///
    /// # Errors
    /// [`AppError::NotLoggedIn`].
    pub async fn refresh(&self, request: RefreshRequest) -> AppResult<Tokens> {
        let hash = one_time::refresh_hash(&request.refresh_token);
        let mut tx = self.db.plain().await?;
        let token = sessions::use_refresh(tx.conn(), &hash)
            .await?
            .ok_or(AppError::NotLoggedIn(
                "the refresh token is not one of this server's",
            ))?;
        if token.used {
            if token.open {
                sessions::end(tx.conn(), token.session, Ended::RefreshReused).await?;
                access::note_failed_login(tx.conn(), Some(token.person), token.store).await?;
            }
            tx.commit().await?;
            return Err(AppError::NotLoggedIn(
                "the refresh token was used before; its session has ended, in case it was stolen",
            ));
        }
        if !token.open {
            return Err(AppError::NotLoggedIn("the session has ended"));
        }
        let tokens = self.pair(tx.conn(), token.person, token.session).await?;
        tx.commit().await?;
        Ok(tokens)
    }

    async fn pair(
        &self,
        conn: &mut Conn,
        person: PersonId,
        session: SessionId,
    ) -> AppResult<Tokens> {
        let (refresh_token, hash) = one_time::refresh_token()?;
        sessions::add_refresh(conn, session, &hash).await?;
        let now = OffsetDateTime::now_utc().unix_timestamp();
        Ok(Tokens {
            access_token: self.tokens.issue(person, session, now)?,
            expires_in_s: u32::try_from(tokens::ACCESS_LIFE.as_secs()).unwrap_or(600),
            refresh_token,
            session_id: session,
        })
    }

    /// Ends the caller's session.
    ///
    /// # Errors
    /// As [`AppError`] says.
    pub async fn log_out(&self, caller: &Caller) -> AppResult<()> {
        let mut tx = self.db.plain().await?;
        sessions::end(tx.conn(), caller.session_id, Ended::Logout).await?;
        Ok(tx.commit().await?)
    }

    /// Changes the caller's own password. All other sessions of the person end, and open one-time tokens too.
    ///
    /// # Errors
    /// [`AppError::Invalid`] when the present password is not right or the new one is not taken;
    /// [`AppError::TooManyTries`].
    pub async fn change_password(
        &self,
        caller: &Caller,
        request: PasswordRequest,
        address: IpAddr,
    ) -> AppResult<()> {
        let current = TypedPassword::read("current", request.current)?;
        let login = {
            let mut read = self.db.read().await?;
            logins::by_person(&mut read, caller.person_id).await?
        };
        let login = login.ok_or(AppError::NotLoggedIn("the session has ended"))?;
        let new = ChosenPassword::choose("new", request.new, login.login.as_str())?;
        let counted = self.count_try(login.login.as_str(), address).await?;
        let compared = self
            .passwords
            .compare(&current, login.hash.as_deref())
            .await?;
        let (Compared::Right { .. }, Some(hash)) = (compared, login.hash) else {
            let mut tx = self.db.plain().await?;
            access::note_failed_login(tx.conn(), Some(caller.person_id), caller.store_id).await?;
            tx.commit().await?;
            return Err(AppError::invalid(
                "current",
                "is not the password in force",
                "type it again; a manager can reset it",
            ));
        };
        if current.same_as(&new) {
            return Err(AppError::invalid(
                "new",
                "is the password in force",
                "choose another one",
            ));
        }
        let kept = self.passwords.hash(&new).await?;
        let mut tx = self.db.plain().await?;
        // Another change or a reset may have come in between.
        logins::hold(tx.conn(), caller.person_id, &hash)
            .await?
            .ok_or(AppError::NotLoggedIn("the password was changed meanwhile"))?;
        counted.was_right(tx.conn()).await?;
        logins::set_password(tx.conn(), caller.person_id, &kept).await?;
        claims::end_open(tx.conn(), Some(caller.person_id)).await?;
        let this = Some(caller.session_id);
        sessions::end_all(tx.conn(), caller.person_id, this, Ended::PasswordChanged).await?;
        Ok(tx.commit().await?)
    }

    /// Who the caller is, and at which store's counter.
    ///
    /// # Errors
    /// As [`AppError`] says.
    pub async fn who_am_i(&self, caller: &Caller) -> AppResult<WhoAmI> {
        let mut read = self.db.read().await?;
        let person = persons::find(&mut read, caller, caller.person_id)
            .await?
            .ok_or(AppError::NotLoggedIn("the session has ended"))?;
        let store = match caller.store_id {
            Some(id) => stores::find(&mut read, caller, id)
                .await?
                .map(|store| Named {
                    id,
                    name: store.name.to_string(),
                }),
            None => None,
        };
        Ok(WhoAmI {
            person,
            session_id: caller.session_id,
            store,
        })
    }
}

/// At which counter the session is opened: the one asked for if the person works there, else the only one there is.
/// Who works at several and names none can look (names of stores are only seen by who is logged in), not write.
async fn choose_store(
    conn: &mut Conn,
    held: &Held,
    asked: Option<StoreId>,
) -> AppResult<Option<StoreId>> {
    if held.roles.contains(&Role::Contractor) {
        return match asked {
            None => Ok(None),
            Some(_) => Err(AppError::invalid(
                "store_id",
                "a contractor's login belongs to no store",
                "leave store_id out",
            )),
        };
    }
    let open: Vec<&Counter> = held.counters.iter().filter(|store| !store.closed).collect();
    let choice = open
        .iter()
        .map(|store| format!("{} ({})", store.name, store.id))
        .collect::<Vec<_>>()
        .join(", ");
    let elsewhere = match choice.as_str() {
        "" => "ask an admin for a store to work at".to_owned(),
        choice => format!("log in at a store of yours: {choice}"),
    };
    let closed = |name: &str| AppError::StateConflict {
        problem: format!("the store {name} is closed"),
        remedy: elsewhere.clone(),
    };
    if let Some(asked) = asked {
        let mut counter = held
            .counters
            .iter()
            .find(|store| store.id == asked)
            .cloned();
        if counter.is_none() && held.roles.contains(&Role::Admin) {
            counter = logins::counter(conn, asked).await?;
        }
        return match counter {
            Some(store) if store.closed => Err(closed(&store.name)),
            Some(store) => Ok(Some(store.id)),
            None => Err(AppError::invalid(
                "store_id",
                format!("{asked} is no store of yours"),
                elsewhere,
            )),
        };
    }
    match (open.as_slice(), held.counters.as_slice()) {
        ([only], _) => Ok(Some(only.id)),
        ([], []) => Ok(None),
        ([], [shut, ..]) => match held.roles.iter().any(|role| needs_store(*role)) {
            true => Err(closed(&shut.name)),
            false => Ok(None),
        },
        // At none yet: what is written at a counter is refused until the person says at which.
        _ => Ok(None),
    }
}

/// Whether the role's work is at a counter.
pub(super) fn needs_store(role: Role) -> bool {
    match role {
        Role::Clerk | Role::Manager => true,
        Role::Contractor | Role::ColorLead | Role::Admin => false,
    }
}
