//! One-time tokens: the first password of a login, a new one after a reset, and the first admin.

use std::time::Duration;

use formula::id::PersonId;
use formula::naming::{LoginName, PersonName};
use formula::wire::v1::{ClaimRequest, OneTimeToken};

use super::passwords::ChosenPassword;
use super::sessions::new_id;
use super::{App, AppError, AppResult, one_time};
use crate::store::claims::{self, Claim};
use crate::store::sessions::{self, Ended};
use crate::store::{Conn, logins};

/// Long enough to walk from the host to a terminal.
const ADMIN_INIT_LIFE: Duration = Duration::from_secs(15 * 60);
/// A long weekend, for the token that a manager hands to a new clerk.
pub(super) const PERSON_LIFE: Duration = Duration::from_secs(72 * 3600);

/// Whose password a token sets.
enum Whose {
    Person(PersonId, LoginName),
    Admin(LoginName, PersonName),
}

impl Whose {
    fn login(&self) -> &LoginName {
        match self {
            Self::Person(_, login) | Self::Admin(login, _) => login,
        }
    }
}

impl App {
    /// The token that makes an admin's login, or sets a locked-out admin's password; the one before it ends. For
    /// whoever may run the server's own commands, so there is no caller.
    ///
    /// # Errors
    /// As [`AppError`] says.
    pub async fn admin_init_token(&self) -> AppResult<OneTimeToken> {
        let (token, hash) = one_time::claim_token()?;
        let mut tx = self.db.plain().await?;
        let expires_at = claims::insert(tx.conn(), &hash, None, None, ADMIN_INIT_LIFE).await?;
        tx.commit().await?;
        tracing::warn!("a one-time token for an admin's login was made on this machine");
        Ok(OneTimeToken { token, expires_at })
    }

    /// Sets a password by a one-time token. All sessions of the person end.
    ///
    /// # Errors
    /// [`AppError::Invalid`] for a token that is not good, or a password or name that is not taken; the token stays
    /// good then.
    pub async fn claim(&self, request: ClaimRequest) -> AppResult<()> {
        let hash = one_time::claim_hash(&request.token).ok_or_else(unknown)?;
        let named = (request.login, request.display_name);
        // Looked at before the password is hashed: only who holds a good token may keep the hasher busy.
        let whose = {
            let mut tx = self.db.plain().await?;
            whose(tx.conn(), &hash, &named).await?
        };
        let password =
            ChosenPassword::choose("password", request.password, whose.login().as_str())?;
        let kept = self.passwords.hash(&password).await?;
        let mut tx = self.db.plain().await?;
        let person = match self::whose(tx.conn(), &hash, &named).await? {
            Whose::Person(person, _) => {
                logins::set_password(tx.conn(), person, &kept).await?;
                claims::end_open(tx.conn(), Some(person)).await?;
                person
            }
            Whose::Admin(login, name) => {
                claims::end_open(tx.conn(), None).await?;
                set_admin(tx.conn(), &login, &name, &kept).await?
            }
        };
        sessions::end_all(tx.conn(), person, None, Ended::PasswordChanged).await?;
        Ok(tx.commit().await?)
    }
}

async fn set_admin(
    conn: &mut Conn,
    login: &LoginName,
    name: &PersonName,
    kept: &str,
) -> AppResult<PersonId> {
    let Some(known) = logins::by_name(conn, login).await? else {
        let person = new_id()?;
        logins::insert_admin(conn, person, login, name, kept).await?;
        return Ok(person);
    };
    if !logins::is_admin(conn, known.person).await? {
        return Err(AppError::AlreadyExists(format!(
            "the login {login} exists already and is no admin's"
        )));
    }
    if known.suspended {
        return Err(AppError::StateConflict {
            problem: format!("the login {login} is suspended"),
            remedy: "claim another login name; that admin can let this one in again".to_owned(),
        });
    }
    logins::set_password(conn, known.person, kept).await?;
    // What a manager of old may have handed out for it ends too.
    claims::end_open(conn, Some(known.person)).await?;
    Ok(known.person)
}

async fn whose(
    conn: &mut Conn,
    hash: &[u8; 32],
    named: &(Option<LoginName>, Option<PersonName>),
) -> AppResult<Whose> {
    let claim = claims::lock(conn, hash).await?.ok_or_else(unknown)?;
    let person = match claim {
        Claim { used: true, .. } => {
            return Err(token("was used already, or replaced by a newer one"));
        }
        Claim { expired: true, .. } => return Err(token("has run out")),
        Claim { person, .. } => person,
    };
    match (person, named) {
        (Some(person), (None, None)) => {
            let login = logins::by_person(conn, person).await?.ok_or_else(unknown)?;
            if login.suspended {
                return Err(AppError::StateConflict {
                    problem: "the login is suspended".to_owned(),
                    remedy: "ask a manager to let it in again".to_owned(),
                });
            }
            Ok(Whose::Person(person, login.login))
        }
        (Some(_), (Some(_), _)) => Err(only_with_admin_init("login")),
        (Some(_), (None, Some(_))) => Err(only_with_admin_init("display_name")),
        (None, (Some(login), Some(name))) => Ok(Whose::Admin(login.clone(), name.clone())),
        (None, (login, _)) => Err(AppError::invalid(
            if login.is_none() {
                "login"
            } else {
                "display_name"
            },
            "is missing; the token of `secondcan-server admin init` makes a login",
            "give both login and display_name",
        )),
    }
}

fn token(problem: &str) -> AppError {
    AppError::invalid(
        "token",
        problem,
        "ask a manager for a new one; an admin runs `secondcan-server admin init` on the host",
    )
}

fn unknown() -> AppError {
    token("is not a one-time token of this server")
}

fn only_with_admin_init(field: &str) -> AppError {
    AppError::invalid(
        field,
        "is given, but this token is for a login that has its name",
        format!("leave {field} out"),
    )
}
