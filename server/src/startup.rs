//! Puts the parts together.
