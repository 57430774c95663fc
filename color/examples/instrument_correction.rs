//! Prints what a correction between two instruments is worth on simulated ones:
//! `cargo run -p secondcan-color --example instrument_correction`.

#![expect(clippy::print_stdout, reason = "a program that prints a table")]

#[path = "../tests/instrument/simulated.rs"]
mod simulated;

use color::instrument::Correction;
use simulated::{DEFECTS, held_out, median, pairs};

fn main() {
    println!("ΔE00 (D65, 10°) between an instrument and the reference");
    println!(
        "{:24} {:>25} {:>34}",
        "defect", "tiles left out, mean", "38 samples held out: median, max"
    );
    for (name, instrument) in DEFECTS {
        match Correction::fit(&pairs(instrument)) {
            Ok((correction, check)) => {
                let apart = held_out(instrument, &correction);
                let before = median(apart.iter().map(|pair| pair.0));
                let after = median(apart.iter().map(|pair| pair.1));
                let worst =
                    |part: fn(&(f64, f64)) -> f64| apart.iter().map(part).fold(0.0, f64::max);
                println!(
                    "{name:24} {:>12.3} to {:>8.3} {before:>12.3} to {after:.3} (−{:.0} %), {:.3} to {:.3}",
                    check.before.mean,
                    check.after.mean,
                    (1.0 - after / before) * 100.0,
                    worst(|pair| pair.0),
                    worst(|pair| pair.1),
                );
            }
            Err(error) => println!("{name:24} {error}"),
        }
    }
}
