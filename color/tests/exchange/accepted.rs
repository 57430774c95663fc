//! Files that are read, and what is said about them.

use color::exchange::FileFormat;
use color::{ExchangeError, Grid, ReadOptions, Scale, Tag, read_spectra};

use crate::*;

#[test]
fn wide_headings_of_many_kinds() {
    for heading in [
        |nm| format!("R{nm}"),
        |nm| format!("r_{nm}"),
        |nm| format!("nm{nm}"),
        |nm| format!("{nm}"),
        |nm| format!("{nm} nm"),
        |nm| format!("R{nm}nm"),
        |nm| format!("{nm}.0"),
        |nm| format!("SPECTRAL_NM{nm}"),
        |nm: u16| format!("\"R{nm}\""),
    ] {
        let file = assert_reads_as_wanted(wide_with(heading, value));
        assert_eq!(file.format, FileFormat::CsvWide);
        assert_eq!(file.readings[0].name, "chip");
        assert_eq!(
            file.readings[0].as_read,
            grid().map(value).collect::<Vec<_>>()
        );
    }
}

#[test]
fn byte_order_marks_and_line_ends() {
    let text = wide();
    assert_reads_as_wanted(format!("\u{feff}{text}"));
    assert_reads_as_wanted(text.replace('\n', "\r\n"));
    assert_reads_as_wanted(text.replace('\n', "\r"));
    assert_reads_as_wanted(text.trim_end());
    assert_reads_as_wanted(long().replace('\n', "\r"));
    let mut little = vec![0xFF, 0xFE];
    little.extend(text.encode_utf16().flat_map(u16::to_le_bytes));
    assert_reads_as_wanted(little);
    let mut big = vec![0xFE, 0xFF];
    big.extend(text.encode_utf16().flat_map(u16::to_be_bytes));
    assert_reads_as_wanted(big);
}

#[test]
fn separators_and_decimal_commas() {
    let text = wide();
    assert_reads_as_wanted(text.replace(',', "\t"));
    assert_reads_as_wanted(text.replace(',', ";"));
    let commas = text.replace(',', ";").replace('.', ",");
    let file = assert_reads_as_wanted(&commas);
    assert!(
        file.assumed
            .iter()
            .any(|said| said.contains("decimal points")),
        "{:?}",
        file.assumed
    );
    assert_eq!(file.readings[0].as_read[0], "0,100");
    assert_reads_as_wanted(long().replace(',', ";").replace('.', ","));
    assert_reads_as_wanted(wide_with(
        |nm| format!("R{nm}"),
        |nm| format!("\"{}\"", value(nm).replace('.', ",")),
    ));
    // Unquoted decimal commas between commas can't be told from columns.
    let error = refused(long().replace('.', ","));
    assert!(
        matches!(error, ExchangeError::TooManyColumns { line: 2, .. }),
        "{error}"
    );
    assert!(error.to_string().contains("semicolons"), "{error}");
}

#[test]
fn long_files() {
    let file = assert_reads_as_wanted(long());
    assert_eq!(file.format, FileFormat::CsvLong);
    assert_eq!(file.readings[0].name, "reading 1");
    for title in ["nm", "Wavelength (nm)", "wavelength_nm", "WL", "lambda"] {
        assert_reads_as_wanted(long().replace("wavelength", title));
    }
    let headless = assert_reads_as_wanted(long().replace("wavelength,reflectance\n", ""));
    assert!(
        headless
            .assumed
            .iter()
            .any(|said| said.contains("no headings"))
    );

    let mut two = "nm,door,50% tint\n".to_owned();
    for nm in grid() {
        two += &format!("{nm},{},0.25\n", value(nm));
    }
    let file = read(two).unwrap();
    let names: Vec<&str> = file
        .readings
        .iter()
        .map(|reading| reading.name.as_str())
        .collect();
    assert_eq!(names, ["door", "50% tint"]);
    assert_eq!(file.scale, Scale::Fraction, "a % in a name is no unit");
    assert_eq!(file.readings[1].spectrum.values(), [0.25; 31]);
}

#[test]
fn other_columns_and_comments_are_kept() {
    let text = wide()
        .replace("name,", "id,operator,name,")
        .replace("chip,", "7,Ana,chip,");
    let text = format!("# lot: 12\n# measured in the yard\n\n{text}\n,,\n");
    let file = assert_reads_as_wanted(text);
    assert_eq!(file.comments, ["measured in the yard"]);
    assert_eq!(file.tags, [Tag::new("lot", "12")]);
    // `id` comes first of the name titles.
    assert_eq!(file.readings[0].name, "7");
    let others = [Tag::new("operator", "Ana"), Tag::new("name", "chip")];
    assert_eq!(file.readings[0].tags, others);
    assert_eq!(file.readings[0].line, 5);
    assert!(
        file.assumed
            .iter()
            .any(|said| said.contains("operator, name")),
        "{:?}",
        file.assumed
    );
}

#[test]
fn names_of_any_script_and_latin_1() {
    let file = assert_reads_as_wanted(wide().replace("chip", "дверь 扉"));
    assert_eq!(file.readings[0].name, "дверь 扉");
    let latin: Vec<u8> = wide()
        .replace("chip", "Tu?r")
        .bytes()
        .map(|byte| if byte == b'?' { 0xFC } else { byte })
        .collect();
    let file = assert_reads_as_wanted(latin);
    assert_eq!(file.readings[0].name, "Tuür");
    assert!(file.assumed.iter().any(|said| said.contains("Latin-1")));
}

