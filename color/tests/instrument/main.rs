//! What an instrument does to a reading: tiles over time, temperature, and two instruments.

mod correction;
mod drift;
mod simulated;
