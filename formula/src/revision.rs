//! The formula of a revision: what goes into the can, and whether the can takes it.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use crate::base::BaseRoom;
use crate::id::{BaseId, ColorantId, SheenId};
use crate::naming::BaseName;
use crate::quantity::{CanSize, ShotCount, ShotUnit, Shots, Volume};

/// How much of one colorant: `{"colorant":"…","count":24,"unit":"1/48 fl oz"}`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Amount {
    /// Which colorant.
    pub colorant: ColorantId,
    /// How many shots.
    pub count: ShotCount,
    /// What one shot is.
    pub unit: ShotUnit,
}

impl Amount {
    /// The amount without the colorant.
    #[must_use]
    pub const fn shots(&self) -> Shots {
        Shots {
            count: self.count,
            unit: self.unit,
        }
    }
}

/// A formula: base, sheen, can size and the colorant amounts for that size, each colorant once, in
/// the order given. No amounts is the base as it comes, an untinted white for example.
#[derive(Debug, Clone, PartialEq, Eq, Hash, Serialize, Deserialize, ToSchema)]
#[serde(try_from = "FormulaFields", deny_unknown_fields)]
pub struct Formula {
    base: BaseId,
    sheen: SheenId,
    size: CanSize,
    /// Each colorant at most once; empty for the base as it comes.
    #[schema(max_items = 24)]
    amounts: Vec<Amount>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct FormulaFields {
    base: BaseId,
    sheen: SheenId,
    size: CanSize,
    amounts: Vec<Amount>,
}

impl TryFrom<FormulaFields> for Formula {
    type Error = FormulaError;

    fn try_from(fields: FormulaFields) -> Result<Self, FormulaError> {
        Self::new(fields.base, fields.sheen, fields.size, fields.amounts)
    }
}

/// A base as it can be had: its name and its room in each can size.
#[derive(Debug, Clone, Copy)]
pub struct BaseOffer<'a> {
    /// What the base is called.
    pub name: &'a BaseName,
    /// Fill and room, one entry a can size.
    pub rooms: &'a [BaseRoom],
}

impl BaseOffer<'_> {
    fn room(&self, size: CanSize) -> Option<&BaseRoom> {
        self.rooms.iter().find(|room| room.size() == size)
    }
}

/// Why a formula is refused.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum FormulaError {
    /// More colorants than any formula needs.
    #[error(
        "amounts name {count} colorants: give at most {}",
        Formula::MOST_COLORANTS
    )]
    TooManyColorants {
        /// How many.
        count: usize,
    },
    /// A colorant more than once.
    #[error(
        "amounts[{again}].colorant {colorant} stands already in amounts[{first}]: give each colorant once, with its shots added up"
    )]
    SameColorant {
        /// The colorant.
        colorant: ColorantId,
        /// Index of its first amount.
        first: usize,
        /// Index of the repetition.
        again: usize,
    },
    /// A colorant that the chain does not have.
    #[error("amounts[{index}].colorant {colorant} is not known: choose one from the colorant list")]
    UnknownColorant {
        /// The colorant.
        colorant: ColorantId,
        /// Index of its amount.
        index: usize,
    },
    /// The base does not come in that size.
    #[error("size: base {base} does not come in a {}: {}", .size.human_name(), sizes(.available))]
    SizeNotOffered {
        /// The base.
        base: BaseName,
        /// The can size asked for.
        size: CanSize,
        /// The sizes it comes in.
        available: Vec<CanSize>,
    },
    /// More colorant than the base takes.
    #[error("{0}")]
    OverRoom(Box<OverRoom>),
}

fn sizes(available: &[CanSize]) -> String {
    if available.is_empty() {
        "it comes in none; choose another base".to_owned()
    } else {
        let names: Vec<&str> = available.iter().map(|size| size.human_name()).collect();
        format!("choose one of {}", names.join(", "))
    }
}

/// By how much a formula is above the room of its base, and which other base would take it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct OverRoom {
    /// The base.
    pub base: BaseName,
    /// The can size.
    pub size: CanSize,
    /// All amounts together.
    pub total: Volume,
    /// What the base takes in that size.
    pub room: Volume,
    /// Total less room.
    pub over: Volume,
    /// The smallest shot unit among the amounts.
    pub unit: ShotUnit,
    /// The fewest whole shots of `unit` that would have to be taken out.
    pub over_shots: u128,
    /// Other bases with room enough in that size.
    pub takers: Vec<BaseName>,
}

