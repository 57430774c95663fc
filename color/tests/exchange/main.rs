//! Measurement files as they come: good ones in many dresses, and bad ones with their errors.

mod accepted;
mod refused;

use color::{ExchangeError, Grid, ReadOptions, SpectraFile, read_spectra};

fn read(text: impl AsRef<[u8]>) -> Result<SpectraFile, ExchangeError> {
    read_spectra(text.as_ref(), &ReadOptions::default())
}

fn refused(text: impl AsRef<[u8]>) -> ExchangeError {
    read(text).expect_err("a file to refuse")
}

fn grid() -> impl Iterator<Item = u16> {
    (400..=700).step_by(10)
}

/// A smooth fraction for each wavelength, printed to three decimals.
fn value(nm: u16) -> String {
    format!("{:.3}", 0.1 + f64::from(nm - 400) / 500.0)
}

fn wide_with(heading: impl Fn(u16) -> String, cell: impl Fn(u16) -> String) -> String {
    let headings: Vec<String> = grid().map(heading).collect();
    let cells: Vec<String> = grid().map(cell).collect();
    format!("name,{}\nchip,{}\n", headings.join(","), cells.join(","))
}

fn wide() -> String {
    wide_with(|nm| format!("R{nm}"), value)
}

fn long_with(rows: impl IntoIterator<Item = (String, String)>) -> String {
    let rows = rows
        .into_iter()
        .map(|(nm, value)| format!("{nm},{value}\n"));
    format!("wavelength,reflectance\n{}", rows.collect::<String>())
}

fn long() -> String {
    long_with(grid().map(|nm| (nm.to_string(), value(nm))))
}

/// Replaces the value at one wavelength of the wide file.
fn wide_but(at: u16, text: &str) -> String {
    wide_with(
        |nm| format!("R{nm}"),
        |nm| if nm == at { text.to_owned() } else { value(nm) },
    )
}

fn wanted() -> Vec<f64> {
    grid()
        .map(|nm| value(nm).parse().expect("a number"))
        .collect()
}

#[track_caller]
fn assert_reads_as_wanted(text: impl AsRef<[u8]>) -> SpectraFile {
    let file = read(text).expect("a good file");
    assert_eq!(file.readings.len(), 1);
    let spectrum = &file.readings[0].spectrum;
    assert_eq!(spectrum.wavelengths().even(), Grid::new(400, 10, 31).ok());
    for (got, want) in spectrum.values().iter().zip(wanted()) {
        assert!((got - want).abs() < 1e-12, "{got} for {want}");
    }
    assert_eq!(spectrum.values().len(), 31);
    file
}
