//! The optics of the demo's paints: invented absorption and scattering curves of bases and colorants, and the film
//! that a formula gives.

use color::kubelka_munk::{OpticalConstants, Saunderson, Specular, k_over_s, r_infinity};
use color::spectrum::Ends;
use color::{Grid, Illuminant, Lab, Observer, Spectrum, Viewing, WeightTable};
use formula::base::BaseKind;

use super::Flaw;
use super::seeded::Seeded;

/// 400 to 700 nm by 10 nm.
pub(super) const BANDS: usize = 31;
/// One value a band.
pub(super) type Curve = [f64; BANDS];

fn wavelength(band: usize) -> f64 {
    400.0 + 10.0 * band as f64
}

/// One feature of an absorption curve.
#[derive(Debug, Clone, Copy)]
enum Feature {
    /// The same at every wavelength.
    Flat(f64),
    /// Height, center and width in nm of a bell.
    Bell(f64, f64, f64),
    /// Height, place and softness in nm of an edge that absorbs all shorter waves.
    Edge(f64, f64, f64),
}
use Feature::{Bell, Edge, Flat};

impl Feature {
    fn at(self, nm: f64) -> f64 {
        match self {
            Flat(height) => height,
            Bell(height, center, width) => height * (-((nm - center) / width).powi(2) / 2.0).exp(),
            Edge(height, place, softness) => height / (1.0 + ((nm - place) / softness).exp()),
        }
    }
}

fn optics(features: &[Feature], scattering: f64, slope: f64) -> Result<OpticalConstants, Flaw> {
    let absorbed = |nm| features.iter().map(|feature| feature.at(nm)).sum();
    // Small particles scatter short waves more.
    let scattered = |nm: f64| scattering * (550.0 / nm).powf(slope);
    let nm = || (0..BANDS).map(wavelength);
    OpticalConstants::new(
        grid()?,
        nm().map(absorbed).collect(),
        nm().map(scattered).collect(),
    )
    .map_err(Flaw::of)
}

fn grid() -> Result<Grid, Flaw> {
    Grid::new(400, 10, BANDS).map_err(Flaw::of)
}

/// A colorant: Colour Index generic name, pigment, and its invented curves.
pub(super) struct Pigment {
    pub(super) colour_index: &'static str,
    pub(super) words: &'static str,
    pub(super) optics: OpticalConstants,
}

/// The twelve colorants. Names of pigments and their Colour Index names are facts of the trade (from memory); the
/// curves are invented.
pub(super) fn pigments() -> Result<Vec<Pigment>, Flaw> {
    let pigment = |colour_index, words, optics: Result<OpticalConstants, Flaw>| {
        Ok(Pigment {
            colour_index,
            words,
            optics: optics?,
        })
    };
    [
        pigment(
            "PW6",
            "titanium white",
            optics(&[Flat(0.004), Edge(1.6, 402.0, 7.0)], 4.0, 0.4),
        ),
        pigment(
            "PY42",
            "yellow oxide",
            optics(&[Flat(0.25), Edge(24.0, 503.0, 17.0)], 1.2, 0.5),
        ),
        pigment(
            "PR101",
            "red oxide",
            optics(
                &[Flat(0.9), Edge(33.0, 566.0, 13.0), Bell(6.0, 530.0, 42.0)],
                1.8,
                0.3,
            ),
        ),
        pigment(
            "PBr7",
            "umber",
            optics(&[Flat(2.6), Edge(22.0, 560.0, 55.0)], 0.9, 0.3),
        ),
        pigment(
            "PBk7",
            "carbon black",
            optics(&[Flat(64.0), Edge(14.0, 470.0, 60.0)], 1.2, 0.2),
        ),
        pigment(
            "PBk11",
            "black iron oxide",
            optics(&[Flat(27.0), Bell(3.0, 650.0, 80.0)], 1.0, 0.3),
        ),
        pigment(
            "PB15:3",
            "phthalo blue",
            optics(
                &[
                    Flat(0.3),
                    Bell(54.0, 618.0, 42.0),
                    Bell(36.0, 692.0, 34.0),
                    Bell(8.0, 400.0, 26.0),
                ],
                0.5,
                0.6,
            ),
        ),
        pigment(
            "PG7",
            "phthalo green",
            optics(
                &[
                    Flat(0.5),
                    Bell(46.0, 640.0, 44.0),
                    Bell(20.0, 425.0, 30.0),
                    Bell(14.0, 700.0, 40.0),
                ],
                0.5,
                0.6,
            ),
        ),
        pigment(
            "PY74",
            "arylide yellow",
            optics(&[Flat(0.08), Edge(38.0, 478.0, 10.0)], 0.5, 0.4),
        ),
        pigment(
            "PR254",
            "pyrrole red",
            optics(
                &[Flat(0.15), Edge(26.0, 586.0, 8.0), Bell(16.0, 522.0, 36.0)],
                0.9,
                0.4,
            ),
        ),
        pigment(
            "PV19",
            "quinacridone violet",
            optics(
                &[
                    Flat(0.4),
                    Bell(38.0, 562.0, 27.0),
                    Bell(20.0, 528.0, 28.0),
                    Bell(7.0, 420.0, 40.0),
                ],
                0.6,
                0.5,
            ),
        ),
        pigment(
            "PO73",
            "pyrrole orange",
            optics(&[Flat(0.12), Edge(39.0, 549.0, 9.0)], 0.8, 0.4),
        ),
    ]
    .into_iter()
    .collect()
}

