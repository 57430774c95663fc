//! Ranking of names found by a query: the same on the server and over the offline replica.

use std::cmp::Reverse;

use crate::trigram::TrigramQuery;

/// Least [`TrigramQuery::word_similarity`] of a candidate; Postgres's own default of 0.6 misses
/// `smiht` for `smith`.
pub const FIND_THRESHOLD: f64 = 0.4;

/// Rows a search by name answers with.
pub const FIND_LIMIT: usize = 20;

/// A folded query, taken apart once for many candidates.
#[derive(Debug, Clone)]
pub struct NameQuery {
    folded: String,
    words: Vec<Vec<char>>,
    joined: Vec<char>,
    trigrams: TrigramQuery,
    unswapped: Vec<String>,
}

/// How well a candidate fits; greater is better. Compare by `Ord`, then by id.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct NameRank {
    prefix: PrefixMatch,
    /// Millionths of twice the spelling likeness and once the word similarity: two swapped letters
    /// are one edit but spoil four trigrams, so spelling has the greater say. At most 3,000,000.
    likeness: u32,
    /// Millionths of the similarity of the whole texts: shorter of two equal finds first.
    whole: u32,
}

/// What the query is the beginning of.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
enum PrefixMatch {
    None,
    /// Each word of the query begins a word of its own in the candidate.
    Words,
    /// The candidate as a whole begins with the query.
    Start,
    /// They are the same.
    Whole,
}

impl NameRank {
    /// Whether the query, as typed, begins the name or its words.
    #[must_use]
    pub fn is_prefix(self) -> bool {
        self.prefix > PrefixMatch::None
    }
}

fn letters(word: &str) -> Vec<char> {
    word.chars().collect()
}

fn millionths(fraction: f64) -> u32 {
    // A float in 0..=3 becomes the nearest whole number of millionths.
    (fraction * 1e6).round() as u32
}

/// Edits (insert, delete, replace, swap of neighbors; no part edited twice) that turn `a` into `b`:
/// the optimal string alignment distance after Damerau (1964).
pub(crate) fn edits(a: &[char], b: &[char]) -> usize {
    let width = b.len() + 1;
    let mut before: Vec<usize> = vec![0; width];
    let mut last: Vec<usize> = (0..width).collect();
    let mut row: Vec<usize> = vec![0; width];
    for i in 1..=a.len() {
        row[0] = i;
        for j in 1..width {
            let replaced = last[j - 1] + usize::from(a[i - 1] != b[j - 1]);
            let mut least = replaced.min(last[j] + 1).min(row[j - 1] + 1);
            if i > 1 && j > 1 && a[i - 1] == b[j - 2] && a[i - 2] == b[j - 1] {
                least = least.min(before[j - 2] + 1);
            }
            row[j] = least;
        }
        std::mem::swap(&mut before, &mut last);
        std::mem::swap(&mut last, &mut row);
    }
    last[b.len()]
}

/// 1 for equal, 0 for nothing in common.
fn spelling_likeness(a: &[char], b: &[char]) -> f64 {
    let longest = a.len().max(b.len());
    if longest == 0 {
        return 0.0;
    }
    1.0 - edits(a, b) as f64 / longest as f64
}

fn unswapped(folded: &str) -> Vec<String> {
    let letters = letters(folded);
    // Two or three letters in another order begin too many names to mean one.
    if letters.len() < 4 {
        return Vec::new();
    }
    (1..letters.len())
        .filter(|&place| {
            let (first, second) = (letters[place - 1], letters[place]);
            first != second && first != ' ' && second != ' '
        })
        .map(|place| {
            let mut swapped = letters.clone();
            swapped.swap(place - 1, place);
            swapped.into_iter().collect()
        })
        .collect()
}

impl NameQuery {
    /// Takes a query apart that was folded by [`crate::folding::fold_query`]. `None` if nothing
    /// is left to look for.
    #[must_use]
    pub fn new(folded: String) -> Option<Self> {
        if folded.is_empty() {
            return None;
        }
        let words: Vec<Vec<char>> = folded.split(' ').map(letters).collect();
        let joined = words.concat();
        let trigrams = TrigramQuery::new(&folded);
        let unswapped = unswapped(&folded);
        Some(Self {
            folded,
            words,
            joined,
            trigrams,
            unswapped,
        })
    }

    /// The folded text.
    #[must_use]
    pub fn folded(&self) -> &str {
        &self.folded
    }

    /// The query with each pair of neighboring letters swapped back in turn. Two swapped letters
    /// spoil four trigrams, which hides short names from trigram search; beginnings of names are
    /// looked up by these too.
    #[must_use]
    pub fn unswapped(&self) -> &[String] {
        &self.unswapped
    }

