//! What every target asks of a reader: an answer or an error with words, and of an answer that it
//! can be written and read again with the same numbers.

use color::{Ends, ReadOptions, Scale, WriteFormat, read_spectra, write_spectra};

pub fn check(bytes: &[u8]) {
    for scale in [None, Some(Scale::Percent)] {
        let options = ReadOptions {
            scale,
            ends: Ends::Extend,
            table: None,
        };
        let file = match read_spectra(bytes, &options) {
            Ok(file) => file,
            Err(error) => {
                let said = error.to_string();
                assert!(!said.is_empty() && said.len() < 2_000, "{said}");
                continue;
            }
        };
        for format in [WriteFormat::Csv, WriteFormat::Iso28178, WriteFormat::Iso17972] {
            let Ok(written) = write_spectra(&file, format) else {
                continue;
            };
            let options = ReadOptions {
                scale: None,
                ..options
            };
            let again = read_spectra(written.text.as_bytes(), &options)
                .unwrap_or_else(|error| panic!("{format}: {error}\n{}", written.text));
            assert_eq!(file.readings.len(), again.readings.len());
            for (one, other) in file.readings.iter().zip(&again.readings) {
                assert_eq!(one.spectrum, other.spectrum, "{format}");
                assert_eq!(one.conditions, other.conditions, "{format}\n{}", written.text);
                assert_eq!(one.details, other.details, "{format}\n{}", written.text);
            }
        }
    }
}
