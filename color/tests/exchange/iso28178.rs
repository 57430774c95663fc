//! ISO 28178 text in its dresses.

use color::exchange::FileFormat;
use color::{
    Backing, ExchangeError, Filter, Geometry, ReadOptions, Scale, Specular, Tag, read_spectra,
};

use crate::*;

#[test]
fn field_names_of_many_kinds() {
    for heading in [
        |nm| format!("SPECTRAL_NM{nm}"),
        |nm| format!("SPECTRAL_NM_{nm}"),
        |nm| format!("SPECTRAL_{nm}"),
        |nm| format!("spectral_{nm}"),
        |nm| format!("nm{nm}"),
        |nm| format!("NM_{nm}"),
        |nm| format!("SPEC_{nm}"),
        |nm| format!("R_{nm}"),
        |nm| format!("R{nm}nm"),
        |nm: u16| format!("{nm}"),
    ] {
        let file = assert_reads_as_wanted(iso28178_with("", "a chip", heading));
        assert_eq!(file.format, FileFormat::Iso28178);
        assert_eq!(file.readings[0].name, "a chip");
        assert_eq!(file.readings[0].tags, [Tag::new("SAMPLE_ID", "7")]);
        assert_eq!(
            file.readings[0].as_read,
            grid().map(value).collect::<Vec<_>>()
        );
    }
    for (heading, scale) in [
        ("SPECTRAL_PCT", Scale::Percent),
        ("SPECTRAL_DEC", Scale::Fraction),
    ] {
        let text = iso28178_with("", "chip", |nm| format!("{heading}{nm}"));
        let file = read(text).unwrap();
        assert_eq!(file.scale, scale);
        assert!(
            file.assumed.iter().all(|said| !said.contains("unit")),
            "{:?}",
            file.assumed
        );
    }
}

#[test]
fn wavelengths_beside_values() {
    let fields = ["SPECTRAL_NM SPECTRAL_PCT"; 31].join(" ");
    let row = |shift: u16| {
        let pairs: Vec<String> = grid().map(|nm| format!("{} 45.5", nm + shift)).collect();
        pairs.join("\t")
    };
    let text = |second: u16| {
        format!(
            "CGATS.17\nBEGIN_DATA_FORMAT\nSAMPLE_ID {fields}\nEND_DATA_FORMAT\nBEGIN_DATA\n\
             one {}\ntwo {}\nEND_DATA\n",
            row(0),
            row(second)
        )
    };
    let file = read(text(0)).unwrap();
    assert_eq!(file.scale, Scale::Percent);
    assert_eq!(file.readings[1].name, "two");
    assert_eq!(file.readings[1].spectrum.values(), [0.455; 31]);
    assert_eq!(
        refused(text(10)).to_string(),
        "line 7: wavelength \"410\" where the first set has \"400\"; export sets of other \
         wavelengths apart"
    );
}

#[test]
fn blanks_line_ends_and_comments() {
    let text = iso28178();
    assert_reads_as_wanted(text.replace(' ', "\t"));
    assert_reads_as_wanted(text.replace(' ', " \t "));
    assert_reads_as_wanted(text.replace('\n', "\r\n"));
    assert_reads_as_wanted(text.replace('\n', "\r"));
    assert_reads_as_wanted(format!("\u{feff}\n\n{text}\n\n"));
    // One field a line.
    let broken = text.replace(" SPECTRAL", "\nSPECTRAL");
    assert_reads_as_wanted(broken);
    let comments = text
        .replace("BEGIN_DATA\n", "BEGIN_DATA # now\n# a line\n\n")
        .replace("\"chip\"", "\"chip #1, \"\"red\"\"\"");
    let file = assert_reads_as_wanted(comments);
    assert_eq!(file.comments, ["now", "a line"]);
    assert_eq!(file.readings[0].name, "chip #1, \"red\"");
    let commas = text.replace("0.", "0,");
    let file = assert_reads_as_wanted(commas);
    assert_eq!(file.readings[0].as_read[0], "0,100");
}

