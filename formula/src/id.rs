//! Ids: one newtype per noun, each a UUID of version 7 (RFC 9562) made by whoever creates the
//! record. Time and random bytes come from the caller.

use std::fmt;
use std::str::FromStr;

use uuid::{Builder, Uuid, Variant};

use crate::wire_form::{shown, text_type};

/// Why an id or idempotency key is refused.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum IdError {
    /// The text is not a hyphenated UUID.
    #[error(
        "{what} {text:?} is not a UUID: give 36 characters such as 019a2f3c-5b7e-7d41-9c02-6e1f8a4b3d57"
    )]
    NotUuid {
        /// Which id.
        what: &'static str,
        /// The text given, cut at 60 characters.
        text: String,
    },
    /// A UUID, but of another version or variant.
    #[error("{what} {uuid} is not a UUID of version {allowed} (RFC 9562): {remedy}")]
    WrongVersion {
        /// Which id.
        what: &'static str,
        /// The UUID given.
        uuid: Uuid,
        /// The versions taken.
        allowed: &'static str,
        /// What to do.
        remedy: &'static str,
    },
}

/// Hyphenated form only, in either case: what the schema's pattern says, no braces, no URN.
fn parse_hyphenated(what: &'static str, text: &str) -> Result<Uuid, IdError> {
    let not_uuid = || IdError::NotUuid {
        what,
        text: shown(text),
    };
    if text.len() != 36 {
        return Err(not_uuid());
    }
    Uuid::try_parse(text).map_err(|_| not_uuid())
}

/// Milliseconds are 48 bits wide in a UUIDv7: enough until the year 10889.
const MILLISECONDS: u64 = (1 << 48) - 1;

macro_rules! ids {
    ($($(#[$meta:meta])* $type:ident, $what:literal;)+) => {$(
        $(#[$meta])*
        #[derive(Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
        pub struct $type(Uuid);

        impl $type {
            /// Makes an id from Unix time in milliseconds (its low 48 bits are used) and ten random
            /// bytes, of which six bits give way to version and variant.
            #[must_use]
            pub fn from_parts(unix_ms: u64, random: [u8; 10]) -> Self {
                Self(Builder::from_unix_timestamp_millis(unix_ms & MILLISECONDS, &random).into_uuid())
            }

            /// The UUID.
            #[must_use]
            pub const fn as_uuid(self) -> Uuid {
                self.0
            }

            /// Unix time in milliseconds at which the id says it was made. A hint only: the clock
            /// was the maker's.
            #[must_use]
            pub const fn unix_ms(self) -> u64 {
                (self.0.as_u128() >> 80) as u64
            }
        }

        impl TryFrom<Uuid> for $type {
            type Error = IdError;

            fn try_from(uuid: Uuid) -> Result<Self, IdError> {
                if uuid.get_version_num() == 7 && uuid.get_variant() == Variant::RFC4122 {
                    Ok(Self(uuid))
                } else {
                    Err(IdError::WrongVersion {
                        what: $what,
                        uuid,
                        allowed: "7",
                        remedy: "give the id as it was handed out",
                    })
                }
            }
        }

        impl From<$type> for Uuid {
            fn from(id: $type) -> Self {
                id.0
            }
        }

        impl FromStr for $type {
            type Err = IdError;

            fn from_str(text: &str) -> Result<Self, IdError> {
                parse_hyphenated($what, text)?.try_into()
            }
        }

        impl fmt::Display for $type {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                fmt::Display::fmt(&self.0, f)
            }
        }

        impl fmt::Debug for $type {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                write!(f, concat!(stringify!($type), "({})"), self.0)
            }
        }

        text_type!(
            $type,
            what: $what,
            description: concat!($what, ", a UUID of version 7 (RFC 9562)"),
            pattern: "^[0-9a-fA-F]{8}-[0-9a-fA-F]{4}-7[0-9a-fA-F]{3}-[89abAB][0-9a-fA-F]{3}-[0-9a-fA-F]{12}$",
            length: 36, 36,
            example: "019a2f3c-5b7e-7d41-9c02-6e1f8a4b3d57"
        );
    )+};
}

ids! {
    /// A branch of the chain.
    StoreId, "store id";
    /// A person who logs in.
    PersonId, "person id";
    /// A customer, person or company.
    CustomerId, "customer id";
    /// A job label of a customer.
    JobId, "job id";
    /// A paint product.
    ProductId, "product id";
    /// A sheen of a product.
    SheenId, "sheen id";
    /// A base of a product.
    BaseId, "base id";
    /// A colorant.
    ColorantId, "colorant id";
    /// A measured spectrum with its conditions.
    MeasurementId, "measurement id";
    /// A customer's wanted color with the formulas found for it.
    MatchId, "match id";
    /// One immutable formula of a match.
    RevisionId, "revision id";
    /// The measured result of a revision.
    DrawdownId, "drawdown id";
    /// A half-made match.
    DraftId, "draft id";
    /// An order to tint a match again.
    ReorderId, "reorder id";
    /// One can really made.
    TintId, "tint id";
    /// A measuring instrument.
    InstrumentId, "instrument id";
    /// A calibration of an instrument.
    CalibrationId, "calibration id";
    /// A time at which an instrument was switched on.
    InstrumentStartId, "instrument start id";
    /// An acceptance of a reading at which something was due.
    AcceptanceId, "acceptance id";
    /// A verification tile.
    TileId, "tile id";
    /// A reading of a verification tile.
    TileReadingId, "tile reading id";
    /// A correction of one instrument to another.
    CorrectionId, "correction id";
    /// A login session.
    SessionId, "session id";
}

