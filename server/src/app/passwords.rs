//! Passwords: which are taken, and their argon2id hashes. Hashing runs on the blocking pool, two at once: a flood of
//! logins waits in line instead of taking the memory and the cores of everything else.

use std::collections::HashSet;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, LazyLock};
use std::time::Duration;

use argon2::password_hash::phc::PasswordHash;
use argon2::password_hash::{PasswordHasher as _, PasswordVerifier as _};
use argon2::{Algorithm, Argon2, Params, Version};
use tokio::sync::Semaphore;
use unicode_normalization::UnicodeNormalization as _;
use zeroize::Zeroizing;

use super::{AppError, AppResult};

/// Fewest characters of a password that stands alone (NIST SP 800-63B-4, 3.1.1.2).
const MIN_CHARACTERS: usize = 15;
/// Most characters.
const MAX_CHARACTERS: usize = 128;
/// Before normalization, which can lengthen a text: no hash is spent on more.
const MAX_TYPED: usize = 512;
/// KiB, passes and lanes: OWASP Password Storage Cheat Sheet, argon2id, second choice.
const MEMORY_KIB: u32 = 19_456;
const PASSES: u32 = 2;
const LANES: u32 = 1;
const AT_ONCE: usize = 2;
/// How long a login waits for its turn to be hashed.
const PATIENCE: Duration = Duration::from_secs(5);
/// Letters that a password must hold beside common words and the words of this place.
const OWN_LETTERS: usize = 8;

/// Common passwords and the words they are made of, from memory.
static COMMON: LazyLock<HashSet<&str>> = LazyLock::new(|| {
    include_str!("common_passwords.txt")
        .lines()
        .filter(|line| !line.starts_with('#') && !line.is_empty())
        .collect()
});

/// A password as somebody typed it, in NFKC: the same keys on another machine give the same bytes.
#[derive(Clone)]
pub struct TypedPassword(Zeroizing<String>);

impl TypedPassword {
    /// Takes what was typed, to be compared with a hash.
    ///
    /// # Errors
    /// When it is empty or longer than any password can be; `field` says where it stood.
    pub fn read(field: &'static str, text: String) -> AppResult<Self> {
        let text = Zeroizing::new(text);
        let count = text.chars().count();
        if count == 0 || count > MAX_TYPED {
            return Err(AppError::invalid(
                field,
                format!("has {count} characters, not 1 to {MAX_TYPED}"),
                "type the password again",
            ));
        }
        Ok(Self(Zeroizing::new(text.nfkc().collect())))
    }

    /// Whether two are the same; only for two that the same person typed in one request.
    #[must_use]
    pub fn same_as(&self, other: &ChosenPassword) -> bool {
        self.0 == other.0.0
    }
}

/// A password that is good enough to be kept.
pub struct ChosenPassword(TypedPassword);

impl ChosenPassword {
    /// Takes a new password of the login's owner.
    ///
    /// # Errors
    /// When it is too short, too long, or one that others guess first.
    pub fn choose(field: &'static str, text: String, login: &str) -> AppResult<Self> {
        let typed = TypedPassword::read(field, text)?;
        let count = typed.0.chars().count();
        if count < MIN_CHARACTERS {
            return Err(AppError::invalid(
                field,
                format!("has {count} characters, fewer than {MIN_CHARACTERS}"),
                "take four words that have nothing to do with each other",
            ));
        }
        if count > MAX_CHARACTERS {
            return Err(AppError::invalid(
                field,
                format!("has {count} characters, more than {MAX_CHARACTERS}"),
                "shorten it",
            ));
        }
        if typed.0.contains('\0') {
            return Err(AppError::invalid(
                field,
                "holds the character U+0000, which no keyboard types",
                "leave it out",
            ));
        }
        if let Some(problem) = guessed_first(&typed.0, login) {
            return Err(AppError::invalid(
                field,
                problem,
                "take four words that have nothing to do with each other or with this login",
            ));
        }
        Ok(Self(typed))
    }
}

/// Why a password is among the first that are tried.
fn guessed_first(text: &str, login: &str) -> Option<&'static str> {
    let folded: Vec<char> = text
        .to_lowercase()
        .chars()
        .filter(|c| c.is_alphanumeric())
        .collect();
    let distinct: HashSet<char> = text.to_lowercase().chars().collect();
    if distinct.len() < 5 {
        return Some("has fewer than five different characters");
    }
    if (1..=5).any(|period| {
        folded.len() > period
            && folded
                .iter()
                .zip(&folded[period..])
                .all(|(one, next)| one == next)
    }) {
        return Some("repeats a few characters again and again");
    }
    if is_run(&folded) {
        return Some("is a run of neighboring characters");
    }
    let letters: String = folded.iter().filter(|c| !c.is_numeric()).collect();
    if letters.is_empty() {
        // Digits alone: long, and neither a run nor a repetition.
        return None;
    }
    let login_letters: String = login.chars().filter(char::is_ascii_alphabetic).collect();
    let is_word = |part: &str| COMMON.contains(part);
    if made_of(&letters, &is_word) {
        return Some("is a common password, or made of common ones");
    }
    let mut own = letters.replace("secondcan", "");
    if login_letters.len() >= 3 {
        own = own.replace(&login_letters, "");
    }
    if own.len() < letters.len() && own.chars().count() < OWN_LETTERS {
        return Some("is made of the login name or of the name of this program");
    }
    None
}

