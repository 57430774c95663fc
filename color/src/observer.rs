//! The CIE standard colorimetric observers (ISO/CIE 11664-1).

use std::fmt;
use std::str::FromStr;
use std::sync::OnceLock;

use serde::{Deserialize, Serialize};

use crate::cie_table::{COUNT, FIRST_NM, LAST_NM, parse};

/// Size of the visual field. Serialized as the number 2 or 10.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(into = "u8", try_from = "u8")]
pub enum Observer {
    /// CIE 1931, 2°.
    TwoDegree,
    /// CIE 1964, 10°: the usual one for paint.
    #[default]
    TenDegree,
}

/// A number of degrees that no standard observer has.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("observer {0:?} is not known; give 2 or 10 (degrees)")]
pub struct UnknownObserver(String);

impl Observer {
    /// Both observers.
    pub const ALL: [Self; 2] = [Self::TwoDegree, Self::TenDegree];

    /// 2 or 10.
    #[must_use]
    pub fn degrees(self) -> u8 {
        match self {
            Self::TwoDegree => 2,
            Self::TenDegree => 10,
        }
    }

    /// x̄, ȳ, z̄ at each nanometer from 360 to 780.
    pub(crate) fn functions(self) -> &'static [[f64; 3]; COUNT] {
        static TWO: OnceLock<Box<[[f64; 3]; COUNT]>> = OnceLock::new();
        static TEN: OnceLock<Box<[[f64; 3]; COUNT]>> = OnceLock::new();
        let (cell, text) = match self {
            Self::TwoDegree => (&TWO, include_str!("../tables/observer_2deg_1nm.csv")),
            Self::TenDegree => (&TEN, include_str!("../tables/observer_10deg_1nm.csv")),
        };
        cell.get_or_init(|| {
            let mut functions = Box::new([[0.0; 3]; COUNT]);
            for (nm, xyz) in parse::<3>(text) {
                if (FIRST_NM..=LAST_NM).contains(&nm) {
                    functions[usize::from(nm - FIRST_NM)] = xyz;
                }
            }
            functions
        })
    }
}

impl fmt::Display for Observer {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}°", self.degrees())
    }
}

impl FromStr for Observer {
    type Err = UnknownObserver;
    fn from_str(text: &str) -> Result<Self, UnknownObserver> {
        match text.trim().trim_end_matches('°') {
            "2" => Ok(Self::TwoDegree),
            "10" => Ok(Self::TenDegree),
            _ => Err(UnknownObserver(text.to_owned())),
        }
    }
}

impl From<Observer> for u8 {
    fn from(observer: Observer) -> Self {
        observer.degrees()
    }
}

impl TryFrom<u8> for Observer {
    type Error = UnknownObserver;
    fn try_from(degrees: u8) -> Result<Self, UnknownObserver> {
        degrees.to_string().parse()
    }
}
