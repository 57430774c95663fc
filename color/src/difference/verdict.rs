//! What a ΔE00 means at the counter.

use serde::{Deserialize, Serialize};

/// Limits in ΔE00, each inclusive. Defaults are common practice without a source; a color
/// lead may set others.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(into = "LimitsAsRead", try_from = "LimitsAsRead")]
pub struct VerdictLimits {
    indistinguishable: f64,
    accepted: f64,
    ask: f64,
}

/// The same three numbers before they are checked.
#[derive(Serialize, Deserialize)]
#[serde(rename = "VerdictLimits", deny_unknown_fields)]
struct LimitsAsRead {
    indistinguishable: f64,
    accepted: f64,
    ask: f64,
}

/// Why three numbers are no verdict limits.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[error(
    "verdict limits indistinguishable {indistinguishable}, accepted {accepted}, ask {ask} do \
     not rise; give three finite numbers with 0 < indistinguishable < accepted < ask"
)]
pub struct VerdictLimitsError {
    /// Limit given for "indistinguishable".
    pub indistinguishable: f64,
    /// Limit given for "accepted".
    pub accepted: f64,
    /// Limit given for "ask the customer".
    pub ask: f64,
}

impl Default for VerdictLimits {
    fn default() -> Self {
        Self {
            indistinguishable: 0.5,
            accepted: 1.0,
            ask: 2.0,
        }
    }
}

impl VerdictLimits {
    /// Limits in ΔE00.
    ///
    /// # Errors
    /// [`VerdictLimitsError`] unless 0 < `indistinguishable` < `accepted` < `ask`, finite.
    pub fn new(
        indistinguishable: f64,
        accepted: f64,
        ask: f64,
    ) -> Result<Self, VerdictLimitsError> {
        let rising = 0.0 < indistinguishable && indistinguishable < accepted && accepted < ask;
        if rising && ask.is_finite() {
            Ok(Self {
                indistinguishable,
                accepted,
                ask,
            })
        } else {
            Err(VerdictLimitsError {
                indistinguishable,
                accepted,
                ask,
            })
        }
    }

    /// Largest ΔE00 that counts as indistinguishable.
    #[must_use]
    pub fn indistinguishable(&self) -> f64 {
        self.indistinguishable
    }

    /// Largest ΔE00 that most accept.
    #[must_use]
    pub fn accepted(&self) -> f64 {
        self.accepted
    }

    /// Largest ΔE00 worth showing the customer.
    #[must_use]
    pub fn ask(&self) -> f64 {
        self.ask
    }

    /// The verdict on a ΔE00. NaN is a new match.
    #[must_use]
    pub fn judge(&self, de2000: f64) -> Verdict {
        if de2000 <= self.indistinguishable {
            Verdict::Indistinguishable
        } else if de2000 <= self.accepted {
            Verdict::Accepted
        } else if de2000 <= self.ask {
            Verdict::AskCustomer
        } else {
            Verdict::NewMatch
        }
    }
}

impl TryFrom<LimitsAsRead> for VerdictLimits {
    type Error = VerdictLimitsError;
    fn try_from(read: LimitsAsRead) -> Result<Self, VerdictLimitsError> {
        Self::new(read.indistinguishable, read.accepted, read.ask)
    }
}

impl From<VerdictLimits> for LimitsAsRead {
    fn from(limits: VerdictLimits) -> Self {
        let VerdictLimits {
            indistinguishable,
            accepted,
            ask,
        } = limits;
        Self {
            indistinguishable,
            accepted,
            ask,
        }
    }
}

/// Whether an existing formula is near enough, best first.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Verdict {
    /// Side by side most people see one color.
    Indistinguishable,
    /// Most customers accept it.
    Accepted,
    /// Show a drawdown and let the customer decide.
    AskCustomer,
    /// Too far: make a new match.
    NewMatch,
}

impl Verdict {
    /// The word as serialized.
    #[must_use]
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Indistinguishable => "indistinguishable",
            Self::Accepted => "accepted",
            Self::AskCustomer => "ask_customer",
            Self::NewMatch => "new_match",
        }
    }

    /// What to say to a person.
    #[must_use]
    pub fn phrase(self) -> &'static str {
        match self {
            Self::Indistinguishable => "indistinguishable side by side for most",
            Self::Accepted => "accepted by most",
            Self::AskCustomer => "ask the customer with a drawdown",
            Self::NewMatch => "make a new match",
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn limits_are_inclusive() {
        let limits = VerdictLimits::default();
        assert_eq!(limits.judge(0.0), Verdict::Indistinguishable);
        assert_eq!(limits.judge(0.5), Verdict::Indistinguishable);
        assert_eq!(limits.judge(0.500_001), Verdict::Accepted);
        assert_eq!(limits.judge(1.0), Verdict::Accepted);
        assert_eq!(limits.judge(2.0), Verdict::AskCustomer);
        assert_eq!(limits.judge(2.1), Verdict::NewMatch);
        assert_eq!(limits.judge(f64::NAN), Verdict::NewMatch);
    }

    #[test]
    fn limits_must_rise() {
        for (i, a, q) in [
            (1.0, 0.5, 2.0),
            (0.0, 1.0, 2.0),
            (0.5, 1.0, f64::INFINITY),
            (0.5, f64::NAN, 2.0),
        ] {
            assert!(VerdictLimits::new(i, a, q).is_err(), "{i} {a} {q}");
        }
        let json = r#"{"indistinguishable":0.4,"accepted":0.3,"ask":2}"#;
        assert!(serde_json::from_str::<VerdictLimits>(json).is_err());
        let json = r#"{"indistinguishable":0.4,"accepted":0.8,"ask":2.0}"#;
        let limits: VerdictLimits = serde_json::from_str(json).unwrap();
        assert_eq!(serde_json::to_string(&limits).unwrap(), json);
    }

    #[test]
    fn serialized_word_is_the_name() {
        for v in [
            Verdict::Indistinguishable,
            Verdict::Accepted,
            Verdict::AskCustomer,
            Verdict::NewMatch,
        ] {
            assert_eq!(
                serde_json::to_string(&v).unwrap(),
                format!("\"{}\"", v.as_str())
            );
            assert!(!v.phrase().is_empty());
        }
    }
}