#[test]
fn keywords_are_kept_and_understood() {
    let head = "ORIGINATOR \"Brightwater Paint\"\n\
                CREATED \"March 14, 2026\" # by hand\n\
                KEYWORD \"SHIFT\"\nSHIFT morning and noon\nEMPTY \"\"\n\
                INSTRUMENTATION \"Sphere No. 2\"\nMEASUREMENT_GEOMETRY \"d/8, specular excluded\"\n\
                MEASUREMENT_APERTURE \"8 mm\"\nSAMPLE_BACKING \"Black\"\nFILTER \"M0\"\n\
                NUMBER_OF_READINGS 3\nMEASUREMENT_DATE \"14.3.26\"\n";
    let file = assert_reads_as_wanted(iso28178_with(head, "chip", |nm| format!("nm{nm}")));
    let reading = &file.readings[0];
    assert_eq!(reading.conditions.geometry, Some(Geometry::DiffuseTo8));
    assert_eq!(reading.conditions.specular, Some(Specular::Excluded));
    assert_eq!(reading.conditions.aperture_mm, Some(8.0));
    assert_eq!(reading.conditions.backing, Some(Backing::Black));
    assert_eq!(reading.conditions.filter, Some(Filter::M0));
    assert_eq!(reading.details.readings, Some(3));
    assert_eq!(reading.details.date.as_deref(), Some("14.3.26"));
    assert_eq!(
        reading.details.instrument.model.as_deref(),
        Some("Sphere No. 2")
    );
    // Words that say more than what was understood stay, and so do those that nobody knows.
    assert_eq!(
        file.tags,
        [
            Tag::new("ORIGINATOR", "Brightwater Paint"),
            Tag::new("CREATED", "March 14, 2026"),
            Tag::new("SHIFT", "morning and noon"),
            Tag::new("EMPTY", ""),
            Tag::new("MEASUREMENT_GEOMETRY", "d/8, specular excluded"),
            Tag::new("SAMPLE_BACKING", "Black"),
        ]
    );
    assert_eq!(file.comments, ["by hand"]);
    let percent = iso28178_with("UNIT \"percent\"\n", "chip", |nm| format!("nm{nm}"));
    assert_eq!(read(percent).unwrap().scale, Scale::Percent);
}

#[test]
fn tables_beside_the_spectra() {
    let other = "BEGIN_DATA_FORMAT\nSAMPLE_ID LAB_L LAB_A LAB_B\nEND_DATA_FORMAT\n\
                 NUMBER_OF_SETS 2\nBEGIN_DATA\n7 50.1 -3 2\n8 60 0 0\nEND_DATA\n";
    for text in [
        format!("{}{other}", iso28178()),
        iso28178().replacen("ISO28178\n", &format!("ISO28178\n{other}"), 1),
    ] {
        let file = assert_reads_as_wanted(text);
        let tags = &file.readings[0].tags;
        assert_eq!(
            tags[1..],
            [
                Tag::new("LAB_L", "50.1"),
                Tag::new("LAB_A", "-3"),
                Tag::new("LAB_B", "2"),
            ]
        );
        assert_eq!(file.without_spectrum.len(), 1);
        assert_eq!(file.without_spectrum[0].name, "8");
        assert_eq!(file.without_spectrum[0].tags.len(), 4);
        assert!(
            file.assumed
                .iter()
                .any(|said| said.contains("holds no spectra"))
        );
    }
    let two = format!("{}{}", iso28178(), iso28178().replace("chip", "door"));
    assert_eq!(
        refused(&two).to_string(),
        "the file has 2 tables with spectra (data in lines 7, 16); say which one (--table 1 to \
         --table 2)"
    );
    let read_table = |table| {
        let options = ReadOptions {
            table: Some(table),
            ..ReadOptions::default()
        };
        read_spectra(two.as_bytes(), &options)
    };
    assert_eq!(read_table(2).unwrap().readings[0].name, "door");
    assert!(read_table(2).unwrap().assumed[0].contains("lines 7"));
    assert_eq!(
        read_table(3),
        Err(ExchangeError::NoSuchTable { asked: 3, count: 2 })
    );
    assert!(matches!(
        read_table(0),
        Err(ExchangeError::NoSuchTable { .. })
    ));
}

/// The head of a published characterization file (ISO TC130): color, no spectra.
#[test]
fn a_published_file_without_spectra() {
    let Some(path) = reference("iso28178_head.txt") else {
        eprintln!("skipped: the published file is not on this machine");
        return;
    };
    let error = read(std::fs::read(path).unwrap()).unwrap_err();
    assert_eq!(
        error.to_string(),
        "the file holds no reflectance spectra but SAMPLE_ID, CMYK_C, CMYK_M, CMYK_Y, CMYK_K, \
         LAB_L, LAB_A, LAB…; export the spectra from the instrument's program"
    );
}
