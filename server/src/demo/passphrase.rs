//! Passwords for the demo's logins: words drawn with the system's randomness when the demo is loaded, so that no two
//! demos share one and none is known before.

use zeroize::Zeroizing;

use super::DemoError;
use crate::app::passwords::ChosenPassword;

/// More than 2¹⁰ words: four of them are more than 40 bits, which against a server that slows guesses down is plenty
/// for a demo.
const WORDS: usize = 4;
/// A draw that the password rules refuse is so rare that a few more will do.
const DRAWS: usize = 20;

fn words() -> impl Iterator<Item = &'static str> {
    include_str!("words.txt")
        .lines()
        .filter(|line| !line.starts_with('#'))
}

/// A passphrase, and the same as a password that is good enough to be kept.
pub(super) fn draw(login: &str) -> Result<(Zeroizing<String>, ChosenPassword), DemoError> {
    let words: Vec<&str> = words().collect();
    let mut refusal = None;
    for _ in 0..DRAWS {
        let mut drawn = [""; WORDS];
        for word in &mut drawn {
            *word = words.get(below(words.len())?).copied().unwrap_or_default();
        }
        let text = Zeroizing::new(drawn.join("-"));
        match ChosenPassword::choose("password", text.to_string(), login) {
            Ok(chosen) => return Ok((text, chosen)),
            Err(error) => refusal = Some(error),
        }
    }
    Err(refusal.map_or(DemoError::NoRandomness, DemoError::Password))
}

/// A number below `end`, each as likely as the other.
fn below(end: usize) -> Result<usize, DemoError> {
    let end = u32::try_from(end).map_err(|_| DemoError::NoRandomness)?;
    // Numbers of the last, incomplete round would make the first words likelier.
    let whole_rounds = u32::MAX - u32::MAX % end.max(1);
    loop {
        let mut bytes = [0; 4];
        aws_lc_rs::rand::fill(&mut bytes).map_err(|_| DemoError::NoRandomness)?;
        let drawn = u32::from_be_bytes(bytes);
        if drawn < whole_rounds {
            return Ok((drawn % end.max(1)) as usize);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::HashSet;

    #[test]
    fn there_are_enough_words_and_each_stands_once() {
        let list: Vec<&str> = words().collect();
        let distinct: HashSet<&str> = list.iter().copied().collect();
        assert!(list.len() >= 1024, "{} words", list.len());
        assert_eq!(distinct.len(), list.len());
        for word in list {
            assert!((4..=9).contains(&word.len()), "{word}");
            assert!(word.bytes().all(|byte| byte.is_ascii_lowercase()), "{word}");
        }
    }

    #[test]
    fn passphrases_are_long_and_differ() {
        let drawn: HashSet<String> = (0..50)
            .map(|_| draw("clerk.north").unwrap().0.to_string())
            .collect();
        assert_eq!(drawn.len(), 50);
        for text in drawn {
            assert!(text.len() >= 15 && text.split('-').count() == 4, "{text}");
        }
    }
}
