//! What is written is read back: every digit, every tag, every condition.

use std::io::Write;
use std::process::{Command, Stdio};

use color::exchange::{Details, InstrumentWords, WithoutSpectrum, WriteError};
use color::{
    Backing, Conditions, Ends, Filter, Geometry, ReadOptions, Reading, Scale, SpectraFile,
    Spectrum, Specular, Tag, Wavelengths, WriteFormat, read_spectra, write_spectra,
};
use proptest::prelude::*;
use proptest::strategy::ValueTree;

use crate::*;

const FORMATS: [WriteFormat; 3] = [
    WriteFormat::Csv,
    WriteFormat::Iso28178,
    WriteFormat::Iso17972,
];

fn written(file: &SpectraFile, format: WriteFormat) -> String {
    write_spectra(file, format)
        .expect("a file that can be written")
        .text
}

/// Reads what was written. Files in fractions without a value above 0.2 state their unit.
fn back(text: &str) -> SpectraFile {
    let options = ReadOptions {
        ends: Ends::Extend,
        ..ReadOptions::default()
    };
    read_spectra(text.as_bytes(), &options).unwrap_or_else(|error| panic!("{error}\n{text}"))
}

/// What has to come back whatever the format: digits as fractions, and everything known.
fn kept(file: &SpectraFile) -> Vec<(String, Vec<f64>, Conditions, Details)> {
    file.readings
        .iter()
        .map(|one| {
            (
                one.name.clone(),
                one.spectrum.values().to_vec(),
                one.conditions,
                one.details.clone(),
            )
        })
        .collect()
}

/// All tags, those of the file and those of each reading, in any order.
fn tags(file: &SpectraFile) -> Vec<Vec<Tag>> {
    let sorted = |tags: &[Tag]| {
        let mut tags = tags.to_vec();
        tags.sort();
        tags
    };
    let readings = file.readings.iter().map(|one| sorted(&one.tags));
    std::iter::once(sorted(&file.tags))
        .chain(readings)
        .collect()
}

fn text() -> impl Strategy<Value = String> {
    prop_oneof![
        "[a-z]{1,8}",
        "[A-Z_]{1,8}",
        "\\PC{0,12}",
        "[ -~]{0,12}",
        Just("name".to_owned()),
        Just("unit".to_owned()),
        Just("R450".to_owned()),
        Just("SAMPLE_NAME".to_owned()),
        Just("END_DATA".to_owned()),
        Just("geometry".to_owned()),
        Just("45:0".to_owned()),
        Just("Creator".to_owned()),
        Just("CreationDate".to_owned()),
        Just("Object/Id".to_owned()),
        Just("MeasurementSpec/Aperture".to_owned()),
        Just("PhysicalAttributes/Gloss".to_owned()),
        Just("secondcan-object-1".to_owned()),
        Just("two\nlines\tand a tab".to_owned()),
        Just("]]> -- <b> &amp; \"q\" %41".to_owned()),
    ]
}

fn tag() -> impl Strategy<Value = Tag> {
    let group = prop_oneof![3 => Just(String::new()), 1 => text()];
    (group, text(), text()).prop_map(|(group, name, value)| Tag { group, name, value })
}

fn conditions() -> impl Strategy<Value = Conditions> {
    let geometry = prop::option::of(prop::sample::select(vec![
        Geometry::Deg45To0,
        Geometry::Annular45To0,
        Geometry::DiffuseTo8,
    ]));
    let specular = prop::option::of(prop::sample::select(vec![
        Specular::Included,
        Specular::Excluded,
    ]));
    let backing = prop::option::of(prop::sample::select(vec![
        Backing::Black,
        Backing::White,
        Backing::Sample,
    ]));
    let aperture_mm = prop::option::of((1..200u8).prop_map(|half| f32::from(half) / 2.0));
    let filter = prop::option::of(prop::sample::select(vec![
        Filter::M0,
        Filter::M1,
        Filter::M2,
        Filter::M3,
    ]));
    (geometry, specular, backing, aperture_mm, filter).prop_map(
        |(geometry, specular, backing, aperture_mm, filter)| Conditions {
            geometry,
            // Of a sphere only.
            specular: specular.filter(|_| geometry == Some(Geometry::DiffuseTo8)),
            backing,
            aperture_mm,
            filter,
        },
    )
}

