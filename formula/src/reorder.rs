//! The life of a reorder.

use crate::wire_form::closed_enum;

closed_enum! {
    /// Where a reorder stands.
    pub enum ReorderState, what: "reorder state" {
        /// Asked for, nothing done yet.
        Placed => "placed",
        /// A clerk has started on it.
        BeingTinted => "being_tinted",
        /// The can waits at the counter.
        Ready => "ready",
        /// The customer has it.
        PickedUp => "picked_up",
        /// Called off.
        Cancelled => "cancelled",
    }
}

impl ReorderState {
    /// The states that may follow, the ordinary next one first. Empty at the end of its life.
    #[must_use]
    pub const fn next_states(self) -> &'static [Self] {
        match self {
            Self::Placed => &[Self::BeingTinted, Self::Cancelled],
            Self::BeingTinted => &[Self::Ready, Self::Cancelled],
            Self::Ready => &[Self::PickedUp, Self::Cancelled],
            Self::PickedUp | Self::Cancelled => &[],
        }
    }

    /// The state that follows when nothing goes wrong; `None` at the end of its life.
    #[must_use]
    pub const fn ordinary_next(self) -> Option<Self> {
        match self.next_states() {
            [next, ..] => Some(*next),
            [] => None,
        }
    }

    /// Whether nothing can follow.
    #[must_use]
    pub const fn is_final(self) -> bool {
        self.next_states().is_empty()
    }

    /// Moves on to `to`.
    ///
    /// # Errors
    /// [`ReorderStateError`], naming both states and what is possible.
    pub fn advance(self, to: Self) -> Result<Self, ReorderStateError> {
        if self.next_states().contains(&to) {
            Ok(to)
        } else {
            Err(ReorderStateError { from: self, to })
        }
    }

    /// The state as a person says it.
    #[must_use]
    pub const fn human_name(self) -> &'static str {
        match self {
            Self::Placed => "placed",
            Self::BeingTinted => "being tinted",
            Self::Ready => "ready",
            Self::PickedUp => "picked up",
            Self::Cancelled => "cancelled",
        }
    }
}

/// A step that a reorder cannot take.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("reorder is {from} and cannot become {to}: {}", possible(*.from), from = .from.human_name(), to = .to.human_name())]
pub struct ReorderStateError {
    from: ReorderState,
    to: ReorderState,
}

impl ReorderStateError {
    /// The state it is in.
    #[must_use]
    pub const fn from(&self) -> ReorderState {
        self.from
    }

    /// The state asked for.
    #[must_use]
    pub const fn to(&self) -> ReorderState {
        self.to
    }
}

fn possible(from: ReorderState) -> String {
    let next: Vec<&str> = from
        .next_states()
        .iter()
        .map(|state| state.human_name())
        .collect();
    if next.is_empty() {
        "nothing can follow; place a new reorder".to_owned()
    } else {
        format!("possible is {}", next.join(" or "))
    }
}

#[cfg(test)]
mod tests {
    use super::ReorderState::{self, BeingTinted, Cancelled, PickedUp, Placed, Ready};

    #[test]
    fn every_pair_of_states_is_decided() {
        let allowed = [
            (Placed, BeingTinted),
            (Placed, Cancelled),
            (BeingTinted, Ready),
            (BeingTinted, Cancelled),
            (Ready, PickedUp),
            (Ready, Cancelled),
        ];
        for &from in ReorderState::ALL {
            for &to in ReorderState::ALL {
                match from.advance(to) {
                    Ok(now) => {
                        assert_eq!(now, to);
                        assert!(allowed.contains(&(from, to)), "{from} to {to}");
                    }
                    Err(error) => {
                        assert!(!allowed.contains(&(from, to)), "{from} to {to}");
                        let text = error.to_string();
                        assert!(text.contains(from.human_name()) && text.contains(to.human_name()));
                    }
                }
            }
        }
    }

    #[test]
    fn the_error_says_what_is_possible() {
        assert_eq!(
            Placed.advance(PickedUp).unwrap_err().to_string(),
            "reorder is placed and cannot become picked up: possible is being tinted or cancelled"
        );
        assert_eq!(
            Cancelled.advance(Ready).unwrap_err().to_string(),
            "reorder is cancelled and cannot become ready: nothing can follow; place a new reorder"
        );
    }
}
