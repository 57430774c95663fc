//! Simulated instruments: a truth at 1 nm, read through a triangular bandpass at 10 nm, with the
//! defects that Berns & Petersen name. Tiles are our own invention; the samples are the 38
//! published spectra, taken to 1 nm by a cubic spline.

use color::instrument::{Correction, TilePair};
use color::{Ends, Spectrum, Viewing, de2000};

/// Wavelengths of a truth: 1 nm from here, far enough out for any bandpass.
const FIRST_NM: f64 = 360.0;
const COUNT: usize = 421;

/// Reflectance at 1 nm.
pub(crate) type Truth = Vec<f64>;

type Shape = Box<dyn Fn(f64) -> f64>;

/// What an instrument does to the truth.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Instrument {
    /// Reads at λ + this what it calls λ.
    pub(crate) shift_nm: f64,
    /// Full width at half maximum of the triangular bandpass.
    pub(crate) width_nm: f64,
    /// Factor on reflectance, less 1.
    pub(crate) white: f64,
    /// Added to reflectance.
    pub(crate) black: f64,
    /// Greatest random error of a reading, even over ± this.
    pub(crate) noise: f64,
}

/// The reference: right, at 10 nm bandwidth, with the same noise.
pub(crate) const REFERENCE: Instrument = Instrument {
    shift_nm: 0.0,
    width_nm: 10.0,
    white: 0.0,
    black: 0.0,
    noise: 0.0002,
};

/// The defects that are shown, one at a time and all at once.
pub(crate) const DEFECTS: [(&str, Instrument); 5] = [
    (
        "wavelength shift 1 nm",
        Instrument {
            shift_nm: 1.0,
            ..REFERENCE
        },
    ),
    (
        "bandwidth 16 nm for 10",
        Instrument {
            width_nm: 16.0,
            ..REFERENCE
        },
    ),
    (
        "white error 1 %",
        Instrument {
            white: 0.01,
            ..REFERENCE
        },
    ),
    (
        "black error 0.4 %",
        Instrument {
            black: 0.004,
            ..REFERENCE
        },
    ),
    (
        "all four",
        Instrument {
            shift_nm: 1.0,
            width_nm: 16.0,
            white: 0.01,
            black: 0.004,
            noise: REFERENCE.noise,
        },
    ),
];

/// A small generator of even numbers (Steele, Lea, Flood 2014, SplitMix64): the same each time.
pub(crate) struct Noise(pub(crate) u64);

impl Noise {
    /// Even over −1…1.
    pub(crate) fn next(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^= z >> 31;
        (z >> 11) as f64 / (1_u64 << 52) as f64 - 1.0
    }
}

impl Instrument {
    /// 400–700 nm by 10 nm.
    pub(crate) fn read(&self, truth: &Truth, noise: &mut Noise) -> Spectrum {
        let values = (0..31)
            .map(|step| {
                let center = 400.0 + 10.0 * f64::from(step) + self.shift_nm;
                let (mut sum, mut total) = (0.0, 0.0);
                // Tenths of a nm, so that a shift below 1 nm moves the bandpass evenly.
                let reach = (self.width_nm * 10.0) as i32;
                for tenth in -reach..=reach {
                    let off = f64::from(tenth) / 10.0;
                    let weight = 1.0 - off.abs() / self.width_nm;
                    sum += weight * at(truth, center + off);
                    total += weight;
                }
                let value = (1.0 + self.white) * sum / total + self.black;
                (value + self.noise * noise.next()).max(0.0)
            })
            .collect();
        Spectrum::new(400, 10, values, Ends::Refuse).expect("a spectrum")
    }
}

/// Straight between the values at 1 nm.
fn at(truth: &Truth, nm: f64) -> f64 {
    let place = (nm - FIRST_NM).clamp(0.0, (COUNT - 1) as f64);
    let index = (place as usize).min(COUNT - 2);
    let part = place - index as f64;
    truth[index] * (1.0 - part) + truth[index + 1] * part
}