#[test]
fn twenty_nanometers_and_descending_wavelengths() {
    let mut rows: Vec<(String, String)> = grid()
        .step_by(2)
        .map(|nm| (nm.to_string(), value(nm)))
        .collect();
    let rising = read(long_with(rows.clone())).unwrap();
    let even = rising.readings[0].spectrum.wavelengths().even();
    assert_eq!(even.map(Grid::step_nm), Some(20));
    rows.reverse();
    let falling = read(long_with(rows)).unwrap();
    assert_eq!(falling.readings[0].spectrum, rising.readings[0].spectrum);
    assert_eq!(falling.readings[0].as_read, rising.readings[0].as_read);
    assert!(
        falling
            .assumed
            .iter()
            .any(|said| said.contains("turned round"))
    );
}

/// One instrument's own step, ten nanometers in three, and a file with a line left out.
#[test]
fn wavelengths_of_any_step() {
    let thirds: Vec<String> = (0..=105)
        .map(|i| format!("{:.2}", 380.0 + 10.0 / 3.0 * f64::from(i)))
        .collect();
    let file = read(long_with(
        thirds.iter().map(|nm| (nm.clone(), "0.5".to_owned())),
    ))
    .unwrap();
    let got: Vec<String> = file.readings[0]
        .spectrum
        .wavelengths()
        .iter()
        .map(|nm| format!("{nm:.2}"))
        .collect();
    assert_eq!(got, thirds);
    let said = "the wavelengths are unevenly spaced (380–730 nm at 106 wavelengths)";
    assert!(
        file.assumed.iter().any(|line| line == said),
        "{:?}",
        file.assumed
    );

    let short = read(wide().replace("R420,", "").replacen("0.140,", "", 1)).unwrap();
    assert_eq!(short.readings[0].spectrum.values().len(), 30);
    assert!(
        short
            .assumed
            .iter()
            .any(|line| line.contains("unevenly spaced"))
    );
    let five = (400..=700)
        .step_by(5)
        .map(|nm| (nm.to_string(), "0.5".to_owned()));
    let five = read(long_with(five)).unwrap();
    let even = five.readings[0].spectrum.wavelengths().even();
    assert_eq!(even.map(Grid::step_nm), Some(5));
    assert!(!five.assumed.iter().any(|line| line.contains("unevenly")));
}

#[test]
fn percent_or_fraction() {
    let percent = |heading: &str| {
        wide_with(
            |nm| format!("R{nm}{heading}"),
            |nm| format!("{:.1}", 10.0 + f64::from(nm - 400) / 5.0),
        )
    };
    let file = assert_reads_as_wanted(percent(""));
    assert_eq!(file.scale, Scale::Percent);
    assert!(file.assumed[0].contains("percent") && file.assumed[0].contains("70"));
    let stated = assert_reads_as_wanted(percent(" %"));
    assert!(stated.assumed.is_empty(), "{:?}", stated.assumed);
    let file = assert_reads_as_wanted(wide());
    assert_eq!(file.scale, Scale::Fraction);
    assert!(file.assumed[0].contains("fraction"));

    // A black in percent looks like a fraction; so does anything between 1.2 and 2.5.
    for text in ["0.150", "0.2", "1.25", "2.5"] {
        let gray = wide_with(|nm| format!("R{nm}"), |_| text.to_owned());
        let largest = text.parse().unwrap();
        let error = refused(&gray);
        assert_eq!(error, ExchangeError::AmbiguousScale { largest });
        assert!(error.to_string().contains("--scale"));
        for (scale, divisor) in [(Scale::Fraction, 1.0), (Scale::Percent, 100.0)] {
            let options = ReadOptions {
                scale: Some(scale),
                ..ReadOptions::default()
            };
            match read_spectra(gray.as_bytes(), &options) {
                Ok(file) => assert_eq!(file.readings[0].spectrum.values()[0], largest / divisor),
                Err(error) => assert!(largest / divisor > 2.0, "{error}"),
            }
        }
    }
    // The whole file decides: a white beside the black.
    let both = format!(
        "{}white,{}\n",
        percent("").replace("10.0", "0.1"),
        ["88.5"; 31].join(",")
    );
    assert_eq!(read(both).unwrap().scale, Scale::Percent);
}

#[test]
fn units_stated_in_the_file() {
    let black = wide_with(|nm| format!("R{nm}"), |_| "0.150".to_owned());
    let first = |text: &str| read(text).map(|file| file.readings[0].spectrum.values()[0]);
    for comment in ["# unit: percent", "#scale = percent", "# Units: %"] {
        assert_eq!(first(&format!("{comment}\n{black}")), Ok(0.0015));
    }
    let column = black.replace("name,", "unit,name,");
    assert_eq!(first(&column.replace("chip,", "percent,chip,")), Ok(0.0015));
    assert_eq!(first(&column.replace("chip,", "fraction,chip,")), Ok(0.15));
    assert_eq!(
        first(&column.replace("chip,", "kelvin,chip,")),
        Err(ExchangeError::UnknownUnit {
            line: 2,
            text: "kelvin".to_owned()
        })
    );
    let second = ["0.1"; 31].join(",");
    let mixed = format!(
        "{}fraction,b,{second}\n",
        column.replace("chip,", "percent,chip,")
    );
    assert!(matches!(
        first(&mixed),
        Err(ExchangeError::ConflictingUnits { line: 3, .. })
    ));
    let long = long().replace("reflectance", "reflectance (%)");
    assert!((first(&long).unwrap() - 0.001).abs() < 1e-15);
}
