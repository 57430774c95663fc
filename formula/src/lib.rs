//! Ids, exact quantities, bases, colorants, revisions, the rules that hold them together, and the
//! wire types. No I/O, no clock, no async, no source of randomness: callers pass time and random
//! bytes.

pub mod base;
pub mod colorant;
pub mod folding;
pub mod id;
pub mod instrument_care;
pub mod label;
pub mod name_rank;
pub mod naming;
pub mod phone;
pub mod quantity;
pub mod reading;
pub mod reorder;
pub mod revision;
pub mod role;
pub mod sheen;
pub mod trigram;
pub mod wire;
pub mod wire_form;
