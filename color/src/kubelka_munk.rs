//! Two-constant Kubelka–Munk theory of paint: absorption K and scattering S at each
//! wavelength, their mixtures, and reflectance of opaque and of thin films.
//!
//! Sources: Kubelka & Munk, Z. tech. Phys. 12 (1931) 593; Duncan, Proc. Phys. Soc. 52 (1940)
//! 390; Saunderson, J. Opt. Soc. Am. 32 (1942) 727; Kubelka, J. Opt. Soc. Am. 38 (1948) 448;
//! ISO 18314-2.
//!
//! "Internal" reflectance is that inside the film, without the reflections at the boundary of
//! film and air; "measured" is what an instrument reads. [`Saunderson`] leads from one to the
//! other.

use serde::{Deserialize, Serialize};

use crate::spectrum::{Ends, Spectrum, SpectrumError};
use crate::wavelengths::Wavelengths;

/// K/S of an opaque film of internal reflectance R∞: (1−R)²/2R. Infinite at 0; meant for
/// 0 < R ≤ 1.
#[must_use]
pub fn k_over_s(reflectance: f64) -> f64 {
    (1.0 - reflectance) * (1.0 - reflectance) / (2.0 * reflectance)
}

/// Internal reflectance R∞ of an opaque film from q = K/S ≥ 0: 1 / (1 + q + √(q² + 2q)).
///
/// The usual form 1 + q − √(q² + 2q) loses all its digits at large q.
#[must_use]
pub fn r_infinity(q: f64) -> f64 {
    1.0 / (1.0 + q + (q * (q + 2.0)).sqrt())
}

/// Internal reflectance of a film of thickness X over a backing of internal reflectance Rg
/// (Kubelka 1948), from K ≥ 0 and S ≥ 0 per unit of thickness.
///
/// Kubelka's (1 − Rg(a − b coth bSX)) / (a − Rg + b coth bSX), multiplied by tanh(bSX)/b: this
/// has no overflow in thick films and the right limits ((1−Rg)SX + Rg)/((1−Rg)SX + 1) as K
/// vanishes and Rg·exp(−2KX) as S does.
#[must_use]
pub fn film_reflectance(k: f64, s: f64, thickness: f64, backing: f64) -> f64 {
    let b_s = (k * (k + 2.0 * s)).sqrt();
    let exponent = b_s * thickness;
    let per_s = if exponent < 1e-4 {
        // tanh(u)/u to its second term; the next is below rounding.
        thickness * (1.0 - exponent * exponent / 3.0)
    } else {
        exponent.tanh() / b_s
    };
    let a_s = k + s;
    (per_s * (s - a_s * backing) + backing) / (per_s * (a_s - s * backing) + 1.0)
}

/// Whether the instrument counts light mirrored at the surface.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Specular {
    /// Sphere with specular included.
    Included,
    /// Sphere with specular excluded, or 45:0.
    Excluded,
}

/// Saunderson's correction for reflection at the boundary of paint and air.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Saunderson {
    k1: f64,
    k2: f64,
    specular: Specular,
}

/// A coefficient outside 0 to 1.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[error(
    "Saunderson coefficient {field} is {value}; give 0 or more and less than 1 (refractive index \
     1.5 has k1 = 0.04, k2 = 0.5963)"
)]
pub struct SaundersonError {
    /// `k1` or `k2`.
    pub field: &'static str,
    /// The value given.
    pub value: f64,
}

impl Saunderson {
    /// k1: share mirrored outside, k2: share of diffuse light mirrored back inside.
    ///
    /// # Errors
    /// [`SaundersonError`] unless both are from 0 to below 1.
    pub fn new(k1: f64, k2: f64, specular: Specular) -> Result<Self, SaundersonError> {
        for (field, value) in [("k1", k1), ("k2", k2)] {
            if !(0.0..1.0).contains(&value) {
                return Err(SaundersonError { field, value });
            }
        }
        Ok(Self { k1, k2, specular })
    }

    /// Coefficients of a binder of refractive index 1.5: k1 = 0.04 (Fresnel, perpendicular),
    /// k2 = 0.5963 (Fresnel, diffuse from inside).
    #[must_use]
    pub const fn of_index_1_5(specular: Specular) -> Self {
        Self {
            k1: 0.04,
            k2: 0.5963,
            specular,
        }
    }