impl std::fmt::Display for OverRoom {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        // What is over by less than 0.005 ml would read as 0.00 ml.
        let over = if self.over.hundredths_half_even() == 0 {
            format!("{} ml", self.over.exact_ml())
        } else {
            self.over.to_string()
        };
        write!(
            f,
            "amounts come to {}, which is {over} ({} × {}) over the {} of colorant that base {} takes in the size {}: ",
            self.total,
            self.over_shots,
            self.unit,
            self.room,
            self.base,
            self.size.human_name(),
        )?;
        if self.takers.is_empty() {
            f.write_str("take that much out or choose a base with more room")
        } else {
            let names: Vec<&str> = self.takers.iter().map(BaseName::as_str).collect();
            write!(
                f,
                "take that much out, or use base {}, which has the room",
                names.join(" or ")
            )
        }
    }
}

impl Formula {
    /// The most colorants one formula may name: more than dispensers hold (common practice, no
    /// source).
    pub const MOST_COLORANTS: usize = 24;

    /// Checks that each colorant stands once.
    ///
    /// # Errors
    /// [`FormulaError::SameColorant`], [`FormulaError::TooManyColorants`].
    pub fn new(
        base: BaseId,
        sheen: SheenId,
        size: CanSize,
        amounts: Vec<Amount>,
    ) -> Result<Self, FormulaError> {
        if amounts.len() > Self::MOST_COLORANTS {
            return Err(FormulaError::TooManyColorants {
                count: amounts.len(),
            });
        }
        for (again, amount) in amounts.iter().enumerate() {
            let colorant = amount.colorant;
            if let Some(first) = amounts[..again].iter().position(|a| a.colorant == colorant) {
                return Err(FormulaError::SameColorant {
                    colorant,
                    first,
                    again,
                });
            }
        }
        Ok(Self {
            base,
            sheen,
            size,
            amounts,
        })
    }

    /// The base.
    #[must_use]
    pub const fn base(&self) -> BaseId {
        self.base
    }

    /// The sheen.
    #[must_use]
    pub const fn sheen(&self) -> SheenId {
        self.sheen
    }

    /// The can size that the amounts are for.
    #[must_use]
    pub const fn size(&self) -> CanSize {
        self.size
    }

    /// The amounts, in the order given.
    #[must_use]
    pub fn amounts(&self) -> &[Amount] {
        &self.amounts
    }

    /// All colorant together, exactly.
    #[must_use]
    pub fn total(&self) -> Volume {
        self.amounts
            .iter()
            .map(|amount| amount.shots().volume())
            .sum()
    }

