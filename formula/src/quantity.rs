//! Exact quantities: shots of colorant, volumes, can sizes. No floats: one US fluid ounce is
//! 29.573 529 562 5 ml exactly (NIST Handbook 44, Appendix C), its 384th part has 17 decimals, so
//! volumes are whole numbers of 10⁻¹⁷ ml.

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use crate::wire_form::{closed_enum, shown, text_type, whole_number};

/// Parts of 10⁻¹⁷ ml in one milliliter.
const PARTS_PER_ML: u128 = 100_000_000_000_000_000;
/// Parts in 0.01 ml.
const PARTS_PER_CENTIML: u128 = PARTS_PER_ML / 100;
/// Parts in one US fluid ounce: 29.573 529 562 5 ml.
const PARTS_PER_FLUID_OUNCE: u128 = 2_957_352_956_250_000_000;
/// Longest volume read from text or written: below 10⁹ ml.
const VOLUME_LIMIT: u128 = 1_000_000_000 * PARTS_PER_ML;

/// Why a quantity is refused.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum QuantityError {
    /// A shot count outside its range.
    #[error(
        "shot count {count} is out of range: give whole shots from 1 to 1000000 and leave a colorant out that is not used"
    )]
    ShotCount {
        /// The count given.
        count: i128,
    },
    /// Hundredths of a milliliter outside their range.
    #[error(
        "volume of {count} hundredths of a milliliter is out of range: give 0 to 10000000 (100 l)"
    )]
    Centiml {
        /// The count given.
        count: i128,
    },
    /// A text that is not an exact volume.
    #[error(
        "volume {text:?} is not milliliters as a decimal: give at most 9 digits, then at most 17 decimals after a point, such as 0.61611519921875"
    )]
    Volume {
        /// The text, cut at 60 characters.
        text: String,
    },
}

closed_enum! {
    /// The step of a colorant dispenser: what one shot is.
    pub enum ShotUnit, what: "shot unit" {
        /// 1/48 US fluid ounce, 0.616 115 199 218 75 ml.
        FlOz48 => "1/48 fl oz",
        /// 1/96 US fluid ounce, 0.308 057 599 609 375 ml.
        FlOz96 => "1/96 fl oz",
        /// 1/192 US fluid ounce, 0.154 028 799 804 687 5 ml.
        FlOz192 => "1/192 fl oz",
        /// 1/384 US fluid ounce, 0.077 014 399 902 343 75 ml.
        FlOz384 => "1/384 fl oz",
        /// 0.01 ml.
        Centiml => "0.01 ml",
    }
}

impl ShotUnit {
    /// The exact volume of one shot.
    #[must_use]
    pub const fn volume(self) -> Volume {
        // Every quotient is exact: 384 = 2⁷·3 divides the parts of an ounce.
        Volume(match self {
            Self::FlOz48 => PARTS_PER_FLUID_OUNCE / 48,
            Self::FlOz96 => PARTS_PER_FLUID_OUNCE / 96,
            Self::FlOz192 => PARTS_PER_FLUID_OUNCE / 192,
            Self::FlOz384 => PARTS_PER_FLUID_OUNCE / 384,
            Self::Centiml => PARTS_PER_CENTIML,
        })
    }
}

/// How many shots: a whole number from 1 to 1,000,000.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct ShotCount(u32);

impl ShotCount {
    /// Smallest count.
    pub const MIN: u32 = 1;
    /// Largest count.
    pub const MAX: u32 = 1_000_000;

    /// Checks the range.
    ///
    /// # Errors
    /// [`QuantityError::ShotCount`] outside 1 to 1,000,000.
    pub fn new(count: impl Into<i128>) -> Result<Self, QuantityError> {
        let count = count.into();
        match u32::try_from(count) {
            Ok(whole @ Self::MIN..=Self::MAX) => Ok(Self(whole)),
            _ => Err(QuantityError::ShotCount { count }),
        }
    }

    /// The number.
    #[must_use]
    pub const fn get(self) -> u32 {
        self.0
    }
}

impl fmt::Display for ShotCount {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Display::fmt(&self.0, f)
    }
}

whole_number!(
    ShotCount,
    what: "shot count",
    description: "whole number of shots",
    range: ShotCount::MIN, ShotCount::MAX,
    example: 24
);

/// An amount of colorant: a whole number of shots of a stated unit.
///
/// Displays as `24 × 1/48 fl oz (14.79 ml)`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Shots {
    /// How many.
    pub count: ShotCount,
    /// Of what.
    pub unit: ShotUnit,
}

