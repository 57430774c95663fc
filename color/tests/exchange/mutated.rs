//! Files of our own writers, with bytes changed, cut, doubled and swapped: always an answer or an
//! error with words, on any compiler. The same mutations in each run, so many and no more; for
//! fuzzing by coverage see tests/fuzz.sh.

use color::{WriteFormat, write_spectra};

use crate::*;

/// Pieces that mean something to a reader.
const PIECES: [&str; 24] = [
    "\"",
    "#",
    ",",
    ";",
    "\t",
    "\r",
    "<",
    ">",
    "&",
    "]]>",
    "<!--",
    "<!DOCTYPE a>",
    "&#0;",
    "&#x10FFFF;",
    "NaN",
    "1e999",
    "-",
    "0x",
    "BEGIN_DATA\n",
    "END_DATA\n",
    "SPECTRAL_NM ",
    "NUMBER_OF_SETS 9\n",
    "\u{feff}",
    "wavelength",
];

/// xorshift64: no library, the same numbers everywhere (Marsaglia, J. Stat. Softw. 8(14), 2003).
struct Numbers(u64);

impl Numbers {
    fn below(&mut self, end: usize) -> usize {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        (self.0 % end.max(1) as u64) as usize
    }
}

fn mutate(bytes: &mut Vec<u8>, numbers: &mut Numbers) {
    for _ in 0..=numbers.below(4) {
        let at = numbers.below(bytes.len());
        let until = (at + numbers.below(40)).min(bytes.len());
        match numbers.below(7) {
            0 if at < bytes.len() => bytes[at] = numbers.below(256) as u8,
            1 => drop(bytes.drain(at..until)),
            2 => bytes.truncate(at),
            3 => {
                let doubled = bytes[at..until].to_vec();
                bytes.splice(at..at, doubled);
            }
            4 => {
                let moved: Vec<u8> = bytes.drain(at..until).collect();
                let to = numbers.below(bytes.len());
                bytes.splice(to..to, moved);
            }
            _ => {
                let piece = PIECES[numbers.below(PIECES.len())];
                bytes.splice(at..until, piece.bytes());
            }
        }
    }
}

#[test]
fn no_mutation_brings_a_reader_down() {
    let rich = iso28178_with(
        "ORIGINATOR \"Brightwater Paint\"\nMEASUREMENT_GEOMETRY \"d/8 SCI\"\nFILTER M1\n",
        "a \"\"chip\"\"",
        |nm| format!("nm{nm}"),
    );
    let mut seeds = vec![wide(), long(), iso28178(), iso17972(), rich.clone()];
    for format in [
        WriteFormat::Csv,
        WriteFormat::Iso28178,
        WriteFormat::Iso17972,
    ] {
        for text in [&rich, &iso17972()] {
            seeds.push(
                write_spectra(&read(text).expect("a good file"), format)
                    .expect("a text")
                    .text,
            );
        }
    }
    let mut numbers = Numbers(0x9E37_79B9_7F4A_7C15);
    let (mut answers, mut errors) = (0, 0);
    for round in 0..30_000 {
        let mut bytes = seeds[round % seeds.len()].clone().into_bytes();
        mutate(&mut bytes, &mut numbers);
        match read(&bytes) {
            Ok(file) => {
                answers += 1;
                assert!(!file.readings.is_empty());
            }
            Err(error) => {
                errors += 1;
                let said = error.to_string();
                assert!(!said.is_empty() && said.len() < 2_000, "{said}");
            }
        }
    }
    // Mutations that all succeed or all fail would show nothing.
    assert!(
        answers > 1_000 && errors > 10_000,
        "{answers} answers, {errors} errors"
    );
}
