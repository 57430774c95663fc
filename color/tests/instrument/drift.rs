//! Tiles over time, and what their temperature does to them.

use color::instrument::drift::{
    ACTION_FACTOR, BASELINE_READINGS, LEAST_SCATTER, NEEDED_READINGS, WARNING_FACTOR, chart, judge,
};
use color::instrument::{Standing, TileHue, TileReading};
use color::{Lab, de76};

use super::simulated::Noise;

const GRAY: Lab = Lab {
    l: 50.0,
    a: 0.0,
    b: 0.0,
};

fn reading(day: i32, l: f64) -> TileReading {
    TileReading {
        lab: Lab { l, ..GRAY },
        temperature_c: None,
        day,
    }
}

/// A normal deviate (Box & Muller 1958).
fn normal(noise: &mut Noise) -> f64 {
    let even = |noise: &mut Noise| (noise.next() + 1.0) / 2.0;
    let (a, b) = (1.0 - even(noise), even(noise));
    (-2.0 * a.max(1e-300).ln()).sqrt() * (std::f64::consts::TAU * b).cos()
}

/// Malkin, Larkin, Verrill, Wardman, J. Soc. Dyers Colour. 113 (1997): every number of the table.
#[test]
fn every_tile_of_the_published_table() {
    let mut reader =
        csv::Reader::from_reader(include_str!("../data/tile_thermochromism_10C.csv").as_bytes());
    let mut seen = Vec::new();
    for row in reader.records() {
        let row = row.expect("a row");
        let hue: TileHue = row[0]
            .to_lowercase()
            .replace(' ', "_")
            .parse()
            .expect("a hue");
        let numbers: Vec<f64> = (1..5).map(|i| row[i].parse().expect("a number")).collect();
        assert_eq!(hue.per_10_c().to_vec(), numbers[..3]);
        let warm = hue.warmed(GRAY, 10.0);
        assert!(
            (de76(GRAY, warm) - numbers[3]).abs() < 6e-4,
            "{hue}: {}",
            de76(GRAY, warm)
        );
        assert!((hue.de76_over(-10.0) - numbers[3]).abs() < 6e-4);
        seen.push(hue);
    }
    assert_eq!(seen, TileHue::ALL);
    let refused = "crimson".parse::<TileHue>().unwrap_err().to_string();
    assert!(
        refused.contains("crimson") && refused.contains("difference_green"),
        "{refused}"
    );
}

/// Quantiles of the normal distribution (any table: 1.95996 for 95 %, 3 for 99.73 %) over the
/// mean of a half-normal one, √(2/π) = 0.797885.
#[test]
fn the_factors_are_those_of_a_half_normal_scatter() {
    let mean = (2.0 / std::f64::consts::PI).sqrt();
    assert!((WARNING_FACTOR - 1.959_964 / mean).abs() < 5e-4);
    assert!((ACTION_FACTOR - 3.0 / mean).abs() < 5e-4);
}

#[test]
fn no_limits_until_there_are_readings_and_days_enough() {
    let days = |count: i32, spread: i32| -> Vec<TileReading> {
        (0..count)
            .map(|i| reading(i % spread, 50.0 + 0.05 * f64::from(i % 2)))
            .collect()
    };
    let first = judge(&[], reading(0, 50.0), None);
    assert_eq!((first.de2000, first.standing), (None, Standing::NotKnown));
    let words = |history: &[TileReading]| {
        let judged = judge(history, reading(9, 52.0), None);
        assert_eq!(judged.standing, Standing::NotKnown);
        assert!(judged.de2000.expect("a difference") > 1.0);
        judged.no_limits_yet.expect("why not").to_string()
    };
    assert_eq!(
        words(&days(9, 9)),
        "no limits yet: 9 of 10 readings, on 9 of 3 days"
    );
    assert_eq!(
        words(&days(12, 2)),
        "no limits yet: 12 of 10 readings, on 2 of 3 days"
    );
    let judged = judge(&days(10, 3), reading(9, 52.0), None);
    assert_eq!(judged.standing, Standing::Action);
    assert_eq!(judged.limits.expect("limits").readings, NEEDED_READINGS);
}

/// By hand: ten readings at L* 49.9 and 50.1 in turn. Around L* 50 ΔE00 of ΔL* is ΔL* ÷ SL, SL = 1
/// at a mean L* of 50, so MCDM is 0.1 (to 3e-4); n = 10 adds √(11/9).
#[test]
fn limits_by_hand() {
    let history: Vec<TileReading> = (0..10)
        .map(|i| reading(i, if i % 2 == 0 { 49.9 } else { 50.1 }))
        .collect();
    let limits = judge(&history, reading(10, 50.0), None)
        .limits
        .expect("limits");
    assert!((limits.mcdm - 0.1).abs() < 3e-4, "{limits:?}");
    let wider = (11.0_f64 / 9.0).sqrt();
    assert!((limits.warning - 0.2456 * wider).abs() < 1e-3);
    assert!((limits.action - 0.3760 * wider).abs() < 1e-3);
    for (l, standing) in [
        (50.2, Standing::Within),
        (50.35, Standing::Warning),
        (49.65, Standing::Warning),
        (50.5, Standing::Action),
    ] {
        assert_eq!(
            judge(&history, reading(10, l), None).standing,
            standing,
            "{l}"
        );
    }
}

