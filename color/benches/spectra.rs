//! Many spectra to L*a*b*, beside the time it takes to read them once from memory. `against_colour_science.py` runs it
//! on the spectra that it has given to colour-science; alone it makes its own.
//!
//! Of `SPECTRA_FILE`: values as little-endian doubles, 31 a spectrum (400 to 700 nm by 10 nm). With `LABS_FILE` set,
//! the colors are written there in the same form.

use std::hint::black_box;
use std::time::{Duration, Instant};

use color::{Grid, Lab, Spectrum, Viewing, WeightTable};

const BANDS: usize = 31;
const SPECTRA: usize = 100_000;
const RUNS: usize = 30;
/// More than any cache holds, in doubles.
const BEYOND_CACHES: usize = 32 * 1024 * 1024;

fn made_here() -> Vec<f64> {
    let value = |i: usize| {
        let (row, band) = ((i / BANDS) as f64, (i % BANDS) as f64);
        0.45 + 0.4 * (row * 0.37 + band * (0.1 + 0.05 * (row * 0.011).sin())).sin()
    };
    (0..SPECTRA * BANDS).map(value).collect()
}

fn from_file(path: &std::ffi::OsStr) -> Vec<f64> {
    let bytes = std::fs::read(path).expect("a readable file of spectra");
    let (doubles, rest) = bytes.as_chunks::<8>();
    assert!(rest.is_empty(), "doubles are 8 bytes each");
    doubles
        .iter()
        .map(|bytes| f64::from_le_bytes(*bytes))
        .collect()
}

/// Every value once, in eight sums, so that memory and not adding is waited for.
fn read_once(values: &[f64]) -> f64 {
    let mut sums = [0.0; 8];
    for eight in values.as_chunks::<8>().0 {
        for (sum, value) in sums.iter_mut().zip(eight) {
            *sum += value;
        }
    }
    sums.iter().sum()
}

/// The least time of all runs, as what else the machine does only adds to it; each with the values out of the caches.
fn least<T>(other: &mut [f64], mut run: impl FnMut() -> T) -> Duration {
    let times = (0..RUNS).map(|_| {
        for value in other.iter_mut() {
            *value += 1.0;
        }
        black_box(&mut *other);
        let start = Instant::now();
        black_box(run());
        start.elapsed()
    });
    times.min().unwrap_or_default()
}

#[expect(
    clippy::print_stdout,
    reason = "the figures are what this bench is for"
)]
fn main() {
    let values = match std::env::var_os("SPECTRA_FILE") {
        Some(path) => from_file(&path),
        None => made_here(),
    };
    let grid = Grid::new(400, 10, BANDS).expect("a good grid");
    let table = WeightTable::new(Viewing::default(), grid);
    let mut other = vec![0.0; BEYOND_CACHES];

    let labs = table.labs(&values).expect("whole spectra");
    let checked: Vec<Spectrum> = values
        .chunks_exact(BANDS)
        .map(|row| Spectrum::at(grid, row.to_vec(), color::Ends::Refuse).expect("reflectance"))
        .collect();
    for (spectrum, lab) in checked.iter().zip(&labs) {
        let alone = table.lab(spectrum).expect("its wavelengths");
        assert!(color::de76(alone, *lab) < 1e-12, "{alone:?} {lab:?}");
    }

    let read = least(&mut other, || read_once(black_box(&values)));
    let batch = least(&mut other, || table.labs(black_box(&values)));
    let single = least(&mut other, || -> Vec<Lab> {
        let one_by_one = black_box(&checked).iter();
        one_by_one
            .filter_map(|spectrum| table.lab(spectrum).ok())
            .collect()
    });
    println!("spectra {}", labs.len());
    println!("read_once_seconds {}", read.as_secs_f64());
    println!("batch_seconds {}", batch.as_secs_f64());
    println!("one_by_one_seconds {}", single.as_secs_f64());
    if let Some(path) = std::env::var_os("LABS_FILE") {
        let bytes: Vec<u8> = labs
            .iter()
            .flat_map(|lab| <[f64; 3]>::from(*lab))
            .flat_map(f64::to_le_bytes)
            .collect();
        std::fs::write(path, bytes).expect("a file for the colors");
    }
}
