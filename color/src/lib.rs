//! Color arithmetic for paint: light, spectra, color differences and the words a counter uses
//! for them, metamerism, gloss, pigment physics, and the nearest colors to a query.
//!
//! Pure arithmetic in `f64`: no input or output, no clock, no async. Every constant cites
//! its source where it stands.
#![forbid(unsafe_code)]

mod cie_table;
pub mod conditions;
pub mod difference;
pub mod exchange;
pub mod gloss;
pub mod illuminant;
pub mod inconstancy;
pub mod instrument;
pub mod kubelka_munk;
pub mod lab;
pub mod metamerism;
pub mod nearest;
pub mod observer;
pub mod spectrum;
pub mod spread;
pub mod wavelengths;
pub mod xyz;

pub use conditions::{Backing, Conditions, Filter, Geometry, Specular, Unlike};
pub use difference::{
    Application94, Deltas, Direction, DirectionWord, Verdict, VerdictLimits, VerdictLimitsError,
    cie94, cmc, de76, de2000,
};
pub use exchange::{
    ExchangeError, MAX_FILE_BYTES, ReadOptions, Reading, Scale, SpectraFile, Tag, WriteFormat,
    read_spectra, write_spectra,
};
pub use illuminant::{Illuminant, UnknownIlluminant, Viewing};
pub use inconstancy::Inconstancy;
pub use lab::{Lab, LabError, Xyz};
pub use nearest::{Hit, Library, NearestError, PointId};
pub use observer::{Observer, UnknownObserver};
pub use spectrum::{Ends, Spectrum, SpectrumError, SpectrumWarning};
pub use spread::{AverageError, HotellingT2, Spread, SpreadAdvice, average};
pub use wavelengths::{Grid, Wavelengths};
pub use xyz::{BrokenRow, GridMismatch, METHOD, WeightTable};
