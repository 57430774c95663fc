//! Files as they go wrong, each with the whole sentence that a person reads.

use std::fmt::Write;

use color::{ExchangeError, MAX_FILE_BYTES, ReadOptions, Scale, read_spectra};

use crate::*;

#[track_caller]
fn says(text: impl AsRef<[u8]>, wanted: &str) {
    assert_eq!(refused(text).to_string(), wanted);
}

#[test]
fn truncated_xml() {
    let text = iso17972();
    let within = |mark: &str, within: &str| {
        let at = text.find(mark).unwrap() + mark.len();
        says(
            &text[..at],
            &format!("the file ends within {within}: it was cut off; copy or export it again"),
        );
    };
    within("0.100 0.1", "<ReflectanceSpectrum>, begun in line 13");
    within("</Creator>", "<FileInformation>, begun in line 3");
    within("<Tag Name=\"sh", "<FileInformation>, begun in line 3");
    within("</Resources>", "<CxF>, begun in line 2");
    // Wherever it is cut, it is refused.
    for end in (0..text.trim_end().len()).step_by(7) {
        assert!(read(&text[..end]).is_err(), "{end}");
    }
    says(
        "<CxF><a></b></CxF>",
        "line 1: the XML is broken (ill-formed document: expected `</a>`, but `</b>` was found…); \
         export the file again"
            .replace('…', "")
            .as_str(),
    );
    says(
        "<html><body>Log in first</body></html>",
        "the XML is <html>, not <CxF> (ISO 17972-1); export the measurement as CxF, ISO 28178 \
         text or CSV",
    );
    says(
        "<CxF/><CxF/>",
        "line 1: the XML is broken (a second element outside the root element); export the file again",
    );
    says(
        "<CxF/>lost",
        "line 1: the XML is broken (text outside the root element); export the file again",
    );
    says(
        "<!-- nothing -->",
        "line 1: the XML is broken (it has no element); export the file again",
    );
}

#[test]
fn entity_bomb_and_external_entity() {
    let doctype = "line 2: the XML has a document type declaration (<!DOCTYPE); measurement files \
                   need none, and none is read, since it can make a small file a huge one or draw \
                   in other files; remove it, or export the file again";
    let mut bomb = "<?xml version=\"1.0\"?>\n<!DOCTYPE CxF [<!ENTITY a0 \"ha\">".to_owned();
    for level in 1..30 {
        let before = level - 1;
        write!(bomb, "<!ENTITY a{level} \"&a{before};&a{before};\">").unwrap();
    }
    says(format!("{bomb}]>\n<CxF>&a29;</CxF>"), doctype);
    let external = "<?xml version=\"1.0\"?>\n<!DOCTYPE CxF [<!ENTITY x SYSTEM \
                    \"file:///etc/hostname\">]>\n<CxF>&x;</CxF>";
    says(external, doctype);
    says(
        "<?xml version=\"1.0\"?>\n<!DOCTYPE CxF SYSTEM \"http://localhost/a.dtd\">\n<CxF/>",
        doctype,
    );
    says(
        iso17972()
            .replace("12 &amp; 13", "&x;")
            .replace("from the", "\n&x; the"),
        "line 12: the entity &x; is not known; write the character itself",
    );
    // In an attribute, where the parser speaks for itself.
    let error = refused(iso17972().replace("12 &amp; 13", "&x;"));
    assert!(
        error.to_string().contains("unrecognized entity `x`"),
        "{error}"
    );
}

#[test]
fn xml_too_deep_and_too_dense() {
    let deep = |levels: usize| {
        format!(
            "<CxF>{}{}</CxF>",
            "<a>".repeat(levels),
            "</a>".repeat(levels)
        )
    };
    says(
        deep(40),
        "line 1: elements are nested more than 40 deep; this is no measurement file as ISO \
         17972-1 has it; export it again",
    );
    assert!(matches!(refused(deep(39)), ExchangeError::NoSpectra { .. }));
    assert!(matches!(
        refused(deep(1_000_000)),
        ExchangeError::TooDeep { .. }
    ));
    // What is written once and belongs to each of many readings.
    let tag = format!("<Tag Name=\"a\" Value=\"{}\"/>", "x".repeat(100_000));
    let text = iso17972_with(&list().repeat(2_000), UNKNOWN_BY_10);
    says(
        text.replace("<Tag Name=\"lot\"", &format!("{tag}<Tag Name=\"lot\"")),
        "the file holds so many small parts that it would take many times its size in memory; \
         split it, or export the spectra alone",
    );
    assert_eq!(read(text).unwrap().readings.len(), 2_000);
}

