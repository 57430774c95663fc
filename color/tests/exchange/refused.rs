//! Files that are refused, by line, field, value and remedy.

use color::{
    Ends, ExchangeError, MAX_FILE_BYTES, ReadOptions, Scale, SpectrumError, SpectrumWarning,
    read_spectra,
};
use proptest::prelude::*;

use crate::*;

#[test]
fn cells_that_are_no_finite_number() {
    for text in ["NaN", "nan", "inf", "-inf", "Infinity", "1e999"] {
        let error = refused(wide_but(450, text));
        let ExchangeError::NotFinite {
            line: 2,
            field,
            text: said,
        } = &error
        else {
            panic!("{text}: {error}");
        };
        assert_eq!((field.as_str(), said.as_str()), ("chip at 450 nm", text));
    }
    for text in [
        "abc",
        "0.5x",
        "0.5 0.6",
        "--",
        "0x1F",
        "12%",
        "\"1,234.5\"",
        "\"1,2,3\"",
    ] {
        let error = refused(wide_but(450, text));
        assert!(
            matches!(error, ExchangeError::NotANumber { line: 2, .. }),
            "{text}: {error}"
        );
        let said = error.to_string();
        assert!(
            said.contains("450") && said.contains("write numbers like"),
            "{said}"
        );
    }
    let error = refused(wide_but(450, ""));
    assert!(
        matches!(error, ExchangeError::MissingValue { line: 2, .. }),
        "{error}"
    );
    let short = wide();
    let short = &short[..short.rfind(',').unwrap()];
    let error = refused(short);
    assert!(
        error
            .to_string()
            .contains("chip at 700 nm: the value is missing"),
        "{error}"
    );
    let error = refused(long().replace("450,0.200", "450,black"));
    assert_eq!(
        error.to_string(),
        "line 7, reading 1 at 450 nm: \"black\" is not a number; write numbers like 0.153, \
         without unit or thousands separator"
    );
}

#[test]
fn reflectance_out_of_bounds() {
    let spectrum_error = |text: &str| match refused(wide_but(450, text)) {
        ExchangeError::Spectrum {
            line: 2,
            name,
            source,
        } if name == "chip" => source,
        other => panic!("{other}"),
    };
    assert!(matches!(
        spectrum_error("-0.2"),
        SpectrumError::Negative { nm: 450.0, .. }
    ));
    let options = ReadOptions {
        scale: Some(Scale::Fraction),
        ..ReadOptions::default()
    };
    let error = read_spectra(wide_but(450, "2.01").as_bytes(), &options).unwrap_err();
    assert!(
        error
            .to_string()
            .starts_with("line 2, chip: reflectance 2.01 at 450 nm"),
        "{error}"
    );
    // An error stays short, whatever stands in the file.
    let long_name = wide_but(450, "-0.2").replace("chip", &"x".repeat(100_000));
    assert!(refused(long_name).to_string().len() < 500);
    let file = read(wide_but(450, "-0.004")).unwrap();
    assert_eq!(
        file.readings[0].spectrum.warnings(),
        [SpectrumWarning::NegativeClamped {
            nm: 450.0,
            value: -0.004
        }]
    );
    assert_eq!(file.readings[0].as_read[5], "-0.004", "the original stays");
    let percent = wide_with(|nm| format!("R{nm}"), |_| "201".to_owned());
    assert!(matches!(
        refused(percent),
        ExchangeError::Spectrum {
            source: SpectrumError::TooHigh { .. },
            ..
        }
    ));
}

#[test]
fn wavelengths_that_do_not_fit() {
    let rows = |nms: &[&str]| long_with(nms.iter().map(|nm| ((*nm).to_owned(), "0.5".to_owned())));
    assert_eq!(
        refused(rows(&["400", "410", "410", "420"])),
        ExchangeError::DuplicateWavelength { line: 4, nm: 410.0 }
    );
    assert_eq!(
        refused(rows(&["400", "420", "410"])),
        ExchangeError::OutOfOrder { line: 4, nm: 410.0 }
    );
    for text in ["0", "0.4", "-400", "99999", "blue", "NaN", ""] {
        let error = refused(rows(&["400", "410", text]));
        assert!(
            matches!(error, ExchangeError::Wavelength { line: 4, .. }),
            "{text}: {error}"
        );
    }
    let error = refused(wide().replace("R420", "R410"));
    assert_eq!(
        error,
        ExchangeError::DuplicateWavelength { line: 1, nm: 410.0 }
    );
    // Good wavelengths, but at steps that are not computed, or without the ends.
    let source = |text: String| match refused(text) {
        ExchangeError::Spectrum { source, .. } => source,
        other => panic!("{other}"),
    };
    let every = |step: usize, from: u16, to: u16| {
        long_with(
            (from..=to)
                .step_by(step)
                .map(|nm| (nm.to_string(), "0.5".to_owned())),
        )
    };
    let step = SpectrumError::Step { step_nm: 25 };
    assert_eq!(source(every(25, 400, 700)), step);
    let without = |from: u16, to: u16| {
        let left = grid().filter(move |nm| *nm <= from || *nm >= to);
        long_with(left.map(|nm| (nm.to_string(), "0.5".to_owned())))
    };
    let gap = SpectrumError::Gap {
        from_nm: 410.0,
        to_nm: 440.0,
    };
    assert_eq!(source(without(410, 440)), gap);
    assert!(gap.to_string().contains("between 410 and 440 nm"));
    assert!(read(without(410, 430)).is_ok());
    let ends = SpectrumError::MissingEnds {
        first_nm: 420.0,
        last_nm: 680.0,
    };
    assert_eq!(source(every(10, 420, 680)), ends);
    let options = ReadOptions {
        ends: Ends::Extend,
        ..ReadOptions::default()
    };
    let file = read_spectra(every(10, 420, 680).as_bytes(), &options).unwrap();
    assert!(file.readings[0].spectrum.ends_extended());
}

