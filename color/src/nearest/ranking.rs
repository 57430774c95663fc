//! The best hits so far, ordered by (ΔE00, id).

use std::cmp::Ordering;
use std::collections::BinaryHeap;

use crate::nearest::Hit;

/// Keeps the best `k` hits that are no farther than a radius.
pub(super) struct Ranking {
    k: usize,
    radius: f64,
    /// Worst on top.
    kept: BinaryHeap<Ranked>,
}

struct Ranked(Hit);

impl Ranking {
    pub(super) fn new(k: usize, radius: f64) -> Self {
        Self {
            k,
            radius,
            kept: BinaryHeap::new(),
        }
    }

    /// ΔE00 above which no hit can be kept; negative when none can be.
    pub(super) fn reach(&self) -> f64 {
        if self.k == 0 {
            return -1.0;
        }
        match self.kept.peek() {
            Some(worst) if self.kept.len() == self.k => worst.0.de2000,
            _ => self.radius,
        }
    }

    /// Takes a hit if it is among the best.
    pub(super) fn offer(&mut self, hit: Hit) {
        if self.k == 0 || hit.de2000 > self.radius {
            return;
        }
        let ranked = Ranked(hit);
        if self.kept.len() < self.k {
            self.kept.push(ranked);
        } else if let Some(mut worst) = self.kept.peek_mut()
            && ranked < *worst
        {
            *worst = ranked;
        }
    }

    pub(super) fn into_hits(self) -> Vec<Hit> {
        self.kept
            .into_sorted_vec()
            .into_iter()
            .map(|ranked| ranked.0)
            .collect()
    }
}

impl Ord for Ranked {
    fn cmp(&self, other: &Self) -> Ordering {
        let (mine, theirs) = (&self.0, &other.0);
        mine.de2000
            .total_cmp(&theirs.de2000)
            .then_with(|| mine.id.cmp(&theirs.id))
    }
}

impl PartialOrd for Ranked {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

impl PartialEq for Ranked {
    fn eq(&self, other: &Self) -> bool {
        self.cmp(other) == Ordering::Equal
    }
}

impl Eq for Ranked {}