    /// What an instrument reads: k1 + (1−k1)(1−k2)R / (1−k2·R); without the leading k1 when
    /// specular is excluded.
    #[must_use]
    pub fn measured(self, internal: f64) -> f64 {
        let through = (1.0 - self.k1) * (1.0 - self.k2) * internal / (1.0 - self.k2 * internal);
        self.mirrored() + through
    }

    /// Internal reflectance from what an instrument reads; the inverse of
    /// [`Saunderson::measured`]. Negative when less is read than the surface mirrors: the
    /// coefficients do not fit the measurement.
    #[must_use]
    pub fn internal(self, measured: f64) -> f64 {
        let rest = measured - self.mirrored();
        rest / ((1.0 - self.k1) * (1.0 - self.k2) + self.k2 * rest)
    }

    fn mirrored(self) -> f64 {
        match self.specular {
            Specular::Included => self.k1,
            Specular::Excluded => 0.0,
        }
    }
}

/// K and S of a material at each wavelength, per unit of thickness. Where they come from opaque
/// films only, they are relative to the base (its S is 1), and say nothing of thin films.
#[derive(Clone, Debug, PartialEq)]
pub struct OpticalConstants {
    wavelengths: Wavelengths,
    k: Vec<f64>,
    s: Vec<f64>,
}

/// Why numbers are no optical constants, or materials no mixture.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum MixError {
    /// A different number of values than wavelengths.
    #[error("{field} has {found} values for {expected} wavelengths; give one for each")]
    Length {
        /// `K` or `S`.
        field: &'static str,
        /// Number of values.
        found: usize,
        /// Number of wavelengths.
        expected: usize,
    },
    /// Negative, NaN or infinite.
    #[error("{field} at {nm} nm is {value}; absorption and scattering are finite and not negative")]
    Constant {
        /// `K` or `S`.
        field: &'static str,
        /// Wavelength in nm.
        nm: f64,
        /// The value.
        value: f64,
    },
    /// K and S both 0: no film, and no reflectance to compute.
    #[error("K and S at {nm} nm are both 0; a material absorbs or scatters")]
    Nothing {
        /// Wavelength in nm.
        nm: f64,
    },
    /// No part at all.
    #[error("a mixture needs at least one material")]
    Empty,
    /// A share that is negative or no number.
    #[error("volume fraction {value} of material {index} is no share; give 0 to 1")]
    Share {
        /// Place in the list, from 0.
        index: usize,
        /// The share given.
        value: f64,
    },
    /// Shares that do not make a whole.
    #[error("volume fractions sum to {sum}; the finished can is 1: count base and colorants")]
    Sum {
        /// Their sum.
        sum: f64,
    },
    /// A film thickness that is negative or no number.
    #[error("film thickness {value} is no thickness; give 0 or more, in the unit of K and S")]
    Thickness {
        /// The thickness given.
        value: f64,
    },
    /// A backing that reads less than the surface mirrors.
    #[error(
        "the backing reads {value} at {nm} nm, less than the surface mirrors; read it as the paint \
         is read (specular included or excluded), or correct k1"
    )]
    Backing {
        /// Wavelength in nm.
        nm: f64,
        /// What was read.
        value: f64,
    },
    /// The reflectance predicted is none that an instrument can read.
    #[error("the predicted film is no spectrum: {0}")]
    Film(#[from] SpectrumError),
    /// Materials over different wavelengths.
    #[error("materials have different wavelengths, {first} and {other}; measure them alike")]
    Grids {
        /// Wavelengths of the first material.
        first: Wavelengths,
        /// Wavelengths of the other.
        other: Wavelengths,
    },
}

/// How far from 1 the sum of volume fractions may be.
const SUM_SLACK: f64 = 1e-6;

impl OpticalConstants {
    /// Constants at each of the wavelengths.
    ///
    /// # Errors
    /// [`MixError::Length`], [`MixError::Constant`], [`MixError::Nothing`].
    pub fn new(
        wavelengths: impl Into<Wavelengths>,
        k: Vec<f64>,
        s: Vec<f64>,
    ) -> Result<Self, MixError> {
        let wavelengths = wavelengths.into();
        for (field, values) in [("K", &k), ("S", &s)] {
            if values.len() != wavelengths.count() {
                let (found, expected) = (values.len(), wavelengths.count());
                return Err(MixError::Length {
                    field,
                    found,
                    expected,
                });
            }
            for (nm, value) in wavelengths.iter().zip(values) {
                if !value.is_finite() || *value < 0.0 {
                    return Err(MixError::Constant {
                        field,
                        nm,
                        value: *value,
                    });
                }
            }
        }
        for ((nm, k), s) in wavelengths.iter().zip(&k).zip(&s) {
            if *k == 0.0 && *s == 0.0 {
                return Err(MixError::Nothing { nm });
            }
        }
        Ok(Self { wavelengths, k, s })
    }