/// A dozen tiles of our own invention: four grays, edges from blue to red, and bands.
pub(crate) fn tiles() -> Vec<(String, Truth)> {
    let edge = |low: f64, high: f64, at: f64, wide: f64| {
        move |nm: f64| low + (high - low) / (1.0 + (-(nm - at) / wide).exp())
    };
    let band = |low: f64, high: f64, at: f64, wide: f64| {
        move |nm: f64| low + (high - low) * (-((nm - at) / wide).powi(2)).exp()
    };
    let gray = |level: f64| move |nm: f64| level * (1.0 + 0.03 * ((nm - 550.0) / 150.0));
    let shapes: Vec<(&str, Shape)> = vec![
        ("chalk", Box::new(gray(0.86))),
        ("ash", Box::new(gray(0.42))),
        ("slate", Box::new(gray(0.17))),
        ("soot", Box::new(gray(0.035))),
        ("straw", Box::new(edge(0.07, 0.78, 505.0, 11.0))),
        ("amber", Box::new(edge(0.05, 0.68, 560.0, 10.0))),
        ("brick", Box::new(edge(0.04, 0.52, 612.0, 10.0))),
        ("moss", Box::new(band(0.06, 0.36, 530.0, 42.0))),
        ("lagoon", Box::new(band(0.08, 0.45, 485.0, 45.0))),
        ("cornflower", Box::new(band(0.05, 0.38, 445.0, 38.0))),
        (
            "heather",
            Box::new({
                let (blue, red) = (band(0.10, 0.42, 430.0, 40.0), edge(0.0, 0.36, 640.0, 14.0));
                move |nm| blue(nm) + red(nm)
            }),
        ),
        (
            "rose",
            Box::new({
                let (dip, tilt) = (band(0.0, 0.40, 530.0, 45.0), gray(0.66));
                move |nm| tilt(nm) - dip(nm)
            }),
        ),
    ];
    shapes
        .into_iter()
        .map(|(name, shape)| {
            let truth = (0..COUNT).map(|i| shape(FIRST_NM + i as f64)).collect();
            (name.to_owned(), truth)
        })
        .collect()
}

/// The 38 published spectra (ISO 17321-1 / Ohta 1997; CIE 13.3), of which no tile was made.
pub(crate) fn samples() -> Vec<Truth> {
    let mut reader = csv::Reader::from_reader(include_str!("../data/xyz_reference.csv").as_bytes());
    reader
        .records()
        .map(|row| {
            let row = row.expect("a row");
            let values: Vec<f64> = (2..33).map(|i| row[i].parse().expect("a number")).collect();
            spline(&values)
        })
        .collect()
}

/// Natural cubic spline through 400–700 nm by 10 nm, its end values held beyond.
fn spline(y: &[f64]) -> Truth {
    let n = y.len();
    // Second derivatives (in steps) by the usual tridiagonal system.
    let (mut upper, mut second) = (vec![0.0; n], vec![0.0; n]);
    for i in 1..n - 1 {
        let right = 6.0 * (y[i + 1] - 2.0 * y[i] + y[i - 1]);
        let pivot = 4.0 - upper[i - 1];
        upper[i] = 1.0 / pivot;
        second[i] = (right - second[i - 1]) / pivot;
    }
    for i in (1..n - 1).rev() {
        second[i] -= upper[i] * second[i + 1];
    }
    (0..COUNT)
        .map(|i| {
            let place = ((FIRST_NM + i as f64 - 400.0) / 10.0).clamp(0.0, (n - 1) as f64);
            let index = (place as usize).min(n - 2);
            let t = place - index as f64;
            let (a, b) = (1.0 - t, t);
            let value = a * y[index]
                + b * y[index + 1]
                + ((a * a * a - a) * second[index] + (b * b * b - b) * second[index + 1]) / 6.0;
            value.max(0.0)
        })
        .collect()
}

/// The tiles as read on an instrument and on the reference.
pub(crate) fn pairs(instrument: Instrument) -> Vec<TilePair> {
    let (mut noise, mut noise_there) = (Noise(1), Noise(2));
    tiles()
        .into_iter()
        .map(|(name, truth)| TilePair {
            name,
            read: instrument.read(&truth, &mut noise),
            reference: REFERENCE.read(&truth, &mut noise_there),
        })
        .collect()
}

/// ΔE00 between an instrument and the reference on each held-out sample: uncorrected, corrected.
pub(crate) fn held_out(instrument: Instrument, correction: &Correction) -> Vec<(f64, f64)> {
    let viewing = Viewing::default();
    let (mut noise, mut noise_there) = (Noise(3), Noise(4));
    samples()
        .iter()
        .map(|truth| {
            let read = instrument.read(truth, &mut noise);
            let reference = REFERENCE.read(truth, &mut noise_there).lab(viewing);
            let corrected = correction.apply(&read).expect("the same wavelengths");
            (
                de2000(reference, read.lab(viewing)),
                de2000(reference, corrected.spectrum.lab(viewing)),
            )
        })
        .collect()
}

/// Median.
pub(crate) fn median(values: impl Iterator<Item = f64>) -> f64 {
    let mut sorted: Vec<f64> = values.collect();
    sorted.sort_by(f64::total_cmp);
    let n = sorted.len();
    f64::midpoint(sorted[(n - 1) / 2], sorted[n / 2])
}