/// 123456789012345, zyxwvutsrqponml and the like.
fn is_run(folded: &[char]) -> bool {
    let step = |one: char, next: char| match (one, next) {
        ('9', '0') => 1,
        ('0', '9') => -1,
        _ => i64::from(u32::from(next)) - i64::from(u32::from(one)),
    };
    let mut steps = folded.windows(2).map(|pair| step(pair[0], pair[1]));
    let first = steps.next();
    matches!(first, Some(1 | -1)) && steps.all(|step| Some(step) == first)
}

/// Whether the text is one word after another.
fn made_of(letters: &str, is_word: &dyn Fn(&str) -> bool) -> bool {
    let ends: Vec<usize> = letters
        .char_indices()
        .map(|(at, _)| at)
        .chain([letters.len()])
        .collect();
    let mut reached = vec![false; ends.len()];
    reached[0] = true;
    for to in 1..ends.len() {
        // The longest word of the list has 40 letters.
        let from = to.saturating_sub(40);
        reached[to] = (from..to).any(|at| reached[at] && is_word(&letters[ends[at]..ends[to]]));
    }
    reached.last().copied().unwrap_or(false)
}

/// How a password compared with a hash.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Compared {
    /// It is another one.
    Wrong,
    /// It is the one; `stale` when its hash was made with lower parameters than today's.
    Right {
        /// Whether it should be hashed anew.
        stale: bool,
    },
}

/// Hashes and compares passwords.
#[derive(Clone)]
pub struct Passwords {
    argon: Argon2<'static>,
    turns: Arc<Semaphore>,
    /// Compared with when there is no such login: the answer takes as long.
    dummy: Arc<str>,
    rounds: Arc<AtomicU64>,
}

impl Passwords {
    /// With today's parameters.
    ///
    /// # Errors
    /// When the system has no randomness.
    pub fn new() -> AppResult<Self> {
        let params = Params::new(MEMORY_KIB, PASSES, LANES, None)
            .map_err(|error| AppError::Internal(format!("argon2 parameters: {error}")))?;
        let argon = Argon2::new(Algorithm::Argon2id, Version::V0x13, params);
        let mut noise = Zeroizing::new([0; 32]);
        aws_lc_rs::rand::fill(&mut noise[..])
            .map_err(|_| AppError::Internal("no randomness".to_owned()))?;
        let dummy = hash(&argon, &noise[..])?;
        Ok(Self {
            argon,
            turns: Arc::new(Semaphore::new(AT_ONCE)),
            dummy: dummy.into(),
            rounds: Arc::new(AtomicU64::new(0)),
        })
    }

    /// How many times argon2 ran since the start: what logins cost, and whether an unknown name costs the same.
    #[must_use]
    pub fn rounds(&self) -> u64 {
        self.rounds.load(Ordering::Relaxed)
    }

    /// The hash to be kept, as a PHC string.
    ///
    /// # Errors
    /// When too many wait for their turn.
    pub async fn hash(&self, password: &ChosenPassword) -> AppResult<String> {
        self.hash_typed(&password.0).await
    }

    /// A new hash of a password that was just found right.
    ///
    /// # Errors
    /// When too many wait for their turn.
    pub async fn hash_typed(&self, password: &TypedPassword) -> AppResult<String> {
        let password = password.clone();
        self.in_turn(move |argon| hash(argon, password.0.as_bytes()))
            .await
    }

    /// Compares with a hash; without one, with a dummy that nothing fits.
    ///
    /// # Errors
    /// When too many wait for their turn, or the hash is damaged.
    pub async fn compare(
        &self,
        password: &TypedPassword,
        kept: Option<&str>,
    ) -> AppResult<Compared> {
        let known = kept.is_some();
        let kept = kept.unwrap_or(&self.dummy).to_owned();
        let password = password.clone();
        let compared = self
            .in_turn(move |argon| compare(argon, password.0.as_bytes(), &kept))
            .await?;
        Ok(if known { compared } else { Compared::Wrong })
    }

    async fn in_turn<T: Send + 'static>(
        &self,
        work: impl FnOnce(&Argon2<'static>) -> AppResult<T> + Send + 'static,
    ) -> AppResult<T> {
        let turn = tokio::time::timeout(PATIENCE, Arc::clone(&self.turns).acquire_owned())
            .await
            .ok()
            .and_then(Result::ok)
            .ok_or(AppError::Unavailable {
                reason: "too many logins at once",
            })?;
        let argon = self.argon.clone();
        self.rounds.fetch_add(1, Ordering::Relaxed);
        tokio::task::spawn_blocking(move || {
            let done = work(&argon);
            drop(turn);
            done
        })
        .await
        .map_err(|error| AppError::Internal(format!("hashing ended early: {error}")))?
    }
}

