//! Writes measurement files to begin fuzzing from, as our own writers make them:
//! `exchange_seeds DIRECTORY` fills `DIRECTORY/csv`, `DIRECTORY/iso28178` and
//! `DIRECTORY/iso17972`.

use std::path::Path;

use color::exchange::{Details, FileFormat, InstrumentWords};
use color::{
    Backing, Conditions, Ends, Filter, Geometry, Reading, Scale, SpectraFile, Spectrum, Specular,
    Tag, Wavelengths, WriteFormat, write_spectra,
};

type Failed = Box<dyn std::error::Error>;

fn reading(name: &str, nms: &[f64], scale: Scale, rich: bool) -> Result<Reading, Failed> {
    let fraction = |nm: &f64| 0.08 + 0.6 * ((nm - 380.0) / 400.0).clamp(0.0, 1.0);
    let values: Vec<f64> = nms.iter().map(fraction).collect();
    let as_read = values
        .iter()
        .map(|value| match scale {
            Scale::Fraction => format!("{value:.4}"),
            Scale::Percent => format!("{:.2}", value * 100.0).replace('.', ","),
        })
        .collect();
    let mut reading = Reading {
        name: name.to_owned(),
        line: 1,
        spectrum: Spectrum::at(&Wavelengths::new(nms)?, values, Ends::Extend)?,
        as_read,
        conditions: Conditions::default(),
        details: Details::default(),
        tags: Vec::new(),
    };
    if rich {
        reading.conditions = Conditions {
            geometry: Some(Geometry::DiffuseTo8),
            specular: Some(Specular::Included),
            backing: Some(Backing::Black),
            aperture_mm: Some(8.0),
            filter: Some(Filter::M1),
        };
        reading.details = Details {
            readings: Some(3),
            gloss60: Some(12.5),
            gloss85: None,
            instrument: InstrumentWords {
                maker: Some("Own Works".to_owned()),
                model: Some("Sphere No. 2".to_owned()),
                serial: Some("0042".to_owned()),
            },
            date: Some("2026-03-14T09:30:00Z".to_owned()),
        };
        let lot = Tag {
            group: "job".to_owned(),
            ..Tag::new("lot", "12 & 13")
        };
        reading.tags = vec![Tag::new("operator", "A"), lot];
    }
    Ok(reading)
}

fn main() -> Result<(), Failed> {
    let root = std::env::args()
        .nth(1)
        .ok_or("give the directory to fill")?;
    let every = |start: f64, step: f64, count: u8| -> Vec<f64> {
        (0..count).map(|i| start + step * f64::from(i)).collect()
    };
    let ranges = [
        every(400.0, 10.0, 31),
        every(400.0, 20.0, 16),
        every(360.0, 10.0, 40),
        every(420.0, 10.0, 27),
        every(398.5, 3.3, 95),
    ];
    for format in [
        WriteFormat::Csv,
        WriteFormat::Iso28178,
        WriteFormat::Iso17972,
    ] {
        let folder = Path::new(&root).join(format.to_string());
        std::fs::create_dir_all(&folder)?;
        for (number, nms) in ranges.iter().enumerate() {
            for scale in [Scale::Fraction, Scale::Percent] {
                for rich in [false, true] {
                    let names = ["chip", "door \"2\""];
                    let readings = names.iter().map(|name| reading(name, nms, scale, rich));
                    let file = SpectraFile {
                        format: FileFormat::CsvWide,
                        scale,
                        readings: readings.collect::<Result<_, _>>()?,
                        without_spectrum: Vec::new(),
                        tags: vec![Tag::new("ORIGINATOR", "Brightwater Paint")],
                        assumed: Vec::new(),
                        comments: vec!["measured in the yard".to_owned()],
                    };
                    let text = write_spectra(&file, format)?.text;
                    // The targets put these beginnings before what the fuzzer makes.
                    let text = match format {
                        WriteFormat::Csv => &text,
                        WriteFormat::Iso28178 => text.trim_start_matches("ISO28178\n"),
                        WriteFormat::Iso17972 => text.trim_start_matches('<'),
                    };
                    std::fs::write(folder.join(format!("{number}-{scale}-{rich}")), text)?;
                }
            }
        }
    }
    Ok(())
}
