//! Logins, sessions, persons, and what the access log says of them.

mod access_log;
mod claims;
mod customer_links;
mod logins;
mod persons;
mod sessions;
mod throttle;
mod tokens;