#[test]
fn wrong_counts() {
    says(
        iso28178().replace("NUMBER_OF_SETS 1", "NUMBER_OF_SETS 2"),
        "line 6: NUMBER_OF_SETS is 2, and 1 were found; lines are missing or too many: export \
         the file again",
    );
    says(
        iso28178().replace("NUMBER_OF_FIELDS 33", "NUMBER_OF_FIELDS 34"),
        "line 2: NUMBER_OF_FIELDS is 34, and 33 were found; lines are missing or too many: \
         export the file again",
    );
    says(
        iso28178().replace("NUMBER_OF_SETS 1", "NUMBER_OF_SETS many"),
        "line 6: NUMBER_OF_SETS is many, and 1 were found; lines are missing or too many: export \
         the file again",
    );
    says(
        iso28178().replace("\"chip\"", "a chip"),
        "line 8 has 34 values, the data format has 33 fields; quote texts with blanks, and write \
         each set on one line",
    );
    says(
        iso28178().replace("\"chip\"", "\"chip"),
        "line 8 cannot be split into columns: a quotation mark is not closed; export the file \
         again",
    );
    says(
        iso28178().replace("END_DATA\n", ""),
        "the file ends within BEGIN_DATA, begun in line 7: it was cut off; copy or export it \
         again",
    );
    says(
        "ISO28178\nBEGIN_DATA\n1 2\nEND_DATA\n",
        "line 2: BEGIN_DATA without a data format before it; export the file again",
    );
    says(
        iso28178()
            .replace("7 \"chip\"", "# 7")
            .replace("NUMBER_OF_SETS 1", ""),
        "the file has headings but no values below line 7; export the measurement again",
    );
    says(
        "ISO28178\nORIGINATOR \"nobody\"\n",
        "the file holds no reflectance spectra but no table of values; export the spectra from \
         the instrument's program",
    );
}

#[test]
fn fields_twice() {
    says(
        iso28178().replace("SAMPLE_ID SAMPLE_NAME", "SAMPLE_ID SAMPLE_ID"),
        "line 4: field SAMPLE_ID stands there twice; remove or rename one of them",
    );
    says(
        iso28178().replace("SPECTRAL_NM420", "nm410"),
        "line 4: wavelength 410 nm stands there twice; remove one of them",
    );
    says(
        wide().replace("R420", "410 nm"),
        "line 1: wavelength 410 nm stands there twice; remove one of them",
    );
}

#[test]
fn percent_where_fractions_belong() {
    let percent = |nm| format!("{:.1}", 100.0 * value(nm).parse::<f64>().unwrap());
    let values: Vec<String> = grid().map(percent).collect();
    let list = format!(
        "<ReflectanceSpectrum ColorSpecification=\"spec1\">{}</ReflectanceSpectrum>",
        values.join(" ")
    );
    let text = iso17972_with(&list, UNKNOWN_BY_10);
    says(
        &text,
        "line 13, chip: reflectance 10 at 400 nm is above 2; if the values are percent, say so, \
         else calibrate the instrument and measure again",
    );
    let options = ReadOptions {
        scale: Some(Scale::Percent),
        ..ReadOptions::default()
    };
    let file = read_spectra(text.as_bytes(), &options).unwrap();
    assert_eq!(file.readings[0].spectrum.values(), wanted());
    let stated = iso28178_with("UNIT fraction\n", "chip", |nm| format!("nm{nm}"));
    let stated = grid().fold(stated, |text, nm| {
        text.replacen(&format!(" {}", value(nm)), &format!(" {}", percent(nm)), 1)
    });
    says(
        stated,
        "line 9, chip: reflectance 10 at 400 nm is above 2; if the values are percent, say so, \
         else calibrate the instrument and measure again",
    );
}

