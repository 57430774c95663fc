//! Kubelka–Munk theory against closed forms and an independent table.

use color::kubelka_munk::{
    MixError, OpticalConstants, Saunderson, Specular, film_reflectance, k_over_s, r_infinity,
};
use color::{Ends, Grid, Spectrum};

fn rows(text: &str) -> Vec<csv::StringRecord> {
    let mut reader = csv::ReaderBuilder::new()
        .comment(Some(b'#'))
        .from_reader(text.as_bytes());
    reader
        .records()
        .map(|row| row.expect("a readable row"))
        .collect()
}

fn numbers(row: &csv::StringRecord) -> Vec<f64> {
    row.iter().filter_map(|cell| cell.parse().ok()).collect()
}

#[track_caller]
fn near(got: f64, want: f64, by: f64) {
    assert!((got - want).abs() <= by, "{got} for {want}");
}

/// Kubelka & Munk 1931, closed form; ISO 18314-2.
#[test]
fn k_over_s_and_back() {
    let rows = rows(include_str!("data/km_ks_table.csv"));
    assert_eq!(rows.len(), 100);
    for row in rows {
        let [r, q] = numbers(&row)[..] else {
            panic!("{row:?}")
        };
        near(k_over_s(r), q, 1e-9);
        near(r_infinity(k_over_s(r)), r, 1e-9);
    }
}

#[test]
fn deep_blacks_keep_their_digits() {
    for q in [0.0, 1e-12, 1e-3, 1.0, 1e3, 1e6, 1e9, 1e12] {
        let back = k_over_s(r_infinity(q));
        near(back, q, q * 1e-9 + 1e-12);
    }
    let q: f64 = 1e9;
    let usual = 1.0 + q - (q * q + 2.0 * q).sqrt();
    assert!(
        (usual / r_infinity(q) - 1.0).abs() > 0.1,
        "the usual form was fine: {usual}"
    );
    assert_eq!(r_infinity(f64::INFINITY), 0.0);
}

/// Kubelka, J. Opt. Soc. Am. 38 (1948) 448, closed form.
#[test]
fn finite_films() {
    let rows = rows(include_str!("data/km_finite_film.csv"));
    assert_eq!(rows.len(), 10);
    for row in rows {
        let v = numbers(&row);
        let (q, sx, black) = (k_over_s(v[0]), v[2], v[5]);
        near(q, v[1], 1e-8);
        // Any split of SX into S and X is the same film.
        for s in [1.0, 0.01, 40.0] {
            let film = |backing| film_reflectance(q * s, s, sx / s, backing);
            near(film(0.0), black, 1e-8);
            for (backing, want) in [(0.05, v[7]), (0.80, v[8]), (0.89, v[9]), (1.0, v[10])] {
                near(film(backing), want, 1e-8);
            }
            near(film(0.0) / film(0.80), v[11], 1e-8);
            near(film(0.0) / film(0.89), v[12], 1e-8);
        }
    }
}

#[test]
fn films_at_their_limits() {
    // Nothing applied, or a film so thick that coth and exp would overflow.
    near(film_reflectance(0.3, 2.0, 0.0, 0.8), 0.8, 0.0);
    near(
        film_reflectance(0.3, 2.0, 1e6, 0.8),
        r_infinity(0.15),
        1e-12,
    );
    // K → 0: ((1−Rg)SX + Rg)/((1−Rg)SX + 1), and no jump on the way there.
    for k in [0.0, 1e-300, 1e-18, 1e-12, 1e-9] {
        near(
            film_reflectance(k, 2.0, 1.5, 0.2),
            (0.8 * 3.0 + 0.2) / (0.8 * 3.0 + 1.0),
            1e-7,
        );
    }
    // S → 0: Rg·exp(−2KX).
    for s in [0.0, 1e-300, 1e-12] {
        near(
            film_reflectance(0.7, s, 0.5, 0.9),
            0.9 * (-0.7f64).exp(),
            1e-9,
        );
    }
    near(film_reflectance(0.0, 0.0, 1.0, 0.4), 0.4, 0.0);
    // Thin films: Kubelka's form as printed, with coth, from where the series ends.
    for (k, x, backing) in [(1e-3, 0.5, 0.8), (1e-4, 1.0, 0.05), (1e-8, 2.0, 0.5)] {
        let a: f64 = 1.0 + k;
        let b = (a * a - 1.0).sqrt();
        let b_coth = b / (b * x).tanh();
        let printed = (1.0 - backing * (a - b_coth)) / (a - backing + b_coth);
        near(film_reflectance(k, 1.0, x, backing), printed, 1e-11);
    }
}

/// Test table of the open-source library Unicolour (MIT), "calculated independently": three
/// pigments at five wavelengths, specular excluded, k1 = 0.033, k2 = 0.66.
#[test]
fn mixtures_of_three_pigments() {
    let k = [
        [1.0, 0.5, 1.0, 0.5, 1.0],
        [1.0, 1.0, 0.25, 0.5, 0.5],
        [1.0, 1.0, 0.75, 0.25, 0.25],
    ];
    let s = [
        [0.2, 0.4, 0.6, 0.8, 1.0],
        [1.0, 0.8, 0.6, 0.4, 0.2],
        [0.2, 0.8, 0.2, 0.8, 0.2],
    ];
    // A grid reaches from 440 to 660 nm at least, so the five values stand at its beginning.
    let grid = Grid::new(400, 20, 16).unwrap();
    let pigments: Vec<OpticalConstants> = (0..3)
        .map(|pigment| {
            let fill = |five: [f64; 5]| (0..16).map(|i| five[i % 5]).collect();
            OpticalConstants::new(grid, fill(k[pigment]), fill(s[pigment])).unwrap()
        })
        .collect();
    let surface = Saunderson::new(0.033, 0.66, Specular::Excluded).unwrap();
    let rows = rows(include_str!("data/km_vectors_unicolour.csv"));
    assert_eq!(rows.len(), 18);
    for row in rows {
        let v = numbers(&row);
        let parts: Vec<_> = v[..3].iter().copied().zip(&pigments).collect();
        let spectrum = OpticalConstants::mix(&parts)
            .unwrap()
            .opaque_spectrum(surface)
            .unwrap();
        for (got, want) in spectrum.values().iter().zip(&v[3..8]) {
            match &row[3] {
                "Rm_spex" => near(*got, *want, 1e-12),
                "Rinf" => near(surface.internal(*got), *want, 1e-12),
                other => panic!("{other}"),
            }
        }
    }
}

