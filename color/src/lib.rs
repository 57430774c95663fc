//! Color arithmetic for paint: Lab coordinates, color differences and the words a
//! counter uses for them.
//!
//! Pure arithmetic in `f64`: no input or output, no clock, no async. Every constant cites
//! its source where it stands.
#![forbid(unsafe_code)]

pub mod difference;
pub mod lab;

pub use difference::{
    Application94, Deltas, Direction, DirectionWord, Verdict, VerdictLimits, VerdictLimitsError,
    cie94, cmc, de76, de2000,
};
pub use lab::{Lab, LabError, Xyz};
