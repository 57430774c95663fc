//! How a measurement was made, and whether two measurements may be compared.
//!
//! A sphere sees gloss where a 45:0 instrument looks past it; a thin film over black is another
//! color than over white. A difference between readings made in unlike ways is a number without
//! meaning, so every figure that rests on such a pair carries a warning.

use std::fmt;

use serde::{Deserialize, Serialize};

/// Where light comes from and where it is looked at (CIE 15:2018, 5.2). Serialized as `"45:0"`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub enum Geometry {
    /// 45°, from one direction or a few.
    #[serde(rename = "45:0")]
    Deg45To0,
    /// 45°, from all around.
    #[serde(rename = "45a:0")]
    Annular45To0,
    /// Sphere.
    #[serde(rename = "d:8")]
    DiffuseTo8,
}

impl fmt::Display for Geometry {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Deg45To0 => "45:0",
            Self::Annular45To0 => "45a:0",
            Self::DiffuseTo8 => "d:8",
        })
    }
}

/// Whether a sphere instrument caught the mirror reflection.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Specular {
    /// Caught.
    Included,
    /// Let out.
    Excluded,
}

impl fmt::Display for Specular {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Included => "included",
            Self::Excluded => "excluded",
        })
    }
}

/// What lay behind the sample (ISO 13655).
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Backing {
    /// Matte black.
    Black,
    /// White.
    White,
    /// More of the same sample.
    Sample,
}

impl fmt::Display for Backing {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Black => "black",
            Self::White => "white",
            Self::Sample => "more of the sample",
        })
    }
}

/// Light that fell on the sample: ultraviolet and polarizing filters (ISO 13655:2017, 4.2).
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub enum Filter {
    /// Incandescent, ultraviolet not controlled.
    M0,
    /// D50, ultraviolet included.
    M1,
    /// Ultraviolet cut off.
    M2,
    /// Polarized.
    M3,
}

impl fmt::Display for Filter {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::M0 => "M0 (ultraviolet not controlled)",
            Self::M1 => "M1 (D50 with ultraviolet)",
            Self::M2 => "M2 (ultraviolet cut)",
            Self::M3 => "M3 (polarized)",
        })
    }
}

/// How a reading was made, as far as it is known.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Conditions {
    /// Geometry.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub geometry: Option<Geometry>,
    /// Specular mode; of a sphere only.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub specular: Option<Specular>,
    /// Backing.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub backing: Option<Backing>,
    /// Diameter of the measured spot in mm.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub aperture_mm: Option<f32>,
    /// Filter.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub filter: Option<Filter>,
}

/// Why two readings do not compare like with like. Its display is a sentence for a person.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case", tag = "kind")]
pub enum Unlike {
    /// Sphere against 45:0, or directional against annular.
    Geometry {
        /// Of the first reading.
        first: Geometry,
        /// Of the second.
        second: Geometry,
    },
    /// Specular included against excluded.
    Specular {
        /// Of the first reading.
        first: Specular,
        /// Of the second.
        second: Specular,
    },
    /// Other backings.
    Backing {
        /// Of the first reading.
        first: Backing,
        /// Of the second.
        second: Backing,
    },
    /// Other filters.
    Filter {
        /// Of the first reading.
        first: Filter,
        /// Of the second.
        second: Filter,
    },
    /// Other apertures.
    Aperture {
        /// Of the first reading, mm.
        first_mm: f32,
        /// Of the second, mm.
        second_mm: f32,
    },
    /// Known of one reading only, so that it can't be told whether they are alike.
    NotStated {
        /// What is not known.
        what: Condition,
    },
}

/// A condition that decides whether readings compare.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Condition {
    /// Geometry.
    Geometry,
    /// Specular mode.
    Specular,
    /// Backing.
    Backing,
}

impl fmt::Display for Condition {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Geometry => "geometry",
            Self::Specular => "specular mode",
            Self::Backing => "backing",
        })
    }
}