    /// Checks the formula against what the chain has: every colorant is known, the base comes in
    /// that size and has the room. `others` are the other bases of the product, of which the error
    /// names those that would take it.
    ///
    /// # Errors
    /// [`FormulaError::UnknownColorant`], [`FormulaError::SizeNotOffered`],
    /// [`FormulaError::OverRoom`].
    pub fn check(
        &self,
        base: BaseOffer<'_>,
        others: &[BaseOffer<'_>],
        is_known: impl Fn(ColorantId) -> bool,
    ) -> Result<(), FormulaError> {
        for (index, amount) in self.amounts.iter().enumerate() {
            if !is_known(amount.colorant) {
                return Err(FormulaError::UnknownColorant {
                    colorant: amount.colorant,
                    index,
                });
            }
        }
        let Some(room) = base.room(self.size) else {
            return Err(FormulaError::SizeNotOffered {
                base: base.name.clone(),
                size: self.size,
                available: base.rooms.iter().map(BaseRoom::size).collect(),
            });
        };
        let room = room.room().volume();
        let total = self.total();
        let finest = self
            .amounts
            .iter()
            .map(|a| a.unit)
            .min_by_key(|unit| unit.volume());
        let (Some(over), Some(unit)) = (total.above(room), finest) else {
            return Ok(());
        };
        let takes = |offer: &&BaseOffer<'_>| {
            offer
                .room(self.size)
                .is_some_and(|room| room.room().volume() >= total)
        };
        Err(FormulaError::OverRoom(Box::new(OverRoom {
            base: base.name.clone(),
            size: self.size,
            total,
            room,
            over,
            unit,
            over_shots: over.shots_rounded_up(unit),
            takers: others
                .iter()
                .filter(takes)
                .map(|offer| offer.name.clone())
                .collect(),
        })))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::Centiml;

    fn colorant(n: u8) -> ColorantId {
        ColorantId::from_parts(1_700_000_000_000, [n; 10])
    }

    fn formula(amounts: &[(u8, u32, ShotUnit)]) -> Result<Formula, FormulaError> {
        Formula::new(
            BaseId::from_parts(1, [1; 10]),
            SheenId::from_parts(1, [2; 10]),
            CanSize::Gallon,
            amounts
                .iter()
                .map(|&(n, count, unit)| Amount {
                    colorant: colorant(n),
                    count: ShotCount::new(count).unwrap(),
                    unit,
                })
                .collect(),
        )
    }

    fn room(size: CanSize, fill: u32, room: u32) -> BaseRoom {
        BaseRoom::new(
            size,
            Centiml::new(fill).unwrap(),
            Centiml::new(room).unwrap(),
        )
        .unwrap()
    }

    #[test]
    fn what_is_over_the_room_is_said_in_milliliters_and_shots_with_a_base_that_takes_it() {
        let names: Vec<BaseName> = ["light", "deep", "clear"]
            .map(|n| n.parse().unwrap())
            .into();
        let light = [room(CanSize::Gallon, 366_000, 5_915)];
        let deep = [
            room(CanSize::Gallon, 354_000, 23_658),
            room(CanSize::Quart, 88_000, 5_914),
        ];
        let clear = [room(CanSize::Quart, 88_000, 5_914)];
        let offer = |i: usize, rooms| BaseOffer {
            name: &names[i],
            rooms,
        };
        let others = [offer(1, &deep[..]), offer(2, &clear[..])];
        // 2 fl oz and 1/384: 59.147059125 + 0.07701… against 59.15 ml of room.
        let over = formula(&[(1, 96, ShotUnit::FlOz48), (2, 1, ShotUnit::FlOz384)]).unwrap();
        let error = over.check(offer(0, &light), &others, |_| true).unwrap_err();
        assert_eq!(
            error.to_string(),
            "amounts come to 59.22 ml, which is 0.07 ml (1 × 1/384 fl oz) over the 59.15 ml of \
             colorant that base light takes in the size gallon: take that much out, or use base \
             deep, which has the room"
        );
        let fits = formula(&[(1, 96, ShotUnit::FlOz48)]).unwrap();
        assert_eq!(fits.check(offer(0, &light), &others, |_| true), Ok(()));
        assert!(matches!(
            fits.check(offer(2, &clear), &[], |_| true),
            Err(FormulaError::SizeNotOffered { .. })
        ));
    }

    #[test]
    fn a_base_without_colorant_is_a_formula() {
        let name: BaseName = "white".parse().unwrap();
        let rooms = [room(CanSize::Gallon, 378_000, 0)];
        let plain = formula(&[]).unwrap();
        assert_eq!(plain.total(), Volume::ZERO);
        let offer = BaseOffer {
            name: &name,
            rooms: &rooms,
        };
        assert_eq!(plain.check(offer, &[], |_| false), Ok(()));
        let tinted = formula(&[(1, 1, ShotUnit::Centiml)]).unwrap();
        assert!(matches!(
            tinted.check(offer, &[], |_| true),
            Err(FormulaError::OverRoom(_))
        ));
    }

    #[test]
    fn the_same_colorant_twice_and_unknown_ones_are_named_by_place() {
        let twice = formula(&[
            (1, 1, ShotUnit::FlOz48),
            (2, 1, ShotUnit::FlOz48),
            (1, 2, ShotUnit::FlOz96),
        ]);
        assert_eq!(
            twice,
            Err(FormulaError::SameColorant {
                colorant: colorant(1),
                first: 0,
                again: 2
            })
        );
        let name: BaseName = "white".parse().unwrap();
        let rooms = [room(CanSize::Gallon, 366_000, 5_915)];
        let known = formula(&[(1, 1, ShotUnit::FlOz48), (2, 1, ShotUnit::FlOz48)]).unwrap();
        assert_eq!(
            known.check(
                BaseOffer {
                    name: &name,
                    rooms: &rooms
                },
                &[],
                |id| id == colorant(1)
            ),
            Err(FormulaError::UnknownColorant {
                colorant: colorant(2),
                index: 1
            })
        );
    }

    #[test]
    fn json_is_checked_like_the_constructor() {
        let twice = serde_json::json!({
            "base": BaseId::from_parts(1, [1; 10]),
            "sheen": SheenId::from_parts(1, [2; 10]),
            "size": "gallon",
            "amounts": [
                {"colorant": colorant(1), "count": 3, "unit": "1/48 fl oz"},
                {"colorant": colorant(1), "count": 4, "unit": "1/48 fl oz"},
            ],
        });
        let error = serde_json::from_value::<Formula>(twice)
            .unwrap_err()
            .to_string();
        assert!(
            error.contains("amounts[1]") && error.contains("once"),
            "{error}"
        );
        let good = formula(&[(1, 3, ShotUnit::FlOz48)]).unwrap();
        let json = serde_json::to_string(&good).unwrap();
        assert_eq!(serde_json::from_str::<Formula>(&json).unwrap(), good);
    }
}