fn details() -> impl Strategy<Value = Details> {
    let word = || prop::option::of("[A-Za-z0-9][ -~]{0,10}[a-z0-9]");
    let date = prop_oneof![
        Just("2026-03-14T09:30:00.5Z".to_owned()),
        Just("14.3.2026".to_owned()),
    ];
    (
        prop::option::of(1..1000u16),
        prop::option::of((0..2000u16).prop_map(|tenth| f32::from(tenth) / 10.0)),
        prop::option::of((0..2000u16).prop_map(|tenth| f32::from(tenth) / 10.0)),
        (word(), word(), word()),
        prop::option::of(date),
    )
        .prop_map(
            |(readings, gloss60, gloss85, (maker, model, serial), date)| Details {
                readings,
                gloss60,
                gloss85,
                instrument: InstrumentWords {
                    maker,
                    model,
                    serial,
                },
                date,
            },
        )
}

/// Digits as instruments and spreadsheets write them, 0 to 1 or 0 to 100.
fn digits(scale: Scale) -> impl Strategy<Value = String> {
    let whole = match scale {
        Scale::Fraction => 0..1u32,
        Scale::Percent => 0..100,
    };
    (whole, 0..1_000_000u32, 0..=6usize, 0..4u8).prop_map(|(whole, rest, places, dress)| {
        let rest = &format!("{rest:06}")[..places];
        match (places, dress) {
            (0, _) => whole.to_string(),
            (_, 0) => format!("{whole},{rest}"),
            (_, 1) if whole == 0 => format!(".{rest}"),
            (_, 2) => format!("{whole}.{rest}e0"),
            _ => format!("{whole}.{rest}"),
        }
    })
}

fn reading(scale: Scale, nms: Vec<f64>) -> impl Strategy<Value = Reading> {
    let wavelengths = Wavelengths::new(&nms).expect("wavelengths");
    let count = nms.len();
    (
        "[A-Za-z#\"][ -~]{0,10}[a-z#;,\"]",
        prop::collection::vec(digits(scale), count),
        conditions(),
        details(),
        prop::collection::vec(tag(), 0..5),
    )
        .prop_map(move |(name, as_read, conditions, details, tags)| {
            let number = |text: &String| text.replace(',', ".").parse::<f64>().expect("a number");
            let divisor = if scale == Scale::Percent { 100.0 } else { 1.0 };
            let values = as_read.iter().map(|text| number(text) / divisor).collect();
            Reading {
                name,
                line: 1,
                spectrum: Spectrum::at(&wavelengths, values, Ends::Extend).expect("a spectrum"),
                as_read,
                conditions,
                details,
                tags,
            }
        })
}

