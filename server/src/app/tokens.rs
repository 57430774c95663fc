//! Access tokens: JWT signed with Ed25519 (RFC 8725, RFC 9068). One algorithm, pinned; keys by id from the data
//! folder's `keys/`, so that an old key can be honored while a new one signs.

use std::collections::HashMap;
use std::fs;
use std::io::{self, Write as _};
use std::path::Path;
use std::time::Duration;

use aws_lc_rs::signature::{Ed25519KeyPair, KeyPair as _};
use formula::id::{PersonId, SessionId};
use jsonwebtoken::{Algorithm, DecodingKey, EncodingKey, Header, Validation};
use serde::{Deserialize, Serialize};

use super::{AppError, AppResult};

/// How long an access token is good.
pub const ACCESS_LIFE: Duration = Duration::from_secs(600);
const ISSUER: &str = "secondcan";
const AUDIENCE: &str = "secondcan-api";
const TOKEN_TYPE: &str = "at+jwt";

/// What an access token says.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct Claims {
    iss: String,
    aud: String,
    /// The person.
    pub sub: PersonId,
    /// The session.
    pub sid: SessionId,
    jti: uuid::Uuid,
    iat: i64,
    exp: i64,
}

/// The keys that sign and check access tokens.
pub struct TokenKeys {
    signing_id: String,
    signing: EncodingKey,
    checking: HashMap<String, DecodingKey>,
}

/// Why the keys can't be used.
#[derive(Debug, thiserror::Error)]
pub enum KeyError {
    /// A file can't be read or written.
    #[error("token key in {path}: {source}")]
    File {
        /// The folder or file.
        path: String,
        /// Why.
        source: io::Error,
    },
    /// A file is no Ed25519 key.
    #[error("{0} is no Ed25519 key in PKCS #8: move it away, or put back the right file")]
    NotAKey(String),
}

impl TokenKeys {
    /// Reads every key of the folder; makes the first one when there is none. The file with the greatest name signs.
    ///
    /// # Errors
    /// When a file can't be read, written, or is no key.
    pub fn open(folder: &Path) -> Result<Self, KeyError> {
        let at = |source| KeyError::File {
            path: folder.display().to_string(),
            source,
        };
        fs::create_dir_all(folder).map_err(at)?;
        owner_only(folder, 0o700).map_err(at)?;
        let mut names = Vec::new();
        for entry in fs::read_dir(folder).map_err(at)? {
            let name = entry
                .map_err(at)?
                .file_name()
                .to_string_lossy()
                .into_owned();
            if let Some(id) = name
                .strip_prefix("token-")
                .and_then(|rest| rest.strip_suffix(".pk8"))
            {
                names.push(id.to_owned());
            }
        }
        if names.is_empty() {
            names.push(make_key(folder)?);
        }
        names.sort();
        let mut checking = HashMap::new();
        let mut signing = None;
        for id in names {
            let path = folder.join(format!("token-{id}.pk8"));
            let bytes = fs::read(&path).map_err(|source| KeyError::File {
                path: path.display().to_string(),
                source,
            })?;
            let pair = Ed25519KeyPair::from_pkcs8(&bytes)
                .map_err(|_| KeyError::NotAKey(path.display().to_string()))?;
            checking.insert(
                id.clone(),
                DecodingKey::from_ed_der(pair.public_key().as_ref()),
            );
            signing = Some((id, EncodingKey::from_ed_der(&bytes)));
        }
        let (signing_id, signing) =
            signing.ok_or_else(|| KeyError::NotAKey(folder.display().to_string()))?;
        Ok(Self {
            signing_id,
            signing,
            checking,
        })
    }

    /// An access token for a session, good for [`ACCESS_LIFE`] from `now` (seconds since 1970).
    ///
    /// # Errors
    /// When signing fails.
    pub fn issue(&self, person: PersonId, session: SessionId, now: i64) -> AppResult<String> {
        let claims = Claims {
            iss: ISSUER.to_owned(),
            aud: AUDIENCE.to_owned(),
            sub: person,
            sid: session,
            jti: uuid::Uuid::new_v4(),
            iat: now,
            exp: now + i64::try_from(ACCESS_LIFE.as_secs()).unwrap_or(600),
        };
        let header = Header {
            typ: Some(TOKEN_TYPE.to_owned()),
            kid: Some(self.signing_id.clone()),
            ..Header::new(Algorithm::EdDSA)
        };
        jsonwebtoken::encode(&header, &claims, &self.signing)
            .map_err(|error| AppError::Internal(format!("token not signed: {error}")))
    }

    /// What a token says, if it is ours and still good.
    ///
    /// # Errors
    /// [`AppError::TokenExpired`], or [`AppError::NotLoggedIn`] for everything else that is wrong with it.
    pub fn check(&self, token: &str) -> AppResult<Claims> {
        let refused = AppError::NotLoggedIn("the access token is not one of this server's");
        let Ok(header) = jsonwebtoken::decode_header(token) else {
            return Err(refused);
        };
        // `typ` keeps any other JWT that this key may ever sign from passing as an access token.
        if header.typ.as_deref() != Some(TOKEN_TYPE) || header.alg != Algorithm::EdDSA {
            return Err(refused);
        }
        let Some(key) = header.kid.as_deref().and_then(|id| self.checking.get(id)) else {
            return Err(refused);
        };
        let mut rules = Validation::new(Algorithm::EdDSA);
        rules.set_issuer(&[ISSUER]);
        rules.set_audience(&[AUDIENCE]);
        rules.set_required_spec_claims(&["exp", "iss", "aud", "sub"]);
        rules.leeway = 5;
        match jsonwebtoken::decode::<Claims>(token, key, &rules) {
            Ok(data) => Ok(data.claims),
            Err(error) if *error.kind() == jsonwebtoken::errors::ErrorKind::ExpiredSignature => {
                Err(AppError::TokenExpired)
            }
            Err(_) => Err(refused),
        }
    }
}

fn make_key(folder: &Path) -> Result<String, KeyError> {
    let id = uuid::Uuid::now_v7().simple().to_string();
    let path = folder.join(format!("token-{id}.pk8"));
    let at = |source| KeyError::File {
        path: path.display().to_string(),
        source,
    };
    let document = Ed25519KeyPair::generate_pkcs8(&aws_lc_rs::rand::SystemRandom::new())
        .map_err(|_| KeyError::NotAKey(path.display().to_string()))?;
    let mut options = fs::OpenOptions::new();
    options.write(true).create_new(true);
    #[cfg(unix)]
    std::os::unix::fs::OpenOptionsExt::mode(&mut options, 0o600);
    let mut file = options.open(&path).map_err(at)?;
    file.write_all(document.as_ref()).map_err(at)?;
    file.sync_all().map_err(at)?;
    Ok(id)
}

#[cfg(unix)]
fn owner_only(path: &Path, mode: u32) -> io::Result<()> {
    fs::set_permissions(path, std::os::unix::fs::PermissionsExt::from_mode(mode))
}
