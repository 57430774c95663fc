//! Slows guessing down without locking anybody out. A try passes three gates, each with a delay that doubles with
//! every failure:
//!
//! - the login from this address: up to 15 minutes, which leaves a guesser under 100 tries a day;
//! - the login from anywhere: up to 60 s. Where the person has logged in from this address within 30 days, this gate
//!   stands open, so that a stranger elsewhere can't keep the person out;
//! - the address, whatever the login: up to 60 s, after 30 failures, since a whole store may stand behind it.
//!
//! A try is counted before the password is looked at and taken back when it was right: guesses sent all at once are
//! counted one by one.

use std::net::IpAddr;
use std::time::Duration;

use sha2::{Digest as _, Sha256};

use super::{App, AppError, AppResult};
use crate::store::throttle::{self, Gate, GateKey};
use crate::store::{Conn, StoreResult};

const LOGIN_HERE: (i32, Duration) = (4, Duration::from_secs(900));
const LOGIN_ANYWHERE: (i32, Duration) = (4, Duration::from_secs(60));
const ADDRESS: (i32, Duration) = (30, Duration::from_secs(60));
/// How long an address stays known.
const KNOWN_FOR: Duration = Duration::from_secs(30 * 24 * 3600);

/// A try that was let through the gates and is counted as failed until [`Try::was_right`].
pub(super) struct Try {
    here: GateKey,
    anywhere: Option<GateKey>,
    address: GateKey,
    known: GateKey,
}

impl App {
    /// Counts a try at a login's password.
    ///
    /// # Errors
    /// [`AppError::TooManyTries`] while a gate is closed; then it is not counted.
    pub(super) async fn count_try(&self, login: &str, address: IpAddr) -> AppResult<Try> {
        let address = network(address);
        let mut counted = Try {
            here: key("here", &[login, &address]),
            anywhere: Some(key("anywhere", &[login])),
            address: key("address", &[&address]),
            known: key("known", &[login, &address]),
        };
        let mut tx = self.db.plain().await?;
        if throttle::is_known(tx.conn(), &counted.known).await? {
            counted.anywhere = None;
        }
        let gate = |key, (free, longest)| Gate { key, free, longest };
        let mut gates = vec![
            gate(counted.here, LOGIN_HERE),
            gate(counted.address, ADDRESS),
        ];
        gates.extend(counted.anywhere.map(|key| gate(key, LOGIN_ANYWHERE)));
        // In one order for all: two tries that share two gates must not wait for each other.
        gates.sort_by_key(|gate| gate.key);
        for gate in gates {
            if let Some(wait) = throttle::pass(tx.conn(), &gate).await? {
                return Err(AppError::TooManyTries { wait });
            }
        }
        tx.commit().await?;
        Ok(counted)
    }
}

impl Try {
    /// Takes the try back, in the transaction of what it was for.
    pub(super) async fn was_right(&self, conn: &mut Conn) -> StoreResult<()> {
        let opened: Vec<GateKey> = [Some(self.here), self.anywhere]
            .into_iter()
            .flatten()
            .collect();
        throttle::open(conn, &opened, &self.address).await?;
        throttle::make_known(conn, &self.known, KNOWN_FOR).await
    }
}

/// Hashed, so that a password typed into the wrong field is not kept.
fn key(kind: &str, parts: &[&str]) -> GateKey {
    let mut digest = Sha256::new_with_prefix(kind);
    for part in parts {
        digest.update([0]);
        digest.update(part);
    }
    digest.finalize().into()
}

/// The address, or for IPv6 its /64: one customer line has as many addresses as it likes.
fn network(address: IpAddr) -> String {
    match address.to_canonical() {
        IpAddr::V4(four) => four.to_string(),
        IpAddr::V6(six) => {
            let [a, b, c, d, ..] = six.segments();
            format!("{a:x}:{b:x}:{c:x}:{d:x}/64")
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_ipv6_line_is_one_address_and_a_mapped_ipv4_is_itself() {
        let of = |text: &str| network(text.parse().unwrap());
        assert_eq!(of("2001:db8:1:2::1"), of("2001:db8:1:2:ffff::9"));
        assert_ne!(of("2001:db8:1:2::1"), of("2001:db8:1:3::1"));
        assert_eq!(of("::ffff:192.0.2.7"), "192.0.2.7");
    }

    #[test]
    fn keys_of_different_parts_differ() {
        assert_ne!(key("here", &["ab", "c"]), key("here", &["a", "bc"]));
        assert_ne!(key("here", &["a"]), key("known", &["a"]));
    }
}
