//! The demo's own calendar. All times are fixed, so the same version of the program makes the same data whenever it
//! is loaded; they lie in the past, so that nothing is dated after the day it is looked at.

use time::macros::datetime;
use time::{Duration, OffsetDateTime};

use super::seeded::Seeded;

/// The chain opens.
pub(super) const OPENED: OffsetDateTime = datetime!(2023-02-06 13:00 UTC);
/// The last day of the demo.
pub(super) const LAST_DAY: OffsetDateTime = datetime!(2025-03-28 22:00 UTC);
/// On this day branch Harbor puts its old instrument away.
pub(super) const OLD_INSTRUMENT_RETIRED: OffsetDateTime = datetime!(2023-10-02 14:00 UTC);

/// Milliseconds for a UUIDv7.
pub(super) fn unix_ms(at: OffsetDateTime) -> u64 {
    u64::try_from(at.unix_timestamp_nanos() / 1_000_000).unwrap_or(0)
}

/// Some minute of the opening hours of the day, at second precision.
pub(super) fn in_opening_hours(random: &mut Seeded, day: OffsetDateTime) -> OffsetDateTime {
    let seconds = random.below(9 * 3600) as i64;
    day.replace_time(time::macros::time!(13:00)) + Duration::seconds(seconds)
}

/// Some minute of the opening hours `low` to `high` days later, but not after the last day.
pub(super) fn days_later(
    random: &mut Seeded,
    from: OffsetDateTime,
    low: f64,
    high: f64,
) -> OffsetDateTime {
    let later = from + Duration::days(random.between(low, high) as i64);
    // On the same day it must still come after.
    in_opening_hours(random, later)
        .max(from + Duration::minutes(20))
        .min(LAST_DAY.max(from + Duration::minutes(20)))
}