    /// The mixture of materials by volume fraction in the finished can, Σc = 1 with the base
    /// (Duncan 1940): K = Σ cᵢKᵢ, S = Σ cᵢSᵢ.
    ///
    /// # Errors
    /// [`MixError::Empty`], [`MixError::Share`], [`MixError::Sum`], [`MixError::Grids`].
    pub fn mix(parts: &[(f64, &Self)]) -> Result<Self, MixError> {
        let [(_, first), ..] = parts else {
            return Err(MixError::Empty);
        };
        let wavelengths = &first.wavelengths;
        let (mut k, mut s) = (
            vec![0.0; wavelengths.count()],
            vec![0.0; wavelengths.count()],
        );
        let mut sum = 0.0;
        for (index, (share, material)) in parts.iter().enumerate() {
            if !share.is_finite() || *share < 0.0 {
                return Err(MixError::Share {
                    index,
                    value: *share,
                });
            }
            if material.wavelengths != *wavelengths {
                return Err(MixError::Grids {
                    first: wavelengths.clone(),
                    other: material.wavelengths.clone(),
                });
            }
            sum += share;
            for (total, own) in k
                .iter_mut()
                .zip(&material.k)
                .chain(s.iter_mut().zip(&material.s))
            {
                *total += share * own;
            }
        }
        if (sum - 1.0).abs() > SUM_SLACK {
            return Err(MixError::Sum { sum });
        }
        Self::new(wavelengths, k, s)
    }

    /// The wavelengths.
    #[must_use]
    pub fn wavelengths(&self) -> &Wavelengths {
        &self.wavelengths
    }

    /// Absorption at each wavelength.
    #[must_use]
    pub fn k(&self) -> &[f64] {
        &self.k
    }

    /// Scattering at each wavelength.
    #[must_use]
    pub fn s(&self) -> &[f64] {
        &self.s
    }

    /// What an instrument reads of an opaque film.
    ///
    /// # Errors
    /// [`MixError::Film`], not expected: an opaque film reflects between 0 and 1.
    pub fn opaque_spectrum(&self, surface: Saunderson) -> Result<Spectrum, MixError> {
        let pairs = self.k.iter().zip(&self.s);
        self.spectrum(
            pairs
                .map(|(k, s)| surface.measured(r_infinity(k / s)))
                .collect(),
        )
    }

    /// What an instrument reads of a film of a thickness, in the unit of the constants, over a
    /// backing as the same instrument reads it. Means something only where S is absolute.
    ///
    /// # Errors
    /// [`MixError::Thickness`]; [`MixError::Grids`] when the backing has other wavelengths;
    /// [`MixError::Backing`]; [`MixError::Film`], not expected.
    pub fn film_spectrum(
        &self,
        thickness: f64,
        backing: &Spectrum,
        surface: Saunderson,
    ) -> Result<Spectrum, MixError> {
        if !thickness.is_finite() || thickness < 0.0 {
            return Err(MixError::Thickness { value: thickness });
        }
        if *backing.wavelengths() != self.wavelengths {
            return Err(MixError::Grids {
                first: self.wavelengths.clone(),
                other: backing.wavelengths().clone(),
            });
        }
        let mut values = Vec::with_capacity(self.wavelengths.count());
        let constants = self.k.iter().zip(&self.s);
        for ((nm, (k, s)), value) in self.wavelengths.iter().zip(constants).zip(backing.values()) {
            let under = surface.internal(*value);
            if under < 0.0 {
                return Err(MixError::Backing { nm, value: *value });
            }
            values.push(surface.measured(film_reflectance(*k, *s, thickness, under)));
        }
        self.spectrum(values)
    }

    fn spectrum(&self, values: Vec<f64>) -> Result<Spectrum, MixError> {
        Ok(Spectrum::at(&self.wavelengths, values, Ends::Extend)?)
    }
}