    fn prefix(&self, folded: &str, candidate: &[Vec<char>]) -> PrefixMatch {
        if folded == self.folded {
            return PrefixMatch::Whole;
        }
        if folded.starts_with(&self.folded) {
            return PrefixMatch::Start;
        }
        let mut free: Vec<&Vec<char>> = candidate.iter().collect();
        // Longer words first, so that a short one does not take the only word of a longer one.
        let mut words: Vec<&Vec<char>> = self.words.iter().collect();
        words.sort_by_key(|word| Reverse(word.len()));
        for word in words {
            match free.iter().position(|other| other.starts_with(word)) {
                Some(place) => drop(free.swap_remove(place)),
                None => return PrefixMatch::None,
            }
        }
        PrefixMatch::Words
    }

    /// Each word of the query with the candidate's most alike, weighted by length; or both without
    /// blanks, when a blank is what differs.
    fn spelling(&self, candidate: &[Vec<char>]) -> f64 {
        let mut sum = 0.0;
        let mut length = 0.0;
        for word in &self.words {
            let best = candidate
                .iter()
                .map(|other| spelling_likeness(word, other))
                .fold(0.0, f64::max);
            sum += best * word.len() as f64;
            length += word.len() as f64;
        }
        let by_words = sum / length;
        by_words.max(spelling_likeness(&self.joined, &candidate.concat()))
    }

    /// Ranks a folded candidate whether or not it is alike at all: for candidates that another
    /// index has chosen.
    #[must_use]
    pub fn rank(&self, folded: &str) -> NameRank {
        self.rank_with(folded, self.trigrams.word_similarity(folded))
    }

    fn rank_with(&self, folded: &str, word_similarity: f64) -> NameRank {
        let candidate: Vec<Vec<char>> = folded.split(' ').map(letters).collect();
        NameRank {
            prefix: self.prefix(folded, &candidate),
            likeness: millionths(2.0 * self.spelling(&candidate) + word_similarity),
            whole: millionths(self.trigrams.similarity(folded)),
        }
    }

    /// Ranks a folded candidate if it begins with the query, reaches [`FIND_THRESHOLD`], or begins
    /// with the query after two neighboring letters are swapped back: what a search of the replica
    /// and one by Postgres both find.
    #[must_use]
    pub fn find(&self, folded: &str) -> Option<NameRank> {
        let begins = || {
            folded.starts_with(&self.folded)
                || self.unswapped.iter().any(|query| folded.starts_with(query))
        };
        match self.trigrams.word_similarity_from(folded, FIND_THRESHOLD) {
            Some(word_similarity) => Some(self.rank_with(folded, word_similarity)),
            None => begins().then(|| self.rank(folded)),
        }
    }
}

/// Sorts what was found: best rank first, then by text, then by key; keeps the first `limit`.
pub fn best_first<K: Ord>(found: &mut Vec<(NameRank, String, K)>, limit: usize) {
    found.sort_by(
        |(rank, folded, key), (other_rank, other_folded, other_key)| {
            other_rank
                .cmp(rank)
                .then_with(|| folded.cmp(other_folded))
                .then_with(|| key.cmp(other_key))
        },
    );
    found.truncate(limit);
}

#[cfg(test)]
mod tests {
    use super::*;

    fn order(query: &str, names: &[&str]) -> Vec<String> {
        let query = NameQuery::new(query.to_owned()).unwrap();
        let mut found: Vec<(NameRank, String, usize)> = names
            .iter()
            .enumerate()
            .filter_map(|(i, name)| query.find(name).map(|rank| (rank, (*name).to_owned(), i)))
            .collect();
        best_first(&mut found, FIND_LIMIT);
        found.into_iter().map(|(_, name, _)| name).collect()
    }

    #[test]
    fn edits_are_those_of_optimal_string_alignment() {
        let distance = |a: &str, b: &str| edits(&letters(a), &letters(b));
        assert_eq!(distance("smiht", "smith"), 1);
        assert_eq!(distance("kitten", "sitting"), 3);
        assert_eq!(distance("ca", "abc"), 3);
        assert_eq!(distance("", "abc"), 3);
        assert_eq!(distance("abc", ""), 3);
    }

    #[test]
    fn beginnings_come_first_then_likeness() {
        assert_eq!(
            order(
                "bran",
                &["tobran", "lena brannock", "brannock", "bran", "brune"]
            ),
            ["bran", "brannock", "lena brannock", "tobran", "brune"]
        );
        assert_eq!(order("smiht", &["smitt", "smith", "smits"])[0], "smith");
        assert_eq!(
            order("brannock lena", &["lena brannock", "lena brandt"])[0],
            "lena brannock"
        );
        assert_eq!(
            order("vander tamm", &["van der tamm", "vandor tam"])[0],
            "van der tamm"
        );
    }

    #[test]
    fn a_query_word_needs_a_word_of_its_own() {
        let query = NameQuery::new("ann anna".to_owned()).unwrap();
        assert!(query.rank("anna annick").is_prefix());
        assert!(!query.rank("anna lee").is_prefix());
    }

    #[test]
    fn nothing_to_look_for_is_no_query() {
        assert!(NameQuery::new(String::new()).is_none());
    }
}