/// A base by kind: the less white in it, the less it scatters. A binder yellows a little by `yellowing`, a solvent one
/// more than a waterborne one.
pub(super) fn base(kind: BaseKind, yellowing: f64) -> Result<OpticalConstants, Flaw> {
    let white = match kind {
        BaseKind::White => 1.0,
        BaseKind::Light => 0.82,
        BaseKind::Medium => 0.50,
        BaseKind::Deep => 0.18,
        BaseKind::Clear => 0.012,
    };
    optics(
        &[
            Flat(0.0014),
            Edge(0.45 * white, 402.0, 7.0),
            Edge(yellowing, 440.0, 25.0),
        ],
        white,
        0.35,
    )
}

/// A dry film thick enough to hide what is below: K/S at each band.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Film {
    ratio: Curve,
}

impl Film {
    /// Mixes volumes: the colorant dilutes the base.
    pub(super) fn mix(parts: &[(f64, &OpticalConstants)]) -> Result<Self, Flaw> {
        let total: f64 = parts.iter().map(|(ml, _)| ml).sum();
        let shares: Vec<_> = parts
            .iter()
            .map(|&(ml, optics)| (ml / total, optics))
            .collect();
        let paint = OpticalConstants::mix(&shares).map_err(Flaw::of)?;
        Ok(Self {
            ratio: std::array::from_fn(|band| paint.k()[band] / paint.s()[band]),
        })
    }

    /// The film that was read so, specular included.
    pub(super) fn of(measured: &Curve) -> Self {
        let surface = Saunderson::of_index_1_5(Specular::Included);
        Self {
            ratio: measured.map(|value| k_over_s(surface.internal(value))),
        }
    }

    /// What a sphere instrument reads, specular included.
    pub(super) fn reflectance(&self) -> Curve {
        let surface = Saunderson::of_index_1_5(Specular::Included);
        self.ratio.map(|q| surface.measured(r_infinity(q)))
    }

    /// The same film with K/S multiplied by a smooth factor: other pigments, another hand, another thickness.
    fn bent(&self, shape: &Bend, amount: f64) -> Self {
        Self {
            ratio: std::array::from_fn(|band| self.ratio[band] * (amount * shape.0[band]).exp()),
        }
    }

    /// K/S multiplied by the same factor everywhere.
    pub(super) fn scaled(&self, factor: f64) -> Self {
        Self {
            ratio: self.ratio.map(|q| q * factor),
        }
    }

    /// CIELAB under D65, 10°.
    pub(super) fn lab(&self, eye: &Eye) -> Result<Lab, Flaw> {
        eye.lab(&self.reflectance())
    }

    /// A film at about the given CIEDE2000 from this one, in a direction of chance.
    pub(super) fn near(&self, random: &mut Seeded, eye: &Eye, distance: f64) -> Result<Self, Flaw> {
        let here = self.lab(eye)?;
        for _ in 0..SHAPES {
            let shape = Bend::random(random);
            let mut amount = 0.05;
            for _ in 0..STEPS {
                let bent = self.bent(&shape, amount);
                let found = color::de2000(here, bent.lab(eye)?);
                if (found - distance).abs() < 0.02 * distance {
                    return Ok(bent);
                }
                amount *= (distance / found.max(1e-6)).clamp(0.1, 10.0);
                // A change that the eye hardly sees would have to be enormous: another one then.
                if amount * shape.most() > LARGEST_BEND {
                    break;
                }
            }
        }
        Err(Flaw(format!("no film at {distance} from {here:?}")))
    }
}

/// Directions tried, and steps in each, for a film at a given distance.
const SHAPES: usize = 40;
const STEPS: usize = 12;
/// Logarithm of the largest factor on K/S.
const LARGEST_BEND: f64 = 1.6;

/// A smooth curve around zero.
struct Bend(Curve);

impl Bend {
    fn random(random: &mut Seeded) -> Self {
        // Four cosines: nothing narrower than about 100 nm, as pigments have it.
        let weights: [f64; 4] = std::array::from_fn(|_| random.normal());
        Self(std::array::from_fn(|band| {
            let turn = std::f64::consts::PI * band as f64 / (BANDS - 1) as f64;
            (0..4)
                .map(|wave| weights[wave] * (turn * wave as f64).cos())
                .sum()
        }))
    }

    /// Its largest excursion.
    fn most(&self) -> f64 {
        self.0.iter().fold(0.0, |most, value| value.abs().max(most))
    }
}

/// One light and the 10° observer, for reflectances of 400 to 700 nm by 10 nm.
pub(super) struct Eye(WeightTable);

impl Eye {
    /// Under the given light, with the 10° observer.
    pub(super) fn under(light: Illuminant) -> Result<Self, Flaw> {
        Ok(Self(WeightTable::new(
            Viewing::new(light, Observer::TenDegree),
            grid()?,
        )))
    }

    pub(super) fn lab(&self, reflectance: &Curve) -> Result<Lab, Flaw> {
        let spectrum =
            Spectrum::new(400, 10, reflectance.to_vec(), Ends::Refuse).map_err(Flaw::of)?;
        self.0.lab(&spectrum).map_err(Flaw::of)
    }
}
