//! A folder into which an instrument's own program drops its files: each is taken once, when it is whole.
//!
//! Looked at by polling: notifications of the operating system do not come for changes that another machine makes on a
//! network share, and a look at a folder costs next to nothing.

mod folder;
mod ledger;

pub(crate) use folder::{Folder, Standing};
pub(crate) use ledger::{Entry, Ledger, State, fingerprint, key_of};
