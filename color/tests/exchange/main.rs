//! Measurement files as they come: good ones in many dresses, and bad ones with their errors.

mod accepted;
mod bad_files;
mod iso17972;
mod iso28178;
mod mutated;
mod refused;
mod round_trip;

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

/// A folder of published sample files, where the machine has them. They are read from there and
/// are no part of this project.
fn reference(name: &str) -> Option<std::path::PathBuf> {
    let root = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("..");
    ["..", "../.."]
        .iter()
        .map(|up| root.join(up).join("shared/reference/exchange").join(name))
        .find(|path| path.exists())
}

/// A file of ISO 28178 with one sample, and these lines before its data format.
fn iso28178_with(head: &str, name: &str, heading: impl Fn(u16) -> String) -> String {
    let fields: Vec<String> = grid().map(heading).collect();
    let values: Vec<String> = grid().map(value).collect();
    format!(
        "ISO28178\n{head}NUMBER_OF_FIELDS {}\nBEGIN_DATA_FORMAT\nSAMPLE_ID SAMPLE_NAME {}\n\
         END_DATA_FORMAT\nNUMBER_OF_SETS 1\nBEGIN_DATA\n7 \"{name}\" {}\nEND_DATA\n",
        fields.len() + 2,
        fields.join(" "),
        values.join(" ")
    )
}

fn iso28178() -> String {
    iso28178_with("", "chip", |nm| format!("SPECTRAL_NM{nm}"))
}

/// A CxF3 file with one object of these values and this `MeasurementSpec`.
fn iso17972_with(color_values: &str, measured: &str) -> String {
    format!(
        r#"<?xml version="1.0" encoding="UTF-8"?>
<CxF xmlns="http://colorexchangeformat.com/CxF3-core">
  <FileInformation>
    <Creator>Brightwater Paint, branch North</Creator>
    <Tag Name="shift" Value="morning"/>
  </FileInformation>
  <Resources>
    <ObjectCollection>
      <Object ObjectType="Standard" Name="chip" Id="chip-1">
        <CreationDate>2026-03-14T09:30:00Z</CreationDate>
        <Comment>from the lobby</Comment>
        <ColorValues>
{color_values}
        </ColorValues>
        <TagCollection Name="job"><Tag Name="lot" Value="12 &amp; 13"/></TagCollection>
        <PhysicalAttributes><FinishType>Matte</FinishType><Gloss Method="ISO 2813, 60 degrees">12.50</Gloss></PhysicalAttributes>
      </Object>
    </ObjectCollection>
    <ColorSpecificationCollection>
      <ColorSpecification Id="spec1">
        <MeasurementSpec>
          <MeasurementType>Spectrum_Reflectance</MeasurementType>
{measured}
        </MeasurementSpec>
      </ColorSpecification>
    </ColorSpecificationCollection>
  </Resources>
</CxF>
"#
    )
}

const UNKNOWN_BY_10: &str = "<GeometryChoice><UnknownGeometry>not stated</UnknownGeometry>\
    </GeometryChoice><WavelengthRange StartWL=\"400\" Increment=\"10\"/>";

fn list() -> String {
    let values: Vec<String> = grid().map(value).collect();
    format!(
        "<ReflectanceSpectrum ColorSpecification=\"spec1\">{}</ReflectanceSpectrum>",
        values.join(" ")
    )
}

fn iso17972() -> String {
    iso17972_with(&list(), UNKNOWN_BY_10)
}