/// A tile that always reads the same to the last digit does not cry wolf at the next one.
#[test]
fn scatter_below_the_digits_is_not_believed() {
    let history: Vec<TileReading> = (0..10).map(|i| reading(i, 50.0)).collect();
    let judged = judge(&history, reading(10, 50.0 + LEAST_SCATTER), None);
    assert_eq!(judged.limits.expect("limits").mcdm, 0.0);
    assert_eq!(judged.standing, Standing::Within);
}

/// A history that moved along would hide this: 0.02 a week, each step within the scatter.
#[test]
fn a_slow_drift_is_found() {
    let mut noise = Noise(11);
    let readings: Vec<TileReading> = (0..60)
        .map(|i| {
            reading(
                7 * i,
                50.0 - 0.02 * f64::from((i - 20).max(0)) + 0.03 * normal(&mut noise),
            )
        })
        .collect();
    let judged = chart(&readings, None);
    assert!(
        judged[10..20]
            .iter()
            .all(|drift| drift.standing != Standing::Action)
    );
    assert!(
        judged[45..]
            .iter()
            .all(|drift| drift.standing == Standing::Action)
    );
    let baselines: Vec<usize> = judged[20..]
        .iter()
        .filter_map(|drift| drift.limits.map(|limits| limits.readings))
        .collect();
    assert!(
        baselines
            .iter()
            .all(|readings| *readings == BASELINE_READINGS)
    );
}

/// How often a sound instrument is doubted: about 5 % and 0.3 % when it scatters along one
/// direction (a little more, since MCDM is estimated from 20 readings), less in all directions.
#[test]
fn false_alarms_are_as_rare_as_said() {
    let rates = |directions: usize| {
        let (mut warned, mut alarmed, mut all) = (0, 0, 0);
        let mut noise = Noise(42);
        for _ in 0..400 {
            let mut lab = || {
                let mut off = [0.0; 3];
                for value in off.iter_mut().take(directions) {
                    *value = 0.05 * normal(&mut noise);
                }
                Lab {
                    l: 50.0 + off[0],
                    a: off[1],
                    b: off[2],
                }
            };
            let readings: Vec<TileReading> = (0..45)
                .map(|day| TileReading {
                    lab: lab(),
                    temperature_c: None,
                    day,
                })
                .collect();
            for drift in &chart(&readings, None)[20..] {
                all += 1;
                warned += i32::from(drift.standing != Standing::Within);
                alarmed += i32::from(drift.standing == Standing::Action);
            }
        }
        (
            f64::from(warned) / f64::from(all),
            f64::from(alarmed) / f64::from(all),
        )
    };
    let (warned, alarmed) = rates(1);
    assert!((0.03..0.08).contains(&warned), "{warned}");
    assert!(alarmed < 0.012, "{alarmed}");
    let (warned, alarmed) = rates(3);
    assert!(warned < 0.02 && alarmed < 0.001, "{warned} {alarmed}");
}

/// A red tile read 6 °C warmer than usual: ΔE76 0.6 is expected, and once that is reckoned with,
/// little is left; a gray one shows nothing worth telling.
#[test]
fn warmth_explains_a_red_tile_and_not_a_gray_one() {
    let red = Lab {
        l: 45.0,
        a: 52.0,
        b: 26.0,
    };
    let at = |lab: Lab, day: i32, celsius: f64| TileReading {
        lab,
        temperature_c: Some(celsius),
        day,
    };
    let history: Vec<TileReading> = (0..12)
        .map(|day| {
            let off = if day % 2 == 0 { 0.02 } else { -0.02 };
            at(
                Lab {
                    l: red.l + off,
                    ..red
                },
                day,
                22.0,
            )
        })
        .collect();
    let warm = TileHue::Red.warmed(red, 6.0);
    let judged = judge(&history, at(warm, 20, 28.0), Some(TileHue::Red));
    assert_eq!(judged.standing, Standing::Action);
    let told = judged.warmth.expect("told");
    assert!((told.warmer_c - 6.0).abs() < 1e-9);
    assert!((told.expected_de76 - 0.604).abs() < 1e-3, "{told:?}");
    assert!(told.de2000_at_temperature < 1e-6);
    assert!(
        judge(&history, at(warm, 20, 22.5), Some(TileHue::Red))
            .warmth
            .is_none()
    );
    assert!(
        judge(&history, at(warm, 20, 28.0), Some(TileHue::MidGray))
            .warmth
            .is_none()
    );
    assert!(judge(&history, at(warm, 20, 28.0), None).warmth.is_none());
    let unknown = TileReading {
        temperature_c: None,
        ..at(warm, 20, 28.0)
    };
    assert!(
        judge(&history, unknown, Some(TileHue::Red))
            .warmth
            .is_none()
    );
}
