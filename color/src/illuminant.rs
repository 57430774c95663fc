//! CIE illuminants (ISO/CIE 11664-2, CIE 15:2018).

use std::fmt;
use std::str::FromStr;
use std::sync::OnceLock;

use serde::{Deserialize, Serialize};

use crate::cie_table::{Between, COUNT, parse, per_nanometer};
use crate::lab::Xyz;
use crate::observer::Observer;

/// A light a color can be judged under. Serialized by its CIE name (`"D65"`, `"LED-B3"`).
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub enum Illuminant {
    /// Tungsten filament, 2856 K.
    A,
    /// Average daylight without ultraviolet; older data use it.
    C,
    /// Daylight, 5000 K.
    D50,
    /// Daylight, 5500 K.
    D55,
    /// Daylight, 6500 K: the usual one.
    #[default]
    D65,
    /// Daylight, 7500 K.
    D75,
    /// Fluorescent, cool white (CIE FL2).
    F2,
    /// Fluorescent, broad-band daylight (CIE FL7).
    F7,
    /// Fluorescent, three narrow bands (CIE FL11).
    F11,
    /// LED, phosphor, 2733 K.
    #[serde(rename = "LED-B1")]
    LedB1,
    /// LED, phosphor, 2998 K.
    #[serde(rename = "LED-B2")]
    LedB2,
    /// LED, phosphor, 4103 K.
    #[serde(rename = "LED-B3")]
    LedB3,
    /// LED, phosphor, 5109 K.
    #[serde(rename = "LED-B4")]
    LedB4,
    /// LED, phosphor, 6598 K.
    #[serde(rename = "LED-B5")]
    LedB5,
}

/// A light whose name is not known here.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error(
    "light {0:?} is not known; give one of A, C, D50, D55, D65, D75, F2, F7, F11, LED-B1, \
     LED-B2, LED-B3, LED-B4, LED-B5"
)]
pub struct UnknownIlluminant(String);

impl Illuminant {
    /// Every light.
    pub const ALL: [Self; 14] = [
        Self::A,
        Self::C,
        Self::D50,
        Self::D55,
        Self::D65,
        Self::D75,
        Self::F2,
        Self::F7,
        Self::F11,
        Self::LedB1,
        Self::LedB2,
        Self::LedB3,
        Self::LedB4,
        Self::LedB5,
    ];

    /// CIE name.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::A => "A",
            Self::C => "C",
            Self::D50 => "D50",
            Self::D55 => "D55",
            Self::D65 => "D65",
            Self::D75 => "D75",
            Self::F2 => "F2",
            Self::F7 => "F7",
            Self::F11 => "F11",
            Self::LedB1 => "LED-B1",
            Self::LedB2 => "LED-B2",
            Self::LedB3 => "LED-B3",
            Self::LedB4 => "LED-B4",
            Self::LedB5 => "LED-B5",
        }
    }

    fn table(self) -> (&'static str, Between) {
        use Between::{Given, Lagrange, Sprague};
        match self {
            Self::A => (include_str!("../tables/illuminant_a_1nm.csv"), Given),
            Self::C => (include_str!("../tables/illuminant_c_5nm.csv"), Lagrange),
            Self::D50 => (include_str!("../tables/illuminant_d50_1nm.csv"), Given),
            Self::D55 => (include_str!("../tables/illuminant_d55_5nm.csv"), Lagrange),
            Self::D65 => (include_str!("../tables/illuminant_d65_1nm.csv"), Given),
            Self::D75 => (include_str!("../tables/illuminant_d75_5nm.csv"), Lagrange),
            Self::F2 => (include_str!("../tables/illuminant_f2_5nm.csv"), Sprague),
            Self::F7 => (include_str!("../tables/illuminant_f7_5nm.csv"), Sprague),
            Self::F11 => (include_str!("../tables/illuminant_f11_5nm.csv"), Sprague),
            Self::LedB1 => (include_str!("../tables/illuminant_led_b1_1nm.csv"), Given),
            Self::LedB2 => (include_str!("../tables/illuminant_led_b2_1nm.csv"), Given),
            Self::LedB3 => (include_str!("../tables/illuminant_led_b3_1nm.csv"), Given),
            Self::LedB4 => (include_str!("../tables/illuminant_led_b4_1nm.csv"), Given),
            Self::LedB5 => (include_str!("../tables/illuminant_led_b5_1nm.csv"), Given),
        }
    }
}

impl fmt::Display for Illuminant {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}

impl FromStr for Illuminant {
    type Err = UnknownIlluminant;
    /// Takes the CIE name in any case.
    fn from_str(text: &str) -> Result<Self, UnknownIlluminant> {
        Self::ALL
            .into_iter()
            .find(|light| light.name().eq_ignore_ascii_case(text.trim()))
            .ok_or_else(|| UnknownIlluminant(text.to_owned()))
    }
}

/// A light and an observer. Default D65 and 10°.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub struct Viewing {
    /// The light.
    pub light: Illuminant,
    /// The observer.
    pub observer: Observer,
}

impl Viewing {
    /// Light and observer.
    #[must_use]
    pub const fn new(light: Illuminant, observer: Observer) -> Self {
        Self { light, observer }
    }

    /// Tristimulus values of the perfect diffuser: the sums over 360–780 nm by 1 nm, Y = 100.
    #[must_use]
    pub fn white(self) -> Xyz {
        let mut sums = [0.0; 3];
        for row in self.per_nanometer() {
            for (sum, value) in sums.iter_mut().zip(row) {
                *sum += value;
            }
        }
        Xyz::from(sums)
    }

    /// k·S·x̄, k·S·ȳ, k·S·z̄ at each nanometer from 360 to 780, with k so that Y of the perfect
    /// diffuser is 100 (CIE 15; ASTM E308).
    pub(crate) fn per_nanometer(self) -> &'static [[f64; 3]; COUNT] {
        const CELLS: usize = Illuminant::ALL.len() * Observer::ALL.len();
        static PRODUCTS: [OnceLock<Box<[[f64; 3]; COUNT]>>; CELLS] =
            [const { OnceLock::new() }; CELLS];
        let cell = self.light as usize * Observer::ALL.len() + self.observer as usize;
        PRODUCTS[cell].get_or_init(|| {
            let (text, between) = self.light.table();
            let power = per_nanometer(&parse::<1>(text), between);
            let functions = self.observer.functions();
            let sum: f64 = power
                .iter()
                .zip(functions)
                .map(|(s, [_, y, _])| s * y)
                .sum();
            let k = 100.0 / sum;
            let mut products = Box::new([[0.0; 3]; COUNT]);
            for ((row, s), bars) in products.iter_mut().zip(power.iter()).zip(functions) {
                *row = bars.map(|bar| k * s * bar);
            }
            products
        })
    }
}

impl fmt::Display for Viewing {
    /// `D65/10°`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}/{}", self.light, self.observer)
    }
}