/// Saunderson 1942: the coefficients of n = 1.5 from Fresnel's equations.
#[test]
fn surface_correction() {
    let n: f64 = 1.5;
    near(((n - 1.0) / (n + 1.0)).powi(2), 0.04, 1e-12);
    let included = Saunderson::of_index_1_5(Specular::Included);
    let excluded = Saunderson::of_index_1_5(Specular::Excluded);
    near(included.measured(0.0), 0.04, 1e-15);
    near(included.measured(1.0), 1.0, 1e-15);
    near(excluded.measured(0.0), 0.0, 0.0);
    near(excluded.measured(1.0), 0.96, 1e-15);
    for i in 0..=100 {
        let r = f64::from(i) / 100.0;
        near(included.measured(r) - excluded.measured(r), 0.04, 1e-15);
        near(included.internal(included.measured(r)), r, 1e-12);
        near(excluded.internal(excluded.measured(r)), r, 1e-12);
    }
    for (k1, k2) in [
        (-0.1, 0.5),
        (1.0, 0.5),
        (0.04, 1.0),
        (f64::NAN, 0.5),
        (0.04, f64::NAN),
    ] {
        assert!(
            Saunderson::new(k1, k2, Specular::Included).is_err(),
            "{k1} {k2}"
        );
    }
}

#[test]
fn a_film_over_a_chart() {
    let grid = Grid::new(400, 10, 31).unwrap();
    let paint = OpticalConstants::new(grid, vec![0.02; 31], vec![1.0; 31]).unwrap();
    let surface = Saunderson::of_index_1_5(Specular::Included);
    let chart = |value| Spectrum::new(400, 10, vec![value; 31], Ends::Refuse).unwrap();
    let over = |thickness, value| {
        paint
            .film_spectrum(thickness, &chart(value), surface)
            .unwrap()
            .values()[7]
    };
    near(over(0.0, 0.8), 0.8, 1e-12);
    assert!(over(2.0, 0.05) < over(2.0, 0.8), "not opaque yet");
    let opaque = paint.opaque_spectrum(surface).unwrap().values()[7];
    near(over(200.0, 0.05), opaque, 1e-9);
    near(over(200.0, 0.8), opaque, 1e-9);
    let other = Spectrum::new(400, 20, vec![0.8; 16], Ends::Refuse).unwrap();
    assert!(matches!(
        paint.film_spectrum(1.0, &other, surface),
        Err(MixError::Grids { .. })
    ));
    for thickness in [-1.0, f64::NAN, f64::INFINITY] {
        let refused = paint.film_spectrum(thickness, &chart(0.8), surface);
        assert!(matches!(refused, Err(MixError::Thickness { .. })));
    }
    // Specular included, nothing reads less than the surface mirrors.
    let refused = paint.film_spectrum(1.0, &chart(0.03), surface);
    assert_eq!(
        refused,
        Err(MixError::Backing {
            nm: 400.0,
            value: 0.03
        })
    );
}

#[test]
fn what_is_no_mixture_is_refused() {
    let grid = Grid::new(400, 10, 31).unwrap();
    let flat = |k, s| OpticalConstants::new(grid, vec![k; 31], vec![s; 31]);
    for (k, s, field) in [
        (-0.1, 1.0, "K"),
        (0.1, f64::NAN, "S"),
        (f64::INFINITY, 1.0, "K"),
    ] {
        let error = flat(k, s).unwrap_err();
        assert!(matches!(&error, MixError::Constant { field: f, nm: 400.0, .. } if *f == field));
    }
    assert_eq!(flat(0.0, 0.0).unwrap_err(), MixError::Nothing { nm: 400.0 });
    let short = OpticalConstants::new(grid, vec![0.1; 30], vec![0.1; 31]).unwrap_err();
    assert_eq!(
        short,
        MixError::Length {
            field: "K",
            found: 30,
            expected: 31
        }
    );
    let (base, black) = (flat(0.01, 1.0).unwrap(), flat(9.0, 0.1).unwrap());
    assert_eq!(OpticalConstants::mix(&[]).unwrap_err(), MixError::Empty);
    let error = OpticalConstants::mix(&[(0.9, &base), (0.2, &black)]).unwrap_err();
    assert!(
        error.to_string().contains("count base and colorants"),
        "{error}"
    );
    for share in [-0.1, f64::NAN] {
        let error = OpticalConstants::mix(&[(1.0, &base), (share, &black)]).unwrap_err();
        assert!(matches!(error, MixError::Share { index: 1, .. }));
    }
    let coarse = Grid::new(400, 20, 16).unwrap();
    let other = OpticalConstants::new(coarse, vec![0.1; 16], vec![0.1; 16]).unwrap();
    let error = OpticalConstants::mix(&[(0.5, &base), (0.5, &other)]).unwrap_err();
    assert!(matches!(error, MixError::Grids { .. }));
}
