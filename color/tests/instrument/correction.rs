//! Correction between two instruments, on simulated ones.

use color::instrument::{Correction, CorrectionError, TilePair};
use color::{Ends, Spectrum, Viewing, de2000};

use super::simulated::{DEFECTS, Instrument, Noise, REFERENCE, held_out, median, pairs, tiles};

const ALL_FOUR: Instrument = DEFECTS[4].1;

/// Each defect by itself and all at once: the median of the held-out samples falls by 60 % at
/// least, and no sample ends further apart than the worst was.
#[test]
fn the_two_agree_on_samples_that_no_tile_was_made_of() {
    for (name, instrument) in DEFECTS {
        let (correction, check) = Correction::fit(&pairs(instrument)).expect(name);
        assert!(
            check.after.mean < 0.5 * check.before.mean,
            "{name}: {check:?}"
        );
        let apart = held_out(instrument, &correction);
        assert_eq!(apart.len(), 38);
        let before = median(apart.iter().map(|pair| pair.0));
        let after = median(apart.iter().map(|pair| pair.1));
        assert!(before > 0.05, "{name}: {before} is no defect to speak of");
        assert!(after <= 0.4 * before, "{name}: {before} to {after}");
        let worst = |part: fn(&(f64, f64)) -> f64| apart.iter().map(part).fold(0.0, f64::max);
        assert!(worst(|pair| pair.1) < worst(|pair| pair.0), "{name}");
    }
}

/// The terms are what they are said to be: a shift comes out as a shift.
#[test]
fn a_wavelength_shift_is_found_in_nm() {
    for (name, instrument) in DEFECTS {
        let (correction, _) = Correction::fit(&pairs(instrument)).expect(name);
        let found = correction.shift_nm();
        assert!(
            (found - instrument.shift_nm).abs() < 0.05,
            "{name}: {found} nm"
        );
    }
}

/// What is left out of a fit is really unseen: a tile that was swapped between the two readings
/// spoils its own check, which a fit that had seen it would hide.
#[test]
fn each_tile_is_checked_by_a_fit_that_has_not_seen_it() {
    let mut tiles = pairs(ALL_FOUR);
    let honest = Correction::fit(&tiles).expect("a fit").1;
    tiles[5].reference = tiles[6].reference.clone();
    let check = match Correction::fit(&tiles) {
        Ok((_, check)) => check,
        Err(CorrectionError::DoesNotHelp { check }) => *check,
        Err(other) => panic!("{other}"),
    };
    assert!(
        check.tiles[5].2 > 0.5 * check.tiles[5].1,
        "{:?}",
        check.tiles[5]
    );
    assert!(check.tiles[5].2 > 20.0 * honest.tiles[5].2);
}

#[test]
fn two_instruments_that_agree_are_left_alone() {
    let error = Correction::fit(&pairs(REFERENCE)).unwrap_err();
    let CorrectionError::DoesNotHelp { check } = &error else {
        panic!("{error}");
    };
    assert!(check.before.mean < 0.05, "noise only: {check:?}");
    let same: Vec<TilePair> = pairs(ALL_FOUR)
        .into_iter()
        .map(|pair| TilePair {
            reference: pair.read.clone(),
            ..pair
        })
        .collect();
    let refused = Correction::fit(&same);
    assert!(
        matches!(refused, Err(CorrectionError::DoesNotHelp { .. })),
        "to the last digit: {refused:?}"
    );
    let words = error.to_string();
    assert!(
        words.contains("does not help") && words.contains("20 %"),
        "{words}"
    );
}

/// Differences without system can't be taken off: as many as tiles, each its own.
#[test]
fn a_difference_without_system_is_refused() {
    let mut noise = Noise(9);
    let tiles: Vec<TilePair> = pairs(REFERENCE)
        .into_iter()
        .map(|pair| {
            let off = 0.02 * noise.next();
            let values = pair
                .read
                .values()
                .iter()
                .map(|v| (v + off).max(0.0))
                .collect();
            let read = Spectrum::new(400, 10, values, Ends::Refuse).expect("a spectrum");
            TilePair { read, ..pair }
        })
        .collect();
    let refused = Correction::fit(&tiles);
    assert!(
        matches!(refused, Err(CorrectionError::DoesNotHelp { .. })),
        "{refused:?}"
    );
}

