//! Many spectra at once: all sums of a block, then all of its roots, in loops that the compiler
//! runs on several numbers at a time.

use super::WeightTable;
use crate::lab::{Lab, ROOT_LIMIT, from_roots};

/// Spectra in a block, whose sums stay in the nearest cache.
const BLOCK: usize = 64;
/// Spectra summed side by side: while one sum waits for its last term, the other goes on.
const ABREAST: usize = 2;

/// Values that are no whole number of spectra.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{values} values are no whole number of spectra at {wavelengths} wavelengths")]
pub struct BrokenRow {
    /// Number of values.
    pub values: usize,
    /// Number of wavelengths of the table.
    pub wavelengths: usize,
}

impl WeightTable {
    /// L\*a\*b\* of many spectra, whose values as fractions at the table's wavelengths follow each
    /// other in one slice; they are not checked. In a fraction of the time of
    /// [`WeightTable::lab`], and within 1e-12 of it: the cube root is another.
    ///
    /// # Errors
    /// [`BrokenRow`] when the last spectrum is not whole.
    pub fn labs(&self, values: &[f64]) -> Result<Vec<Lab>, BrokenRow> {
        let wavelengths = self.weights().len();
        if !values.len().is_multiple_of(wavelengths) {
            return Err(BrokenRow {
                values: values.len(),
                wavelengths,
            });
        }
        let white: [f64; 3] = self.white().into();
        // A fourth place makes two pairs of each, which the processor multiplies and adds at once.
        let relative = |weight: &[f64; 3]| {
            let [x, y, z] = std::array::from_fn(|i| weight[i] / white[i]);
            [x, y, z, 0.0]
        };
        let weights: Vec<[f64; 4]> = self.weights().iter().map(relative).collect();

        let mut labs = Vec::with_capacity(values.len() / wavelengths);
        for block in values.chunks(BLOCK * wavelengths) {
            let mut roots = [[0.0; BLOCK]; 3];
            let mut keep = |at: usize, sums: [f64; 4]| {
                for (roots, sum) in roots.iter_mut().zip(sums) {
                    roots[at] = sum;
                }
            };
            let mut at = 0;
            let mut abreast = block.chunks_exact(ABREAST * wavelengths);
            for rows in &mut abreast {
                for sums in sums::<ABREAST>(&weights, rows) {
                    keep(at, sums);
                    at += 1;
                }
            }
            for row in abreast.remainder().chunks_exact(wavelengths) {
                let [sums] = sums(&weights, row);
                keep(at, sums);
                at += 1;
            }
            for root in roots.iter_mut().flatten() {
                *root = lightness_root(*root);
            }
            let [x, y, z] = &roots;
            labs.extend((0..at).map(|i| from_roots(x[i], y[i], z[i])));
        }
        Ok(labs)
    }
}

/// The weighted sums of `N` spectra that follow each other.
fn sums<const N: usize>(weights: &[[f64; 4]], values: &[f64]) -> [[f64; 4]; N] {
    let count = weights.len();
    let rows: [&[f64]; N] = std::array::from_fn(|i| &values[i * count..][..count]);
    let mut sums = [[0.0; 4]; N];
    for (at, weight) in weights.iter().enumerate() {
        for (sums, row) in sums.iter_mut().zip(rows) {
            for (sum, weight) in sums.iter_mut().zip(weight) {
                *sum += row[at] * weight;
            }
        }
    }
    sums
}

/// f(t) of ISO/CIE 11664-4 without a branch, as `lab` has it but for the last bits.
fn lightness_root(ratio: f64) -> f64 {
    let curved = ratio > ROOT_LIMIT;
    // Any positive number where the root is not wanted.
    let root = cube_root(if curved { ratio } else { 1.0 });
    let line = (841.0 / 108.0) * ratio + 16.0 / 116.0;
    if curved { root } else { line }
}

/// ∛x of a normal positive number to about two units in the last place, by products alone.
///
/// r = x^(−1/3) is guessed within 3.5 % by taking a third off the exponent in the upper half of
/// the bits, then bettered by (1 − h)^(−1/3) = 1 + h/3 + 2h²/9 + 14h³/81 + … with h = 1 − xr³.
/// The root xr² is bettered the same way, by (1 − h)^(−2/3) = 1 + 2h/3 + 5h²/9 + 40h³/81 + ….
fn cube_root(x: f64) -> f64 {
    /// By trial over one octave of roots: the least error of the guess.
    const GUESS: u64 = 0x553e_f100;
    /// ⌈2³³ ÷ 3⌉: a product and a shift divide any 32 bits by 3.
    const THIRD: u64 = 0xaaaa_aaab;
    let third = ((x.to_bits() >> 32) * THIRD) >> 33;
    let r = f64::from_bits((GUESS - third) << 32);
    let h = 1.0 - x * r * r * r;
    let r = r * (1.0 + h * (1.0 / 3.0 + h * (2.0 / 9.0 + h * (14.0 / 81.0))));
    let y = x * (r * r);
    let h = 1.0 - y * r;
    y + y * (h * (2.0 / 3.0 + h * (5.0 / 9.0 + h * (40.0 / 81.0))))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Against the root of the platform's library, which may itself be off by a few units.
    #[test]
    fn cube_roots_of_all_sizes() {
        let mut x = 1e-300;
        while x < 1e300 {
            let off = (cube_root(x) - x.cbrt()).abs() / x.cbrt();
            assert!(off < 1e-15, "{x}: {off}");
            x *= 1.000_37;
        }
        for whole in 1..200 {
            let root = f64::from(whole);
            let off = (cube_root(root * root * root) - root).abs() / root;
            assert!(off < 5e-16, "{whole}: {off}");
        }
    }
}