fn file() -> impl Strategy<Value = SpectraFile> {
    let scale = prop::sample::select(vec![Scale::Fraction, Scale::Percent]);
    let every = |start: f64, step: f64, count: u8| -> Vec<f64> {
        (0..count).map(|i| start + step * f64::from(i)).collect()
    };
    let nms = prop::sample::select(vec![
        every(400.0, 10.0, 31),
        every(360.0, 10.0, 40),
        every(380.0, 5.0, 71),
        // Lists that the schema of CxF3 has no place for.
        every(350.0, 10.0, 41),
        every(420.0, 10.0, 27),
        every(398.7, 3.3, 95),
    ]);
    (scale, nms)
        .prop_flat_map(|(scale, nms)| {
            (
                Just(scale),
                prop::collection::vec(reading(scale, nms), 1..4),
                prop::collection::vec(tag(), 0..5),
                prop::collection::vec("[ -~]{0,12}", 0..3),
            )
        })
        .prop_map(|(scale, readings, tags, comments)| SpectraFile {
            format: color::exchange::FileFormat::CsvWide,
            scale,
            readings,
            without_spectrum: Vec::new(),
            tags,
            assumed: Vec::new(),
            comments,
        })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(150))]

    /// Read → write → read, through each format and from each to each other.
    #[test]
    fn nothing_is_lost(made in file()) {
        for first in FORMATS {
            // What a reader makes of it; what the maker made up may contradict itself.
            let text = written(&made, first);
            let once = back(&text);
            // The made values went through a division by 100; the read ones are digits.
            let near = |a: &f64, b: &f64| (a - b).abs() < 1e-12;
            for (made, once) in made.readings.iter().zip(&once.readings) {
                let (made, once) = (made.spectrum.values(), once.spectrum.values());
                prop_assert!(made.len() == once.len() && made.iter().zip(once).all(|(a, b)| near(a, b)));
            }
            for second in FORMATS {
                let text = written(&once, second);
                let twice = back(&text);
                prop_assert_eq!(kept(&once), kept(&twice), "{} to {}:\n{}", first, second, text);
                prop_assert_eq!(tags(&once), tags(&twice), "{} to {}:\n{}", first, second, text);
                if first == second {
                    // The same format keeps the digits as they stand, decimal commas apart.
                    let points = |file: &SpectraFile| -> Vec<Vec<String>> {
                        let one = |one: &Reading| one.as_read.iter().map(|text| text.replace(',', ".")).collect();
                        file.readings.iter().map(one).collect()
                    };
                    prop_assert_eq!(points(&once), points(&twice));
                }
                if second != WriteFormat::Iso17972 {
                    prop_assert_eq!(&once.comments, &twice.comments);
                }
            }
        }
    }

    /// The facts of a reading come through, whatever tags stand beside them.
    #[test]
    fn facts_are_kept(made in file()) {
        let mut plain = made;
        plain.tags.clear();
        for reading in &mut plain.readings {
            reading.tags.clear();
        }
        for format in FORMATS {
            let text = written(&plain, format);
            let file = back(&text);
            let facts = |file: &SpectraFile| -> Vec<(String, Conditions, Details)> {
                let one = |one: &Reading| (one.name.clone(), one.conditions, one.details.clone());
                file.readings.iter().map(one).collect()
            };
            prop_assert_eq!(facts(&plain), facts(&file), "{}", text);
            prop_assert!(tags(&file).iter().all(Vec::is_empty), "{:?}\n{}", tags(&file), text);
        }
    }
}

/// A file by hand with all that a format may hold.
fn full() -> SpectraFile {
    let measured = "<GeometryChoice><SphereGeometry>Specular_Excluded</SphereGeometry>\
        </GeometryChoice><WavelengthRange StartWL=\"400\" Increment=\"10\"/>\
        <LuminanceUnitsType>normalized</LuminanceUnitsType>\
        <CalibrationStandard>house tile 4</CalibrationStandard><Aperture>the large one</Aperture>\
        <Backing>Matte black</Backing><BandpassCorrected>true</BandpassCorrected>\
        <Device><Manufacturer>Own Works</Manufacturer><Model>Sphere No. 2</Model>\
        <SerialNumber>0042</SerialNumber><DeviceClass>DeviceClass_Spot</DeviceClass>\
        <DeviceIllumination>Flash</DeviceIllumination></Device>";
    let other = format!(
        "{}<ColorCIELab ColorSpecification=\"spec1\"><L>50.0</L><A>1</A><B>2</B></ColorCIELab>",
        list()
    );
    let text = iso17972_with(&other, measured).replace(
        "</ObjectCollection>",
        "<Object ObjectType=\"Trial\" Name=\"door\" Id=\"chip-1b\"><CreationDate>2026-03-14T09:31:00Z\
         </CreationDate><ColorValues><ColorCIELab ColorSpecification=\"spec1\"><L>40</L><A>1</A>\
         <B>2</B></ColorCIELab></ColorValues></Object></ObjectCollection>",
    );
    let text = text.replace(
        "</CxF>",
        "<CustomResources><o:Shop xmlns:o=\"urn:own\" o:number=\"3\">East &lt; West</o:Shop>\
         </CustomResources></CxF>",
    );
    back(&text)
}

