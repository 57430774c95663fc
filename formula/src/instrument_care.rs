//! What is due at an instrument, judged from facts: the same rule at the server and at a branch
//! without a network.

use time::{Date, Duration, OffsetDateTime};

use crate::wire::v1::{InstrumentDue, InstrumentState, StartBasis};

/// Hours from one calibration to the next, when the maker does not ask for fewer (common
/// practice, no source: weekly).
pub const CALIBRATION_HOURS: u16 = 168;
/// Minutes that an instrument takes to warm up (common practice, no source).
pub const WARM_UP_MINUTES: u16 = 30;
/// Hours that a person's word on when an instrument was switched on holds, counted from when it
/// was given: a working day, not the next morning.
pub const TOLD_HOURS: i64 = 16;
/// Hours within which an instrument's first use stands for when it was switched on: less than a
/// night, so that yesterday's last reading does not make it warm this morning.
pub const FIRST_USE_HOURS: i64 = 8;

/// What is known of an instrument up to a time.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Known {
    /// The time.
    pub at: OffsetDateTime,
    /// Whether it is out of use.
    pub retired: bool,
    /// Hours from one calibration to the next.
    pub calibration_hours: u16,
    /// Minutes that it takes to warm up.
    pub warm_up_minutes: u16,
    /// Last day of the white tile's certificate.
    pub certificate_expires_on: Option<Date>,
    /// When white was read last.
    pub white_read_at: Option<OffsetDateTime>,
    /// When black was read last.
    pub black_read_at: Option<OffsetDateTime>,
    /// When it was switched on by a person's word that still holds.
    pub told_on_at: Option<OffsetDateTime>,
    /// Its first use within [`FIRST_USE_HOURS`].
    pub first_use_at: Option<OffsetDateTime>,
}

impl Known {
    /// What is due.
    #[must_use]
    pub fn state(&self) -> InstrumentState {
        let interval = Duration::hours(i64::from(self.calibration_hours));
        let late = |read: Option<OffsetDateTime>| {
            read.is_none_or(|read| self.at > read.saturating_add(interval))
        };
        let start = match (self.told_on_at, self.first_use_at) {
            (Some(told), _) => Some((told, StartBasis::Told)),
            (None, Some(used)) => Some((used, StartBasis::FirstUse)),
            (None, None) => None,
        };
        let warm_up = Duration::minutes(i64::from(self.warm_up_minutes));
        let warm_at = start.map(|(on, _)| on.saturating_add(warm_up));
        let cold = !warm_up.is_zero() && warm_at.is_none_or(|warm| self.at < warm);
        let expired = self
            .certificate_expires_on
            .is_some_and(|last| self.at.to_offset(time::UtcOffset::UTC).date() > last);
        let due = [
            (late(self.white_read_at), InstrumentDue::CalibrationOverdue),
            (late(self.black_read_at), InstrumentDue::BlackNotRead),
            (cold, InstrumentDue::NotWarmedUp),
            (expired, InstrumentDue::CertificateExpired),
        ];
        let due = due
            .into_iter()
            .filter_map(|(is_due, what)| (is_due && !self.retired).then_some(what))
            .collect();
        InstrumentState {
            at: self.at,
            due,
            white_read_at: self.white_read_at,
            black_read_at: self.black_read_at,
            calibration_due_at: self.white_read_at.map(|read| read.saturating_add(interval)),
            switched_on_at: start.map(|(on, _)| on),
            switched_on_basis: start.map(|(_, basis)| basis),
            warm_at,
        }
    }
}

impl InstrumentDue {
    /// In words: `white calibration overdue`.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::CalibrationOverdue => "white calibration overdue",
            Self::BlackNotRead => "black not read in time",
            Self::NotWarmedUp => "not warmed up",
            Self::CertificateExpired => "white tile's certificate expired",
        }
    }

    /// What to do about it.
    #[must_use]
    pub const fn remedy(self) -> &'static str {
        match self {
            Self::CalibrationOverdue | Self::BlackNotRead => "calibrate: white, then black",
            Self::NotWarmedUp => "let it warm up, or say when it was switched on",
            Self::CertificateExpired => "have the white tile certified anew",
        }
    }
}

#[cfg(test)]
mod tests {
    use time::macros::{date, datetime};

    use super::*;

    const WELL: Known = Known {
        at: datetime!(2026-03-02 09:00 UTC),
        retired: false,
        calibration_hours: CALIBRATION_HOURS,
        warm_up_minutes: WARM_UP_MINUTES,
        certificate_expires_on: Some(date!(2026 - 03 - 02)),
        white_read_at: Some(datetime!(2026-02-23 09:00 UTC)),
        black_read_at: Some(datetime!(2026-02-23 09:00 UTC)),
        told_on_at: Some(datetime!(2026-03-02 08:30 UTC)),
        first_use_at: Some(datetime!(2026-03-02 08:55 UTC)),
    };

    #[test]
    fn to_the_last_minute_nothing_is_due() {
        let state = WELL.state();
        assert_eq!(state.due, []);
        assert_eq!(state.switched_on_basis, Some(StartBasis::Told));
        assert_eq!(state.warm_at, Some(WELL.at));
        assert_eq!(state.calibration_due_at, Some(WELL.at));
    }

    #[test]
    fn each_thing_is_due_by_itself() {
        let second = Duration::seconds(1);
        let later = |at: Option<OffsetDateTime>| at.map(|at| at - second);
        let cases = [
            (
                Known {
                    white_read_at: later(WELL.white_read_at),
                    ..WELL
                },
                InstrumentDue::CalibrationOverdue,
            ),
            (
                Known {
                    black_read_at: None,
                    ..WELL
                },
                InstrumentDue::BlackNotRead,
            ),
            (
                Known {
                    told_on_at: Some(datetime!(2026-03-02 08:30:01 UTC)),
                    ..WELL
                },
                InstrumentDue::NotWarmedUp,
            ),
            (
                Known {
                    certificate_expires_on: Some(date!(2026 - 03 - 01)),
                    ..WELL
                },
                InstrumentDue::CertificateExpired,
            ),
        ];
        for (known, due) in cases {
            assert_eq!(known.state().due, [due], "{known:?}");
        }
    }

    #[test]
    fn where_nobody_says_the_first_use_counts_and_is_told_as_such() {
        let unsaid = Known {
            told_on_at: None,
            ..WELL
        };
        let state = unsaid.state();
        assert_eq!(state.switched_on_basis, Some(StartBasis::FirstUse));
        assert_eq!(state.due, [InstrumentDue::NotWarmedUp]);
        let unused = Known {
            first_use_at: None,
            ..unsaid
        };
        assert_eq!(unused.state().due, [InstrumentDue::NotWarmedUp]);
        assert_eq!(unused.state().switched_on_at, None);
        let needs_none = Known {
            warm_up_minutes: 0,
            ..unused
        };
        assert_eq!(needs_none.state().due, []);
    }

    #[test]
    fn nothing_is_due_at_an_instrument_out_of_use() {
        let away = Known {
            retired: true,
            white_read_at: None,
            ..WELL
        };
        assert_eq!(away.state().due, []);
    }
}
