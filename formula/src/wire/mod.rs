//! What server and client say to each other. One module a version; a released version is never changed, only added
//! to, and golden files hold it to that.

pub mod error_code;
pub mod v1;