#[test]
fn mixed_units() {
    says(
        iso28178_with("UNIT percent\nUNIT fraction\n", "chip", |nm| {
            format!("nm{nm}")
        }),
        "line 3: the unit changes to \"fraction\" within the file; use one unit in a file",
    );
    says(
        iso28178_with("UNIT furlong\n", "chip", |nm| format!("nm{nm}")),
        "line 2: unit \"furlong\" is not known; give percent or fraction",
    );
    says(
        iso28178_with("", "chip", |nm| match nm {
            650 => format!("SPECTRAL_DEC{nm}"),
            _ => format!("SPECTRAL_PCT{nm}"),
        }),
        "line 4: the unit changes to \"SPECTRAL_DEC650\" within the file; use one unit in a file",
    );
}

#[test]
fn micrometers() {
    let micro = |nm: u16| format!("0.{nm}");
    let said = |line: u8, text: &str| {
        format!(
            "line {line}: wavelength {text:?} looks like micrometers; export wavelengths in \
             nanometers, such as 400"
        )
    };
    says(
        wide_with(|nm| format!("R{}", micro(nm)), value),
        &said(1, "0.400"),
    );
    says(wide_with(micro, value), &said(1, "0.400"));
    says(
        long_with(grid().map(|nm| (micro(nm), value(nm)))),
        &said(2, "0.400"),
    );
    says(
        iso28178_with("", "chip", |nm| format!("SPECTRAL_{}", micro(nm))),
        &said(4, "0.400"),
    );
    let range = "<WavelengthRange StartWL=\"0.4\" Increment=\"0.01\"/>";
    says(iso17972_with(&list(), range), &said(13, "0.4"));
}

#[test]
fn thousands_separators() {
    let said = |place: &str, text: &str| {
        format!(
            "{place}: {text:?} is not a number; write numbers like 0.153, without unit or \
             thousands separator"
        )
    };
    says(
        wide_but(450, "\"1,234.5\""),
        &said("line 2, chip at 450 nm", "1,234.5"),
    );
    says(
        wide_but(450, "1.234.500"),
        &said("line 2, chip at 450 nm", "1.234.500"),
    );
    says(
        wide_but(450, "1 234"),
        &said("line 2, chip at 450 nm", "1 234"),
    );
    says(
        wide_but(450, "1'234"),
        &said("line 2, chip at 450 nm", "1'234"),
    );
    says(
        iso28178().replace("0.300", "1,234.5"),
        &said("line 8, chip at 500 nm", "1,234.5"),
    );
    says(
        iso17972().replace("0.300", "1,234.5"),
        &said("line 13, chip at 500 nm", "1,234.5"),
    );
}

#[test]
fn wrong_charset() {
    let latin: Vec<u8> = iso17972()
        .replace("lobby", "entr\u{e9}e")
        .chars()
        .map(|c| u8::try_from(c).unwrap())
        .collect();
    let offset = latin.iter().position(|byte| *byte == 0xE9).unwrap();
    says(
        &latin,
        &format!(
            "the XML declares charset UTF-8, and byte {offset} is not UTF-8; save it as UTF-8, or \
             export it again"
        ),
    );
    let other = String::from_utf8_lossy(&latin[..38]).replace("UTF-8", "Shift_JIS");
    let other = [other.as_bytes(), &latin[38..]].concat();
    assert!(
        matches!(refused(other), ExchangeError::Charset { declared, .. } if declared == "Shift_JIS")
    );
    let mut no_mark = Vec::new();
    no_mark.extend(iso17972().encode_utf16().flat_map(u16::to_le_bytes));
    says(
        no_mark,
        "the file is not text (byte 0x00 at offset 1); export the measurement as CxF, ISO 28178 \
         text or CSV",
    );
}

#[test]
fn a_hundred_megabytes() {
    let mut text = iso28178().into_bytes();
    text.resize(100 * 1024 * 1024, b'\n');
    says(
        &text,
        &format!(
            "the file has 104857600 bytes, more than the {MAX_FILE_BYTES} that are read at once; \
             split it"
        ),
    );
}
