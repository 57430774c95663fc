//! Trigrams and similarity as Postgres's pg_trgm defines them, so that a search over the offline
//! replica finds what the server finds.
//!
//! Definition: PostgreSQL documentation, appendix F, pg_trgm; the extent search of word similarity
//! follows the description there. Words are runs of letters and digits, each padded by two blanks
//! in front and one behind.

/// Three characters in a row, packed into 21 bits each, so that comparing is one instruction.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
struct Trigram(u64);

/// The trigrams of a folded text in order, repetitions included.
fn trigrams(text: &str) -> Vec<Trigram> {
    const WINDOW: u64 = (1 << 63) - 1;
    let push = |window: u64, character: char| (window << 21 | u64::from(character)) & WINDOW;
    let padding = push(push(0, ' '), ' ');
    let mut all = Vec::with_capacity(text.len() + 2);
    for word in text.split(|c: char| !c.is_alphanumeric()) {
        if word.is_empty() {
            continue;
        }
        let mut window = padding;
        for character in word.chars().chain([' ']) {
            window = push(window, character);
            all.push(Trigram(window));
        }
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
    /// Each trigram once, sorted; its index is its number.
    ours: Vec<Trigram>,
}

impl TrigramQuery {
    /// Takes a folded text apart.
    #[must_use]
    pub fn new(folded: &str) -> Self {
        Self {
            ours: distinct(trigrams(folded)),
        }
    }

    /// pg_trgm's `similarity`: 0 to 1.
    #[must_use]
    pub fn similarity(&self, folded: &str) -> f64 {
        let theirs = distinct(trigrams(folded));
        jaccard(self.shared(&theirs), self.ours.len(), theirs.len())
    }

    fn shared(&self, theirs: &[Trigram]) -> usize {
        theirs
            .iter()
            .filter(|trigram| self.ours.binary_search(trigram).is_ok())
            .count()
    }

    /// pg_trgm's `word_similarity(query, text)`: the greatest similarity of the query with any run
    /// of the text's trigrams, 0 to 1.
    ///
    /// Like pg_trgm this is a greedy search that moves the lower end up whenever that helps and
    /// never back, not the maximum over all runs.
    #[must_use]
    pub fn word_similarity(&self, folded: &str) -> f64 {
        self.word_similarity_from(folded, 0.0).unwrap_or(0.0)
    }

    /// [`Self::word_similarity`] where it is at least `least`. Quick for texts that share too few
    /// trigrams to get there.
    #[must_use]
    pub fn word_similarity_from(&self, folded: &str, least: f64) -> Option<f64> {
        let run = trigrams(folded);
        let theirs = distinct(run.clone());
        // No extent can share more than the whole text does, nor be compared with fewer than ours.
        let shared = self.shared(&theirs);
        if jaccard(shared, self.ours.len(), shared) < least {
            return None;
        }
        let found = self.best_extent(&run, &theirs);
        (found >= least).then_some(found)
    }

    fn best_extent(&self, run: &[Trigram], distinct: &[Trigram]) -> f64 {
        let ours = self.ours.len();
        // Numbers: those of the query as they are there, the others behind them.
        let number = |trigram: &Trigram| match self.ours.binary_search(trigram) {
            Ok(number) => number,
            Err(_) => ours + distinct.partition_point(|other| other < trigram),
        };
        let run: Vec<usize> = run.iter().map(number).collect();
        let found = |number: usize| number < ours;
        let mut last_place: Vec<Option<usize>> = vec![None; ours + distinct.len()];
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
        let packed = |text: &str| Trigram(text.chars().fold(0, |all, c| all << 21 | u64::from(c)));
        assert_eq!(trigrams("cat"), ["  c", " ca", "cat", "at "].map(packed));
    }

    #[test]
    fn nothing_is_like_nothing() {
        let query = TrigramQuery::new("");
        assert_eq!(query.word_similarity("word"), 0.0);
        assert_eq!(query.similarity(""), 0.0);
    }
}
