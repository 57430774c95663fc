//! Bases: what stands in the can before colorant goes in, and how much room it leaves.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use crate::quantity::{CanSize, Centiml};
use crate::wire_form::closed_enum;

closed_enum! {
    /// How much white a base holds, from most to none (common practice, no source).
    pub enum BaseKind, what: "base kind" {
        /// Full white: for whites and the palest tints.
        White => "white",
        /// For light tints.
        Light => "light",
        /// For middle tones.
        Medium => "medium",
        /// For deep colors; little white.
        Deep => "deep",
        /// No white: for the most saturated and darkest colors.
        Clear => "clear",
    }
}

/// Why a fill and room are refused.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum BaseRoomError {
    /// A can without base.
    #[error("fill of the {} is 0: give the base in the can as it comes, in hundredths of a milliliter", .size.human_name())]
    NoFill {
        /// The can size.
        size: CanSize,
    },
    /// Base and colorant together are more than the can's nominal size.
    #[error(
        "fill {fill} and room {room} together are more than the {}, {}: an overfilled can spills; lower the room or the fill",
        .size.human_name(), .size.volume()
    )]
    Overfull {
        /// The can size.
        size: CanSize,
        /// The fill.
        fill: Centiml,
        /// The room.
        room: Centiml,
    },
}

/// For one can size of a base: how much base is in it and how much colorant it takes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, ToSchema)]
#[serde(try_from = "BaseRoomFields", deny_unknown_fields)]
pub struct BaseRoom {
    size: CanSize,
    /// Base in the can as it comes; not 0.
    fill: Centiml,
    /// Colorant it takes at most; with the fill no more than the nominal size.
    room: Centiml,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct BaseRoomFields {
    size: CanSize,
    fill: Centiml,
    room: Centiml,
}

impl TryFrom<BaseRoomFields> for BaseRoom {
    type Error = BaseRoomError;

    fn try_from(fields: BaseRoomFields) -> Result<Self, BaseRoomError> {
        Self::new(fields.size, fields.fill, fields.room)
    }
}

impl BaseRoom {
    /// Checks fill and room against the can. A room of 0 is a base that is sold as it comes.
    ///
    /// # Errors
    /// [`BaseRoomError`] for an empty can, or fill and room above the nominal size (common
    /// practice, no source).
    pub fn new(size: CanSize, fill: Centiml, room: Centiml) -> Result<Self, BaseRoomError> {
        if fill.get() == 0 {
            return Err(BaseRoomError::NoFill { size });
        }
        if fill.volume().plus(room.volume()) > size.volume() {
            return Err(BaseRoomError::Overfull { size, fill, room });
        }
        Ok(Self { size, fill, room })
    }

    /// The can size.
    #[must_use]
    pub const fn size(&self) -> CanSize {
        self.size
    }

    /// Base in the can as it comes.
    #[must_use]
    pub const fn fill(&self) -> Centiml {
        self.fill
    }

    /// Colorant it takes at most.
    #[must_use]
    pub const fn room(&self) -> Centiml {
        self.room
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn fill_and_room_may_fill_the_can_but_no_more() {
        let centiml = |count: u32| Centiml::new(count).unwrap();
        // A quart is 946.352946 ml: 94635 hundredths fit, 94636 do not.
        assert!(BaseRoom::new(CanSize::Quart, centiml(90_000), centiml(4_635)).is_ok());
        assert!(BaseRoom::new(CanSize::Quart, centiml(90_000), centiml(4_636)).is_err());
        assert!(BaseRoom::new(CanSize::Quart, centiml(0), centiml(1)).is_err());
        let json = r#"{"size":"quart","fill":90000,"room":5000}"#;
        let error = serde_json::from_str::<BaseRoom>(json)
            .unwrap_err()
            .to_string();
        assert!(
            error.contains("946.35 ml") && error.contains("spills"),
            "{error}"
        );
    }
}