impl fmt::Display for Unlike {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Geometry { first, second } => write!(
                f,
                "read at {first} and at {second}: gloss and texture count in one and not in the \
                 other; measure both on one kind of instrument"
            ),
            Self::Specular { first, second } => write!(
                f,
                "specular {first} and {second}: the gloss is in one reading only; measure both \
                 in one mode"
            ),
            Self::Backing { first, second } => write!(
                f,
                "backed by {first} and by {second}: a sample that does not hide shows its \
                 backing; measure both over one"
            ),
            Self::Filter { first, second } => write!(
                f,
                "filter {first} and {second}: a brightened or glossy sample differs by the \
                 light; measure both with one"
            ),
            Self::Aperture {
                first_mm,
                second_mm,
            } => write!(
                f,
                "apertures {first_mm} mm and {second_mm} mm: translucent or textured samples \
                 read differently; measure both with one"
            ),
            Self::NotStated { what } => write!(
                f,
                "{what} is known of one reading only, so whether they compare is not known"
            ),
        }
    }
}

impl Conditions {
    /// Why a reading made so and one made as `other` says do not compare like with like; empty
    /// when nothing speaks against it. What neither states is not listed. An aperture differs
    /// from 0.5 mm on: makers round the same opening differently (common practice, no source).
    #[must_use]
    pub fn unlike(&self, other: &Self) -> Vec<Unlike> {
        let mut found = Vec::new();
        match (self.geometry, other.geometry) {
            (Some(first), Some(second)) if first != second => {
                found.push(Unlike::Geometry { first, second });
            }
            (None, Some(_)) | (Some(_), None) => found.push(Unlike::NotStated {
                what: Condition::Geometry,
            }),
            _ => {}
        }
        match (self.specular, other.specular) {
            (Some(first), Some(second)) if first != second => {
                found.push(Unlike::Specular { first, second });
            }
            // A 45:0 instrument has no specular mode: its geometry says what is to be said.
            (None, Some(_)) | (Some(_), None) if self.geometry == other.geometry => {
                found.push(Unlike::NotStated {
                    what: Condition::Specular,
                });
            }
            _ => {}
        }
        match (self.backing, other.backing) {
            (Some(first), Some(second)) if first != second => {
                found.push(Unlike::Backing { first, second });
            }
            (None, Some(_)) | (Some(_), None) => found.push(Unlike::NotStated {
                what: Condition::Backing,
            }),
            _ => {}
        }
        if let (Some(first), Some(second)) = (self.filter, other.filter)
            && first != second
        {
            found.push(Unlike::Filter { first, second });
        }
        if let (Some(first_mm), Some(second_mm)) = (self.aperture_mm, other.aperture_mm)
            && (first_mm - second_mm).abs() >= 0.5
        {
            found.push(Unlike::Aperture {
                first_mm,
                second_mm,
            });
        }
        found
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const SPHERE: Conditions = Conditions {
        geometry: Some(Geometry::DiffuseTo8),
        specular: Some(Specular::Included),
        backing: Some(Backing::Black),
        aperture_mm: Some(12.0),
        filter: None,
    };

    #[test]
    fn like_with_like_says_nothing() {
        assert!(SPHERE.unlike(&SPHERE).is_empty());
        assert!(
            Conditions::default()
                .unlike(&Conditions::default())
                .is_empty()
        );
        let rounded = Conditions {
            aperture_mm: Some(11.6),
            ..SPHERE
        };
        assert!(SPHERE.unlike(&rounded).is_empty());
    }

    #[test]
    fn each_condition_is_told_in_order_of_the_pair() {
        let other = Conditions {
            geometry: Some(Geometry::Deg45To0),
            specular: None,
            backing: Some(Backing::White),
            aperture_mm: Some(6.0),
            filter: Some(Filter::M1),
        };
        let kinds = SPHERE.unlike(&other);
        assert_eq!(
            kinds,
            [
                Unlike::Geometry {
                    first: Geometry::DiffuseTo8,
                    second: Geometry::Deg45To0
                },
                Unlike::Backing {
                    first: Backing::Black,
                    second: Backing::White
                },
                Unlike::Aperture {
                    first_mm: 12.0,
                    second_mm: 6.0
                },
            ]
        );
        let excluded = Conditions {
            specular: Some(Specular::Excluded),
            ..SPHERE
        };
        assert_eq!(
            SPHERE.unlike(&excluded),
            [Unlike::Specular {
                first: Specular::Included,
                second: Specular::Excluded
            }]
        );
    }

    #[test]
    fn what_only_one_states_is_told() {
        let told: Vec<String> = SPHERE
            .unlike(&Conditions::default())
            .iter()
            .map(ToString::to_string)
            .collect();
        assert_eq!(told.len(), 2, "{told:?}");
        assert!(told[0].starts_with("geometry is known of one reading only"));
        assert!(told[1].starts_with("backing is known of one reading only"));
    }
}