#[test]
fn one_value_and_ten_thousand() {
    let one = long_with([("400".to_owned(), "0.5".to_owned())]);
    for text in [one.as_str(), "name,R400\nchip,0.5\n", "400,0.5\n"] {
        let error = refused(text);
        assert!(
            matches!(
                error,
                ExchangeError::Spectrum {
                    source: SpectrumError::TooFew { count: 1 },
                    ..
                }
            ),
            "{error}"
        );
    }
    let many = long_with((400..10_400u16).map(|nm| (nm.to_string(), "0.5".to_owned())));
    assert!(matches!(
        refused(many),
        ExchangeError::Wavelength { line: 703, .. }
    ));
    let fine = (0..10_000).map(|i| (format!("{}", 400.0 + 0.03 * f64::from(i)), "0.5".to_owned()));
    assert!(matches!(
        refused(long_with(fine)),
        ExchangeError::Spectrum {
            source: SpectrumError::TooMany { count: 10_000 },
            ..
        }
    ));
    let headings: Vec<String> = (400..10_400).map(|nm| format!("R{nm}")).collect();
    let text = format!(
        "name,{}\nchip,{}\n",
        headings.join(","),
        vec!["0.5"; 10_000].join(",")
    );
    assert!(matches!(
        refused(text),
        ExchangeError::Wavelength { line: 1, .. }
    ));
    // Ten thousand samples are no trouble.
    let row = grid().map(value).collect::<Vec<_>>().join(",");
    let rows: String = (0..10_000).map(|i| format!("chip {i},{row}\n")).collect();
    let file = read(format!("{}{rows}", wide())).unwrap();
    assert_eq!(file.readings.len(), 10_001);
    assert_eq!(file.readings[10_000].line, 10_002);
}

#[test]
fn files_that_hold_no_measurement() {
    for text in [
        "",
        "\u{feff}",
        "\n\n\r\n",
        "  \n",
        "# only a comment\n",
        ",,,\n",
    ] {
        assert_eq!(refused(text), ExchangeError::Empty, "{text:?}");
    }
    assert_eq!(
        refused(b"\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR"),
        ExchangeError::Binary {
            byte: 0x1a,
            offset: 6
        }
    );
    assert_eq!(
        refused(b"\xEF\xBB\xBFname,R400\x00"),
        ExchangeError::Binary {
            byte: 0,
            offset: 12
        }
    );
    assert!(matches!(
        refused([0xFF, 0xFE, 0x41]),
        ExchangeError::Binary { .. }
    ));
    assert!(matches!(
        refused([0xFF, 0xFE, 0x00, 0xD8]),
        ExchangeError::Binary { .. }
    ));
    let error = refused("Dear colleague,\nplease find attached\n");
    assert!(
        matches!(error, ExchangeError::NoWavelengths { line: 1, .. }),
        "{error}"
    );
    let wide = wide();
    let head = wide.lines().next().unwrap();
    assert_eq!(refused(head), ExchangeError::NoValues { line: 1 });
    assert_eq!(
        refused("wavelength,reflectance\n"),
        ExchangeError::NoValues { line: 1 }
    );
    assert_eq!(
        refused("wavelength\n400\n410\n"),
        ExchangeError::NoValues { line: 1 }
    );
}

#[test]
fn files_too_large() {
    let mut text = wide().into_bytes();
    text.resize(MAX_FILE_BYTES, b'\n');
    assert!(read(&text).is_ok());
    text.push(b'\n');
    assert_eq!(
        refused(&text),
        ExchangeError::TooLarge {
            bytes: MAX_FILE_BYTES + 1
        }
    );
}

#[test]
fn a_quote_left_open_is_refused() {
    let error = refused(wide().replace("chip", "\"chip"));
    let said = error.to_string();
    assert!(said.starts_with("line 2"), "{said}");
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(2_000))]

    /// Whatever the bytes, there is an answer or an error with words.
    #[test]
    fn no_bytes_bring_the_reader_down(
        noise in proptest::collection::vec(any::<u8>(), 0..200),
        at in 0..300usize,
        cut in 0..300usize,
    ) {
        let mut text = wide().into_bytes();
        let at = at.min(text.len());
        text.truncate(text.len() - cut.min(text.len() - at));
        text.splice(at..at, noise.iter().copied());
        for bytes in [&noise, &text] {
            if let Err(error) = read(bytes) {
                prop_assert!(!error.to_string().is_empty());
            }
        }
    }
}