#[test]
fn too_few_tiles_and_unlike_wavelengths_are_refused() {
    let all = pairs(ALL_FOUR);
    let refused = Correction::fit(&all[..7]).unwrap_err();
    assert_eq!(refused, CorrectionError::TileCount { count: 7 });
    assert!(Correction::fit(&all[..8]).is_ok());

    let every_20 = |spectrum: &Spectrum| {
        let values = spectrum.values().iter().copied().step_by(2).collect();
        Spectrum::new(400, 20, values, Ends::Refuse).expect("a spectrum")
    };
    let mut unlike = all.clone();
    unlike[3].reference = every_20(&unlike[3].reference);
    let refused = Correction::fit(&unlike).unwrap_err();
    assert!(refused.to_string().contains("\"soot\""), "{refused}");

    let (correction, _) = Correction::fit(&all).expect("a fit");
    let refused = correction.apply(&every_20(&all[0].read)).unwrap_err();
    assert!(matches!(refused, CorrectionError::Wavelengths { .. }));

    // Both at 20 nm is a correction like any other.
    let coarse: Vec<TilePair> = all
        .iter()
        .map(|pair| TilePair {
            name: pair.name.clone(),
            read: every_20(&pair.read),
            reference: every_20(&pair.reference),
        })
        .collect();
    let (_, check) = Correction::fit(&coarse).expect("a fit");
    assert!(check.after.median < 0.4 * check.before.median, "{check:?}");
}

/// Tiles that are all gray say nothing of wavelengths; the ridge keeps the fit finite, and it is
/// taken for what it does to white and black.
#[test]
fn gray_tiles_alone_give_a_fit_that_stays_finite() {
    let (_, chalk) = tiles().swap_remove(0);
    let (mut noise, mut noise_there) = (Noise(5), Noise(6));
    let grays: Vec<TilePair> = (1..=9)
        .map(|level| {
            let truth = chalk
                .iter()
                .map(|value| value * f64::from(level) / 9.0)
                .collect();
            TilePair {
                name: format!("gray {level}"),
                read: ALL_FOUR.read(&truth, &mut noise),
                reference: REFERENCE.read(&truth, &mut noise_there),
            }
        })
        .collect();
    let (correction, check) = Correction::fit(&grays).expect("a fit");
    assert!(check.after.max < 0.2, "{check:?}");
    let (_, brick) = tiles().swap_remove(6);
    let read = ALL_FOUR.read(&brick, &mut noise);
    let there = REFERENCE
        .read(&brick, &mut noise_there)
        .lab(Viewing::default());
    let corrected = correction.apply(&read).expect("the same wavelengths");
    let after = de2000(there, corrected.spectrum.lab(Viewing::default()));
    assert!(
        after < 1.5 * de2000(there, read.lab(Viewing::default())),
        "{after}"
    );
}

#[test]
fn a_reading_beyond_every_tile_is_told() {
    let (correction, _) = Correction::fit(&pairs(ALL_FOUR)).expect("a fit");
    let flat = |value| Spectrum::new(400, 10, vec![value; 31], Ends::Refuse).expect("a spectrum");
    let extrapolated = |value| {
        correction
            .apply(&flat(value))
            .expect("the same wavelengths")
            .extrapolated
    };
    assert_eq!(extrapolated(0.5), 0);
    assert_eq!(extrapolated(1.1), 31);
    let dark = correction.apply(&flat(0.0)).expect("the same wavelengths");
    assert!(dark.spectrum.values().iter().all(|value| *value >= 0.0));
}

#[test]
fn a_stored_correction_is_the_same_and_a_broken_one_is_refused() {
    let (correction, _) = Correction::fit(&pairs(ALL_FOUR)).expect("a fit");
    let text = serde_json::to_string(&correction).expect("JSON");
    let again: Correction = serde_json::from_str(&text).expect("a correction");
    assert_eq!(again, correction);
    assert_eq!(again.method(), color::instrument::correction::METHOD);
    let mut value: serde_json::Value = serde_json::from_str(&text).expect("JSON");
    value["own"].as_array_mut().expect("a list").pop();
    let refused = serde_json::from_value::<Correction>(value).unwrap_err();
    assert!(
        refused.to_string().contains("as many coefficients"),
        "{refused}"
    );
}
