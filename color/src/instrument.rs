//! What an instrument does to a reading: the drift that verification tiles show, what their
//! temperature does to them, and the systematic difference between two instruments.

pub mod correction;
mod derivative;
pub mod drift;
pub mod temperature;

pub use correction::{Check, Corrected, Correction, CorrectionError, TilePair};
pub use drift::{Drift, Limits, NoLimitsYet, Standing, TileReading};
pub use temperature::TileHue;
