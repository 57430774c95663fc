//! Color differences, and the words for them.
//!
//! All in `f64`. [`de2000`] and [`de76`] are symmetric; [`cie94`] and [`cmc`] are not: their
//! first argument is the standard.

pub(crate) mod ciede2000;
mod direction;
mod formulas;
mod verdict;

pub use direction::{Deltas, Direction, DirectionWord};
pub use formulas::{Application94, cie94, cmc, de76, de2000};
pub use verdict::{Verdict, VerdictLimits, VerdictLimitsError};