impl Shots {
    /// The exact volume.
    #[must_use]
    pub const fn volume(self) -> Volume {
        Volume(self.unit.volume().0 * self.count.0 as u128)
    }
}

impl fmt::Display for Shots {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(&format!(
            "{} × {} ({})",
            self.count,
            self.unit,
            self.volume()
        ))
    }
}

/// An exact volume in whole parts of 10⁻¹⁷ ml.
///
/// Displays rounded half-even to 0.01 ml (`14.79 ml`); on the wire it is exact decimal text in
/// milliliters (`"14.78676478125"`).
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Volume(u128);

impl Volume {
    /// Nothing.
    pub const ZERO: Self = Self(0);

    /// Whole parts of 10⁻¹⁷ ml.
    #[must_use]
    pub const fn parts(self) -> u128 {
        self.0
    }

    /// The sum. Volumes built by this crate stay far below the limit of the integer, so it
    /// saturates instead of wrapping.
    #[must_use]
    pub const fn plus(self, other: Self) -> Self {
        Self(self.0.saturating_add(other.0))
    }

    /// How much this is above `other`, if it is.
    #[must_use]
    pub fn above(self, other: Self) -> Option<Self> {
        self.0
            .checked_sub(other.0)
            .filter(|&over| over > 0)
            .map(Self)
    }

    /// The fewest whole shots that hold at least this volume; zero for nothing.
    #[must_use]
    pub fn shots_rounded_up(self, unit: ShotUnit) -> u128 {
        self.0.div_ceil(unit.volume().0)
    }

    /// Hundredths of a milliliter, half to even.
    #[must_use]
    pub fn hundredths_half_even(self) -> u128 {
        let whole = self.0 / PARTS_PER_CENTIML;
        let rest = self.0 % PARTS_PER_CENTIML;
        match (rest * 2).cmp(&PARTS_PER_CENTIML) {
            std::cmp::Ordering::Less => whole,
            std::cmp::Ordering::Equal => whole + whole % 2,
            std::cmp::Ordering::Greater => whole + 1,
        }
    }

    /// The exact number of milliliters in decimal digits, without trailing zeros.
    #[must_use]
    pub fn exact_ml(self) -> String {
        let decimals = format!("{:017}", self.0 % PARTS_PER_ML);
        let decimals = decimals.trim_end_matches('0');
        let whole = self.0 / PARTS_PER_ML;
        if decimals.is_empty() {
            whole.to_string()
        } else {
            format!("{whole}.{decimals}")
        }
    }

    /// Reads exact decimal milliliters.
    ///
    /// # Errors
    /// [`QuantityError::Volume`] for anything but up to 9 digits and up to 17 decimals.
    pub fn from_exact_ml(text: &str) -> Result<Self, QuantityError> {
        let refused = || QuantityError::Volume { text: shown(text) };
        let (whole, decimals) = match text.split_once('.') {
            Some((_, "")) => return Err(refused()),
            Some(halves) => halves,
            None => (text, ""),
        };
        let digits = |part: &str| part.bytes().all(|byte| byte.is_ascii_digit());
        let leading_zero = whole.len() > 1 && whole.starts_with('0');
        if whole.is_empty()
            || whole.len() > 9
            || leading_zero
            || decimals.len() > 17
            || !digits(whole)
            || !digits(decimals)
        {
            return Err(refused());
        }
        format!("{whole}{decimals:0<17}")
            .parse()
            .map(Self)
            .map_err(|_| refused())
    }
}

impl std::iter::Sum for Volume {
    fn sum<I: Iterator<Item = Self>>(volumes: I) -> Self {
        volumes.fold(Self::ZERO, Self::plus)
    }
}

impl fmt::Display for Volume {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let hundredths = self.hundredths_half_even();
        f.pad(&format!("{}.{:02} ml", hundredths / 100, hundredths % 100))
    }
}

/// A volume in exact decimal milliliters, as text on the wire: JSON numbers are floats to many
/// readers and 17 decimals do not survive there.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct ExactMl(Volume);

impl ExactMl {
    /// The volume.
    #[must_use]
    pub const fn volume(self) -> Volume {
        self.0
    }
}

impl From<Volume> for ExactMl {
    fn from(volume: Volume) -> Self {
        Self(Volume(volume.0.min(VOLUME_LIMIT - 1)))
    }
}

impl FromStr for ExactMl {
    type Err = QuantityError;

