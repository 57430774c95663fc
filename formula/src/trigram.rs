//! Trigrams and similarity as Postgres's pg_trgm defines them, so that a search over the offline
//! replica finds what the server finds.
//!
//! Definition: PostgreSQL documentation, appendix F, pg_trgm; the extent search of word similarity
//! follows the description there. Words are runs of letters and digits, each padded by two blanks
//! in front and one behind.

use std::collections::HashMap;

/// Three characters in a row.
pub type Trigram = [char; 3];

/// The trigrams of a folded text in order, repetitions included.
#[must_use]
pub fn trigrams(text: &str) -> Vec<Trigram> {
    let mut all = Vec::new();
    for word in text.split(|c: char| !c.is_alphanumeric()) {
        if word.is_empty() {
            continue;
        }
        let padded: Vec<char> = [' ', ' ']
            .into_iter()
            .chain(word.chars())
            .chain([' '])
            .collect();
        all.extend(padded.windows(3).map(|w| [w[0], w[1], w[2]]));
    }
    all
}

/// Each trigram once, sorted.
fn distinct(mut trigrams: Vec<Trigram>) -> Vec<Trigram> {
    trigrams.sort_unstable();
    trigrams.dedup();
    trigrams
}

/// Shared trigrams over all trigrams of both.
fn jaccard(shared: usize, ours: usize, theirs: usize) -> f64 {
    let all = ours + theirs - shared;
    if all == 0 {
        0.0
    } else {
        shared as f64 / all as f64
    }
}

/// A text to compare many others with.
#[derive(Debug, Clone)]
pub struct TrigramQuery {
    /// Place of each distinct trigram.
    places: HashMap<Trigram, usize>,
}

impl TrigramQuery {
    /// Takes a folded text apart.
    #[must_use]
    pub fn new(folded: &str) -> Self {
        let places = distinct(trigrams(folded))
            .into_iter()
            .enumerate()
            .map(|(place, trigram)| (trigram, place))
            .collect();
        Self { places }
    }

    /// pg_trgm's `similarity`: 0 to 1.
    #[must_use]
    pub fn similarity(&self, folded: &str) -> f64 {
        let theirs = distinct(trigrams(folded));
        let shared = theirs
            .iter()
            .filter(|t| self.places.contains_key(*t))
            .count();
        jaccard(shared, self.places.len(), theirs.len())
    }

    /// pg_trgm's `word_similarity(query, text)`: the greatest similarity of the query with any run
    /// of the text's trigrams, 0 to 1.
    ///
    /// Like pg_trgm this is a greedy search that moves the lower end up whenever that helps and
    /// never back, not the maximum over all runs.
    #[must_use]
    pub fn word_similarity(&self, folded: &str) -> f64 {
        let ours = self.places.len();
        // Trigrams of the text by number: those of the query first, then the others as they come.
        let mut numbers = self.places.clone();
        let run: Vec<usize> = trigrams(folded)
            .into_iter()
            .map(|trigram| {
                let next = numbers.len();
                *numbers.entry(trigram).or_insert(next)
            })
            .collect();
        let found = |number: usize| number < ours;
        let mut last_place: Vec<Option<usize>> = vec![None; numbers.len()];
        let mut lower: Option<usize> = None;
        let (mut shared, mut theirs) = (0, 0);
        let mut best = 0.0_f64;
        for (upper, &number) in run.iter().enumerate() {
            if lower.is_some() || found(number) {
                if last_place[number].is_none() {
                    theirs += 1;
                    shared += usize::from(found(number));
                }
                last_place[number] = Some(upper);
            }
            if !found(number) {
                continue;
            }
            let start = *lower.get_or_insert(upper);
            let mut here = jaccard(shared, ours, theirs);
            let (mut fewer_shared, mut fewer_theirs) = (shared, theirs);
            let mut moved = start;
            for place in start..=upper {
                let without = jaccard(fewer_shared, ours, fewer_theirs);
                if without > here {
                    here = without;
                    moved = place;
                    shared = fewer_shared;
                    theirs = fewer_theirs;
                }
                if last_place[run[place]] == Some(place) {
                    fewer_theirs -= 1;
                    fewer_shared -= usize::from(found(run[place]));
                }
            }
            for place in start..moved {
                if last_place[run[place]] == Some(place) {
                    last_place[run[place]] = None;
                }
            }
            lower = Some(moved);
            best = best.max(here);
        }
        best
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The example of the PostgreSQL documentation, appendix F, pg_trgm.
    #[test]
    fn the_manuals_example_holds() {
        let query = TrigramQuery::new("word");
        assert!((query.word_similarity("two words") - 0.8).abs() < 1e-9);
        assert!((query.similarity("two words") - 0.363_636_36).abs() < 1e-7);
        let all: Vec<String> = trigrams("cat").iter().map(|t| t.iter().collect()).collect();
        assert_eq!(all, ["  c", " ca", "cat", "at "]);
    }

    #[test]
    fn nothing_is_like_nothing() {
        let query = TrigramQuery::new("");
        assert_eq!(query.word_similarity("word"), 0.0);
        assert_eq!(query.similarity(""), 0.0);
    }
}