/// The key that makes a repeated write the same write: a UUID of version 4 or 7 (RFC 9562),
/// chosen by the client once per intended effect.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct IdempotencyKey(Uuid);

impl IdempotencyKey {
    /// The UUID.
    #[must_use]
    pub const fn as_uuid(self) -> Uuid {
        self.0
    }
}

impl TryFrom<Uuid> for IdempotencyKey {
    type Error = IdError;

    fn try_from(uuid: Uuid) -> Result<Self, IdError> {
        // The nil UUID has version 0 and falls with the rest.
        if matches!(uuid.get_version_num(), 4 | 7) && uuid.get_variant() == Variant::RFC4122 {
            Ok(Self(uuid))
        } else {
            Err(IdError::WrongVersion {
                what: "idempotency key",
                uuid,
                allowed: "4 or 7",
                remedy: "make a new one for each write and keep it for repeats",
            })
        }
    }
}

impl From<IdempotencyKey> for Uuid {
    fn from(key: IdempotencyKey) -> Self {
        key.0
    }
}

impl FromStr for IdempotencyKey {
    type Err = IdError;

    fn from_str(text: &str) -> Result<Self, IdError> {
        parse_hyphenated("idempotency key", text)?.try_into()
    }
}

impl fmt::Display for IdempotencyKey {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Display::fmt(&self.0, f)
    }
}

text_type!(
    IdempotencyKey,
    what: "idempotency key",
    description: "idempotency key, a UUID of version 4 or 7 (RFC 9562)",
    pattern: "^[0-9a-fA-F]{8}-[0-9a-fA-F]{4}-[47][0-9a-fA-F]{3}-[89abAB][0-9a-fA-F]{3}-[0-9a-fA-F]{12}$",
    length: 36, 36,
    example: "3f2b8c1e-6a4d-4e0b-9f37-1c5d8e7a2b60"
);

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ids_of_version_7_are_taken_and_all_others_are_refused() {
        let id = MatchId::from_parts(1_700_000_000_123, [0xff; 10]);
        assert_eq!(id.unix_ms(), 1_700_000_000_123);
        assert_eq!(id.to_string().parse::<MatchId>(), Ok(id));
        assert_eq!(id.to_string().to_uppercase().parse::<MatchId>(), Ok(id));
        assert!(MatchId::try_from(Uuid::nil()).is_err());
        assert!(MatchId::try_from(Uuid::max()).is_err());
        assert!(
            "3f2b8c1e-6a4d-4e0b-9f37-1c5d8e7a2b60"
                .parse::<MatchId>()
                .is_err()
        );
        assert!(
            "019a2f3c-5b7e-7d41-cc02-6e1f8a4b3d57"
                .parse::<MatchId>()
                .is_err()
        );
        assert!(
            "019a2f3c5b7e7d419c026e1f8a4b3d57"
                .parse::<MatchId>()
                .is_err()
        );
        assert!(
            "{019a2f3c-5b7e-7d41-9c02-6e1f8a4b3d57}"
                .parse::<MatchId>()
                .is_err()
        );
    }

    /// The example of RFC 9562, appendix A.6.
    #[test]
    fn the_rfc_example_is_read_with_its_time() {
        let id: MatchId = "017F22E2-79B0-7CC3-98C4-DC0C0C07398F".parse().unwrap();
        assert_eq!(id.unix_ms(), 0x017F_22E2_79B0);
        assert_eq!(id.unix_ms(), 1_645_557_742_000);
    }

    #[test]
    fn idempotency_keys_of_version_4_and_7_are_taken() {
        assert!(
            "3f2b8c1e-6a4d-4e0b-9f37-1c5d8e7a2b60"
                .parse::<IdempotencyKey>()
                .is_ok()
        );
        assert!(
            "017F22E2-79B0-7CC3-98C4-DC0C0C07398F"
                .parse::<IdempotencyKey>()
                .is_ok()
        );
        assert!(Uuid::nil().to_string().parse::<IdempotencyKey>().is_err());
        assert!(
            "c232ab00-9414-11ec-b3c8-9f6bdeced846"
                .parse::<IdempotencyKey>()
                .is_err()
        );
    }
}