fn hash(argon: &Argon2<'static>, password: &[u8]) -> AppResult<String> {
    let hash: PasswordHash = argon
        .hash_password(password)
        .map_err(|error| AppError::Internal(format!("password not hashed: {error}")))?;
    Ok(hash.to_string())
}

fn compare(argon: &Argon2<'static>, password: &[u8], kept: &str) -> AppResult<Compared> {
    let damaged = |error| AppError::Internal(format!("a stored password hash: {error}"));
    let kept = PasswordHash::new(kept).map_err(|error| damaged(error.into()))?;
    match argon.verify_password(password, &kept) {
        Ok(()) => {
            let was = Params::try_from(&kept).map_err(damaged)?;
            let stale = kept.algorithm.as_str() != "argon2id"
                || was.m_cost() < MEMORY_KIB
                || was.t_cost() < PASSES;
            Ok(Compared::Right { stale })
        }
        Err(argon2::password_hash::Error::PasswordInvalid) => Ok(Compared::Wrong),
        Err(error) => Err(damaged(error)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn choose(text: &str) -> Result<ChosenPassword, String> {
        ChosenPassword::choose("password", text.to_owned(), "mira.holt")
            .map_err(|error| error.to_string())
    }

    #[test]
    fn length_is_counted_in_characters_after_normalization() {
        assert!(choose("tea owl rust 9").is_err());
        assert!(choose("tea owl rust 98").is_ok());
        assert!(choose("чай сова ржа 98").is_ok());
        assert!(choose(&"quiet otter jam ".repeat(8)).is_ok());
        assert!(choose(&format!("{}x", "quiet otter jam ".repeat(8))).is_err());
        // U+FB03, the ligature ffi, is three characters in NFKC: 13 typed, 15 counted.
        assert!(choose("tea owl e\u{fb03}gy1").is_ok());
        assert!(choose("tea owl effgy1").is_err());
    }

    #[test]
    fn first_guesses_are_refused() {
        for text in [
            "passwordpassword",
            "Password12345678!",
            "password-password-1",
            "qwertyuiop123456",
            "letmein letmein 2024",
            "correct horse battery staple",
            "aaaaaaaaaaaaaaaa",
            "abcabcabcabcabcabc",
            "123456789012345",
            "987654321098765",
            "abcdefghijklmnop",
            "secondcan-2024-07",
            "Secondcan Secondcan",
            "mira.holt-20240101",
            "miraholt miraholt",
            "ILOVEYOU iloveyou",
        ] {
            assert!(choose(text).is_err(), "{text}");
        }
        for text in [
            "plum gutter seven violin",
            "mira.holt likes plum gutters",
            "83640175529166401",
            "secondcan opens at a quarter past",
        ] {
            assert!(choose(text).is_ok(), "{text}");
        }
    }

    #[test]
    fn a_refusal_does_not_repeat_the_password() {
        let said = choose("passwordpassword").err().unwrap_or_default();
        assert!(!said.contains("passwordpassword"), "{said}");
    }

    #[tokio::test]
    async fn a_hash_fits_its_password_only_and_lower_parameters_are_stale() {
        let passwords = Passwords::new().unwrap();
        let chosen = choose("plum gutter seven violin").unwrap_or_else(|said| panic!("{said}"));
        let kept = passwords.hash(&chosen).await.unwrap();
        assert!(
            kept.starts_with("$argon2id$v=19$m=19456,t=2,p=1$"),
            "{kept}"
        );
        let right = TypedPassword::read("password", "plum gutter seven violin".into()).unwrap();
        let wrong = TypedPassword::read("password", "plum gutter seven violins".into()).unwrap();
        let compare = async |typed, kept| passwords.compare(typed, kept).await.unwrap();
        assert_eq!(
            compare(&right, Some(&kept)).await,
            Compared::Right { stale: false }
        );
        assert_eq!(compare(&wrong, Some(&kept)).await, Compared::Wrong);
        assert_eq!(compare(&right, None).await, Compared::Wrong);
        let low = Argon2::new(
            Algorithm::Argon2id,
            Version::V0x13,
            Params::new(8_192, 1, 1, None).unwrap(),
        );
        let old = hash(&low, b"plum gutter seven violin").unwrap();
        assert_eq!(
            compare(&right, Some(&old)).await,
            Compared::Right { stale: true }
        );
    }

    /// An outside check: the hash of the reference implementation's own test suite (phc-winner-argon2, src/test.c,
    /// argon2id, v=19, m=65536, t=2, p=1, password "password", salt "somesalt"), from memory.
    #[test]
    fn a_hash_of_the_reference_implementation_is_understood() {
        let reference = "$argon2id$v=19$m=65536,t=2,p=1$c29tZXNhbHQ$CTFhFdXPJO1aFaMaO6Mm5c8y7cJHAph8ArZWb2GRPPc";
        let passwords = Passwords::new().unwrap();
        assert_eq!(
            compare(&passwords.argon, b"password", reference).unwrap(),
            Compared::Right { stale: false }
        );
        assert_eq!(
            compare(&passwords.argon, b"passwore", reference).unwrap(),
            Compared::Wrong
        );
    }
}