    fn from_str(text: &str) -> Result<Self, QuantityError> {
        Volume::from_exact_ml(text).map(Self)
    }
}

impl fmt::Display for ExactMl {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(&self.0.exact_ml())
    }
}

text_type!(
    ExactMl,
    what: "volume in milliliters",
    description: "exact volume in milliliters, as decimal text",
    pattern: r"^(0|[1-9][0-9]{0,8})(\.[0-9]{1,17})?$",
    length: 1, 27,
    example: "14.78676478125"
);

/// Whole hundredths of a milliliter, 0 to 10,000,000 (100 l): fills and colorant rooms.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Centiml(u32);

impl Centiml {
    /// Smallest value.
    pub const MIN: u32 = 0;
    /// Largest value: 100 l.
    pub const MAX: u32 = 10_000_000;

    /// Checks the range.
    ///
    /// # Errors
    /// [`QuantityError::Centiml`] outside 0 to 10,000,000.
    pub fn new(count: impl Into<i128>) -> Result<Self, QuantityError> {
        let count = count.into();
        match u32::try_from(count) {
            Ok(whole @ Self::MIN..=Self::MAX) => Ok(Self(whole)),
            _ => Err(QuantityError::Centiml { count }),
        }
    }

    /// The number of hundredths of a milliliter.
    #[must_use]
    pub const fn get(self) -> u32 {
        self.0
    }

    /// The exact volume.
    #[must_use]
    pub const fn volume(self) -> Volume {
        Volume(PARTS_PER_CENTIML * self.0 as u128)
    }
}

impl fmt::Display for Centiml {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Display::fmt(&self.volume(), f)
    }
}

whole_number!(
    Centiml,
    what: "volume in hundredths of a milliliter",
    description: "volume in whole hundredths of a milliliter",
    range: Centiml::MIN, Centiml::MAX,
    example: 94_635
);

closed_enum! {
    /// The nominal size of a can.
    pub enum CanSize, what: "can size" {
        /// Half a US pint, the usual sample.
        HalfPintSample => "half_pint_sample",
        /// US pint.
        Pint => "pint",
        /// US quart.
        Quart => "quart",
        /// Half a US gallon.
        HalfGallon => "half_gallon",
        /// US gallon.
        Gallon => "gallon",
        /// Two US gallons.
        TwoGallon => "two_gallon",
        /// Five US gallons.
        FiveGallon => "five_gallon",
        /// 500 ml.
        Ml500 => "500_ml",
        /// 1 l.
        L1 => "1_l",
        /// 2.5 l.
        L2_5 => "2_5_l",
        /// 5 l.
        L5 => "5_l",
        /// 10 l.
        L10 => "10_l",
        /// 20 l.
        L20 => "20_l",
    }
}

impl CanSize {
    /// The exact nominal volume (US sizes: NIST Handbook 44, Appendix C; a gallon is 128 fl oz).
    #[must_use]
    pub const fn volume(self) -> Volume {
        Volume(match self {
            Self::HalfPintSample => PARTS_PER_FLUID_OUNCE * 8,
            Self::Pint => PARTS_PER_FLUID_OUNCE * 16,
            Self::Quart => PARTS_PER_FLUID_OUNCE * 32,
            Self::HalfGallon => PARTS_PER_FLUID_OUNCE * 64,
            Self::Gallon => PARTS_PER_FLUID_OUNCE * 128,
            Self::TwoGallon => PARTS_PER_FLUID_OUNCE * 256,
            Self::FiveGallon => PARTS_PER_FLUID_OUNCE * 640,
            Self::Ml500 => PARTS_PER_ML * 500,
            Self::L1 => PARTS_PER_ML * 1_000,
            Self::L2_5 => PARTS_PER_ML * 2_500,
            Self::L5 => PARTS_PER_ML * 5_000,
            Self::L10 => PARTS_PER_ML * 10_000,
            Self::L20 => PARTS_PER_ML * 20_000,
        })
    }

