//! Secrets handed out once: refresh tokens for programs, claim tokens for people. Only their SHA-256 is kept; they
//! are random enough that a slow hash would add nothing.

use sha2::{Digest as _, Sha256};
use zeroize::Zeroizing;

use super::{AppError, AppResult};

/// Crockford's base 32: no letter that is misread as another.
const LETTERS: &[u8; 32] = b"0123456789ABCDEFGHJKMNPQRSTVWXYZ";
/// Letters of a claim token: 125 random bits.
const CLAIM_LETTERS: usize = 25;

/// SHA-256 of a token.
type TokenHash = [u8; 32];

fn noise<const N: usize>() -> AppResult<Zeroizing<[u8; N]>> {
    let mut bytes = Zeroizing::new([0; N]);
    aws_lc_rs::rand::fill(&mut bytes[..])
        .map_err(|_| AppError::Internal("no randomness".to_owned()))?;
    Ok(bytes)
}

/// A refresh token of 256 random bits, in hexadecimal, and its hash.
pub(super) fn refresh_token() -> AppResult<(String, TokenHash)> {
    use std::fmt::Write as _;
    let token = noise::<32>()?.iter().fold(String::new(), |mut text, byte| {
        let _ = write!(text, "{byte:02x}");
        text
    });
    let hash = refresh_hash(&token);
    Ok((token, hash))
}

/// The hash under which a refresh token is kept.
pub(super) fn refresh_hash(token: &str) -> TokenHash {
    Sha256::digest(token).into()
}

/// A claim token as it is read out or written on paper (`7K2QX-…`, five groups of five), and its hash.
pub(super) fn claim_token() -> AppResult<(String, TokenHash)> {
    let letters: String = noise::<CLAIM_LETTERS>()?
        .iter()
        .map(|byte| char::from(LETTERS[usize::from(byte & 31)]))
        .collect();
    let mut token = String::new();
    for (place, letter) in letters.chars().enumerate() {
        if place > 0 && place % 5 == 0 {
            token.push('-');
        }
        token.push(letter);
    }
    Ok((token, Sha256::digest(&letters).into()))
}

/// The hash under which a claim token is kept, whatever its case and dashes; none for what can't be one.
pub(super) fn claim_hash(typed: &str) -> Option<TokenHash> {
    let mut letters = String::new();
    for letter in typed.chars() {
        let letter = match letter.to_ascii_uppercase() {
            '-' | ' ' => continue,
            'O' => '0',
            'I' | 'L' => '1',
            other => other,
        };
        let known = u8::try_from(letter).is_ok_and(|byte| LETTERS.contains(&byte));
        if !known || letters.len() == CLAIM_LETTERS {
            return None;
        }
        letters.push(letter);
    }
    (letters.len() == CLAIM_LETTERS).then(|| Sha256::digest(&letters).into())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_claim_token_is_known_however_it_is_typed() {
        let (token, hash) = claim_token().unwrap();
        assert_eq!(token.len(), 29);
        assert_eq!(claim_hash(&token), Some(hash));
        assert_eq!(
            claim_hash(&token.to_lowercase().replace('-', " ")),
            Some(hash)
        );
        assert_eq!(
            claim_hash(&token.replace('0', "o").replace('1', "l")),
            Some(hash)
        );
        assert_eq!(claim_hash(&token[1..]), None);
        assert_eq!(claim_hash(&format!("{token}A")), None);
        assert_eq!(claim_hash("\0"), None);
        assert_ne!(claim_token().unwrap().1, hash);
    }

    #[test]
    fn a_refresh_token_has_256_bits_and_its_own_hash() {
        let (token, hash) = refresh_token().unwrap();
        assert_eq!(token.len(), 64);
        assert_eq!(refresh_hash(&token), hash);
        assert_ne!(refresh_token().unwrap().1, hash);
    }
}
