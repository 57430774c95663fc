//! From a reflectance spectrum to XYZ and L\*a\*b\* by tables of weights (ASTM E308, E2022).
//!
//! The weights are for data corrected for the instrument's bandpass, as its maker delivers
//! them. 20 nm data have weights of their own; they are never interpolated to 10 nm first.

mod many;

pub use many::BrokenRow;

use crate::cie_table::{FIRST_NM, LAST_NM, lagrange_shares, uneven_shares};
use crate::illuminant::Viewing;
use crate::lab::{Lab, Xyz};
use crate::spectrum::Spectrum;
use crate::wavelengths::{Grid, Wavelengths};

/// Name and version of the computation, to be stored beside what it gave.
pub const METHOD: &str = "astm-e308-e2022/1";

/// Weights for one light, observer and set of wavelengths. Make it once for many spectra.
#[derive(Clone, Debug, PartialEq)]
pub struct WeightTable {
    viewing: Viewing,
    wavelengths: Wavelengths,
    white: Xyz,
    /// Zero for wavelengths outside 360–780 nm.
    weights: Vec<[f64; 3]>,
}

/// A spectrum whose wavelengths are not those of the table.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[error("the spectrum is {spectrum}, the weights are for {table}; make a table for the spectrum")]
pub struct GridMismatch {
    /// Wavelengths of the spectrum.
    pub spectrum: Wavelengths,
    /// Wavelengths of the table.
    pub table: Wavelengths,
}

impl WeightTable {
    /// Weights by ASTM E2022: reflectance is taken to 1 nm by Lagrange polynomials (cubic
    /// inside, quadratic in the first and last interval of 360–780 nm), multiplied by light and
    /// observer at 1 nm and summed. Wavelengths that are lacking up to 360 and 780 nm are
    /// thought on at the step next to them, and their weights added to those of the ends (E308).
    #[must_use]
    pub fn new(viewing: Viewing, wavelengths: impl Into<Wavelengths>) -> Self {
        let wavelengths = wavelengths.into();
        let weights = match wavelengths.even() {
            Some(grid) => even_weights(viewing, grid),
            None => uneven_weights(viewing, &wavelengths.iter().collect::<Vec<f64>>()),
        };
        Self {
            viewing,
            wavelengths,
            white: viewing.white(),
            weights,
        }
    }

    /// The light and observer.
    #[must_use]
    pub fn viewing(&self) -> Viewing {
        self.viewing
    }

    /// The wavelengths.
    #[must_use]
    pub fn wavelengths(&self) -> &Wavelengths {
        &self.wavelengths
    }

    /// XYZ of the perfect diffuser.
    #[must_use]
    pub fn white(&self) -> Xyz {
        self.white
    }

    /// WX, WY, WZ at each wavelength.
    #[must_use]
    pub fn weights(&self) -> &[[f64; 3]] {
        &self.weights
    }

    /// XYZ of a spectrum, Y = 100 for the perfect diffuser.
    ///
    /// # Errors
    /// [`GridMismatch`] when the spectrum has other wavelengths than the table.
    pub fn xyz(&self, spectrum: &Spectrum) -> Result<Xyz, GridMismatch> {
        if *spectrum.wavelengths() != self.wavelengths {
            return Err(GridMismatch {
                spectrum: spectrum.wavelengths().clone(),
                table: self.wavelengths.clone(),
            });
        }
        Ok(self.sum(spectrum))
    }

    /// L\*a\*b\* of a spectrum.
    ///
    /// # Errors
    /// [`GridMismatch`] when the spectrum has other wavelengths than the table.
    pub fn lab(&self, spectrum: &Spectrum) -> Result<Lab, GridMismatch> {
        Ok(Lab::from_xyz(self.xyz(spectrum)?, self.white))
    }

    fn sum(&self, spectrum: &Spectrum) -> Xyz {
        let mut sums = [0.0; 3];
        for (value, weights) in spectrum.values().iter().zip(&self.weights) {
            for (sum, weight) in sums.iter_mut().zip(weights) {
                *sum += value * weight;
            }
        }
        Xyz::from(sums)
    }
}

fn even_weights(viewing: Viewing, grid: Grid) -> Vec<[f64; 3]> {
    let (start, step) = (i32::from(grid.start_nm()), i32::from(grid.step_nm()));
    let (low, high) = (i32::from(FIRST_NM), i32::from(LAST_NM));
    // The whole table that the grid is a part of: the same phase, all of 360–780 nm.
    let first = low + (start - low).rem_euclid(step);
    let last_node = (high - first) / step;
    let own = |node: i32| {
        let nm = first + node * step;
        let clamped = nm.clamp(start.max(first), i32::from(grid.end_nm()));
        usize::try_from((clamped - start) / step).unwrap_or(0)
    };
    let mut weights = vec![[0.0; 3]; grid.count()];
    for (nm, products) in (low..).zip(viewing.per_nanometer()) {
        let mut add = |node: i32, share: f64| {
            for (weight, product) in weights[own(node)].iter_mut().zip(products) {
                *weight += share * product;
            }
        };
        let offset = nm - first;
        if offset <= 0 {
            add(0, 1.0);
        } else if offset >= last_node * step {
            add(last_node, 1.0);
        } else {
            let part = f64::from(offset % step) / f64::from(step);
            for (node, share) in lagrange_shares(offset / step, last_node + 1, part) {
                add(node, share);
            }
        }
    }
    weights
}

/// The same over any wavelengths.
fn uneven_weights(viewing: Viewing, nms: &[f64]) -> Vec<[f64; 3]> {
    let (low, high) = (f64::from(FIRST_NM), f64::from(LAST_NM));
    let from = nms.partition_point(|nm| *nm < low);
    let to = nms.partition_point(|nm| *nm <= high) - 1;
    // Each node with the place of the value that counts there.
    let mut nodes: Vec<(f64, usize)> = Vec::with_capacity(nms.len());
    let step = nms[from + 1] - nms[from];
    let lacking = ((nms[from] - low) / step) as usize;
    nodes.extend(
        (1..=lacking)
            .rev()
            .map(|i| (nms[from] - step * i as f64, from)),
    );
    nodes.extend((from..=to).map(|place| (nms[place], place)));
    let step = nms[to] - nms[to - 1];
    let lacking = ((high - nms[to]) / step) as usize;
    nodes.extend((1..=lacking).map(|i| (nms[to] + step * i as f64, to)));

    let mut weights = vec![[0.0; 3]; nms.len()];
    for (nm, products) in (FIRST_NM..).map(f64::from).zip(viewing.per_nanometer()) {
        for (place, share) in uneven_shares(&nodes, nm) {
            for (weight, product) in weights[place].iter_mut().zip(products) {
                *weight += share * product;
            }
        }
    }
    weights
}

impl Spectrum {
    /// XYZ under a light for an observer. Makes the weights anew; for many spectra keep a
    /// [`WeightTable`].
    #[must_use]
    pub fn xyz(&self, viewing: Viewing) -> Xyz {
        WeightTable::new(viewing, self.wavelengths()).sum(self)
    }

    /// L\*a\*b\* under a light for an observer. Makes the weights anew; for many spectra keep
    /// a [`WeightTable`].
    #[must_use]
    pub fn lab(&self, viewing: Viewing) -> Lab {
        let table = WeightTable::new(viewing, self.wavelengths());
        Lab::from_xyz(table.sum(self), table.white)
    }
}