#[test]
fn xml_keeps_its_places() {
    let file = full();
    let text = written(&file, WriteFormat::Iso17972);
    for element in [
        "<Creator>Brightwater Paint, branch North</Creator>",
        "<Tag Name=\"shift\" Value=\"morning\"/>",
        "<Object ObjectType=\"Standard\" Name=\"chip\" Id=\"chip-1\">",
        "<CreationDate>2026-03-14T09:30:00Z</CreationDate>",
        "<Comment>from the lobby</Comment>",
        "<SphereGeometry>Specular_Excluded</SphereGeometry>",
        "<WavelengthRange StartWL=\"400\" Increment=\"10\"/>",
        "<Aperture>the large one</Aperture>",
        "<Backing>Matte black</Backing>",
        "<BandpassCorrected>true</BandpassCorrected>",
        "<Model>Sphere No. 2</Model>",
        "<DeviceIllumination>Flash</DeviceIllumination>",
        "<TagCollection Name=\"job\">",
        "<Gloss Method=\"60°\">12.5</Gloss>",
    ] {
        assert!(text.contains(element), "{element}\n{text}");
    }
    let again = back(&text);
    assert_eq!(kept(&file), kept(&again));
    assert_eq!(tags(&file), tags(&again));
    let without = |file: &SpectraFile| -> Vec<(String, Vec<Tag>)> {
        let sorted = |kept: &WithoutSpectrum| {
            let mut tags = kept.tags.clone();
            tags.sort();
            (kept.name.clone(), tags)
        };
        file.without_spectrum.iter().map(sorted).collect()
    };
    assert_eq!(without(&file), without(&again));
    let left = write_spectra(&file, WriteFormat::Csv).unwrap().left_out;
    assert_eq!(
        left,
        ["1 sample(s) without a spectrum were left out; iso17972 has a place for them"]
    );
}

#[test]
fn what_is_not_known_is_not_made_up() {
    let file = read(wide()).unwrap();
    let text = written(&file, WriteFormat::Iso17972);
    assert!(text.contains("<CreationDate>0001-01-01T00:00:00Z</CreationDate>"));
    assert!(text.contains("<UnknownGeometry>not stated</UnknownGeometry>"));
    assert!(text.contains("ObjectType=\"unknown\""));
    let again = back(&text);
    let reading = &again.readings[0];
    assert_eq!(reading.conditions, Conditions::default());
    assert_eq!(reading.details, Details::default());
    assert!(
        reading.tags.is_empty() && again.tags.is_empty(),
        "{again:?}"
    );
}

#[test]
fn tables_hold_one_range_of_wavelengths() {
    let mut file = read(wide()).unwrap();
    let mut other = file.readings[0].clone();
    other.name = "door".to_owned();
    other.spectrum = Spectrum::new(400, 20, vec![0.5; 16], Ends::Refuse).unwrap();
    other.as_read = vec!["0.5".to_owned(); 16];
    file.readings.push(other);
    for format in [WriteFormat::Csv, WriteFormat::Iso28178] {
        assert_eq!(
            write_spectra(&file, format).unwrap_err().to_string(),
            "\"chip\" and \"door\" were read at different wavelengths, which one table can't \
             hold; write iso17972, or each on its own"
        );
    }
    let again = back(&written(&file, WriteFormat::Iso17972));
    assert_eq!(kept(&file), kept(&again));
    file.readings.clear();
    assert_eq!(
        write_spectra(&file, WriteFormat::Csv),
        Err(WriteError::Empty)
    );
}

/// The published schema, by a validator that is not ours.
#[test]
fn xml_validates_against_the_published_schema() {
    let Some(schema) = reference("CxF3_Core.xsd") else {
        eprintln!("skipped: the schema of ISO 17972-1 is not on this machine");
        return;
    };
    if Command::new("xmllint").arg("--version").output().is_err() {
        eprintln!("skipped: xmllint is not installed (package libxml2-utils)");
        return;
    }
    let validate = |text: &str| {
        let mut child = Command::new("xmllint")
            .args(["--nonet", "--noout", "--schema"])
            .arg(&schema)
            .arg("-")
            .stdin(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        child
            .stdin
            .take()
            .unwrap()
            .write_all(text.as_bytes())
            .unwrap();
        let output = child.wait_with_output().unwrap();
        (
            output.status.success(),
            String::from_utf8_lossy(&output.stderr).into_owned(),
        )
    };
    let check = |file: &SpectraFile| {
        let text = written(file, WriteFormat::Iso17972);
        let (valid, said) = validate(&text);
        assert!(valid, "{said}\n{text}");
    };
    // The validator does refuse what is wrong.
    let wrong = written(&full(), WriteFormat::Iso17972).replace("Spectrum_Reflectance", "Guess");
    assert!(!validate(&wrong).0);

    check(&full());
    check(&read(wide()).unwrap());
    check(&read(iso28178()).unwrap());
    let mut runner = proptest::test_runner::TestRunner::deterministic();
    for _ in 0..100 {
        let made = file().new_tree(&mut runner).unwrap().current();
        check(&made);
        check(&back(&written(&made, WriteFormat::Iso28178)));
    }
}