    /// The size as a person says it.
    #[must_use]
    pub const fn human_name(self) -> &'static str {
        match self {
            Self::HalfPintSample => "half-pint sample",
            Self::Pint => "pint",
            Self::Quart => "quart",
            Self::HalfGallon => "half gallon",
            Self::Gallon => "gallon",
            Self::TwoGallon => "two gallons",
            Self::FiveGallon => "five gallons",
            Self::Ml500 => "500 ml",
            Self::L1 => "1 liter",
            Self::L2_5 => "2.5 liters",
            Self::L5 => "5 liters",
            Self::L10 => "10 liters",
            Self::L20 => "20 liters",
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn shots(count: u32, unit: ShotUnit) -> Shots {
        Shots {
            count: ShotCount::new(count).unwrap(),
            unit,
        }
    }

    /// NIST Handbook 44, Appendix C: exact milliliters of US liquid measures.
    const HANDBOOK_44: &[(&str, &str)] = &[
        ("US gallon", "3785.411784"),
        ("US quart", "946.352946"),
        ("US pint", "473.176473"),
        ("US fl oz", "29.5735295625"),
        ("1/2 fl oz", "14.78676478125"),
        ("1/48 fl oz", "0.61611519921875"),
        ("1/96 fl oz", "0.308057599609375"),
        ("1/192 fl oz", "0.1540287998046875"),
        ("1/384 fl oz", "0.07701439990234375"),
    ];

    #[test]
    fn units_and_sizes_are_those_of_handbook_44() {
        let handbook = |name: &str| {
            let (_, ml) = HANDBOOK_44.iter().find(|(unit, _)| *unit == name).unwrap();
            Volume::from_exact_ml(ml).unwrap()
        };
        for unit in &ShotUnit::ALL[..4] {
            assert_eq!(unit.volume(), handbook(unit.as_str()), "{unit}");
        }
        assert_eq!(ShotUnit::Centiml.volume().exact_ml(), "0.01");
        assert_eq!(CanSize::Gallon.volume(), handbook("US gallon"));
        assert_eq!(CanSize::Quart.volume(), handbook("US quart"));
        assert_eq!(CanSize::Pint.volume(), handbook("US pint"));
        assert_eq!(shots(48, ShotUnit::FlOz48).volume(), handbook("US fl oz"));
        assert_eq!(shots(384, ShotUnit::FlOz384).volume(), handbook("US fl oz"));
        assert_eq!(shots(24, ShotUnit::FlOz48).volume(), handbook("1/2 fl oz"));
        assert_eq!(PARTS_PER_FLUID_OUNCE % 384, 0);
    }

    #[test]
    fn milliliters_stand_beside_shots() {
        assert_eq!(
            shots(24, ShotUnit::FlOz48).to_string(),
            "24 × 1/48 fl oz (14.79 ml)"
        );
        assert_eq!(
            shots(7, ShotUnit::Centiml).to_string(),
            "7 × 0.01 ml (0.07 ml)"
        );
    }

    #[test]
    fn halves_round_to_even() {
        let half = |text| Volume::from_exact_ml(text).unwrap().hundredths_half_even();
        assert_eq!(half("0.005"), 0);
        assert_eq!(half("0.015"), 2);
        assert_eq!(half("0.025"), 2);
        assert_eq!(half("0.02500000000000001"), 3);
        assert_eq!(half("0.00499999999999999"), 0);
    }

    #[test]
    fn counts_outside_the_range_are_refused_in_json_too() {
        for bad in [
            "0",
            "-1",
            "1000001",
            "2.5",
            "1e300",
            "18446744073709551616",
            "\"3\"",
            "null",
        ] {
            let error = serde_json::from_str::<ShotCount>(bad)
                .unwrap_err()
                .to_string();
            assert!(
                error.contains("shot count") && error.contains("1000000"),
                "{bad}: {error}"
            );
        }
        assert_eq!(serde_json::from_str::<ShotCount>("24").unwrap().get(), 24);
        assert_eq!(serde_json::from_str::<ShotCount>("24.0").unwrap().get(), 24);
    }

    #[test]
    fn exact_milliliters_are_read_as_written() {
        for good in [
            "0",
            "0.61611519921875",
            "999999999.99999999999999999",
            "14.5",
        ] {
            assert_eq!(good.parse::<ExactMl>().unwrap().to_string(), good);
        }
        for bad in [
            "",
            ".5",
            "5.",
            "01",
            "-1",
            "1e3",
            "1000000000",
            "0.123456789012345678",
            " 1",
            "1,5",
        ] {
            assert!(bad.parse::<ExactMl>().is_err(), "{bad:?}");
        }
    }

    #[test]
    fn an_unknown_unit_is_answered_with_the_list() {
        let error = serde_json::from_str::<ShotUnit>("\"1/64 fl oz\"")
            .unwrap_err()
            .to_string();
        assert!(
            error.contains("1/48 fl oz") && error.contains("0.01 ml"),
            "{error}"
        );
    }
}
