//! Axes that end on round numbers.

use std::sync::Arc;

use super::Axis;

/// An axis over all values, some five steps of 1, 2 or 5 times a power of ten. Without values, or with one only, it
/// spans one step around it. `least` is the smallest span worth looking at: a finer one would show noise as if it were
/// something.
pub(super) fn over(label: &str, values: impl IntoIterator<Item = f64>, least: f64) -> Axis {
    let (mut low, mut high) = (f64::INFINITY, f64::NEG_INFINITY);
    for value in values.into_iter().filter(|value| value.is_finite()) {
        low = low.min(value);
        high = high.max(value);
    }
    if low > high {
        (low, high) = (0.0, least);
    }
    if high - low < least {
        let middle = f64::midpoint(low, high);
        (low, high) = if low >= 0.0 && middle < least / 2.0 {
            (0.0, least)
        } else {
            (middle - least / 2.0, middle + least / 2.0)
        };
    }
    let step = round_step((high - low) / 5.0);
    let from = (low / step + 1e-9).floor() * step;
    let to = (high / step - 1e-9).ceil() * step;
    axis(label.to_owned(), from, to, step)
}

fn axis(label: String, from: f64, to: f64, step: f64) -> Axis {
    let decimals = decimals(step);
    Axis {
        label,
        from,
        to,
        step,
        written: Arc::new(move |value| {
            // Adding zero turns -0.0 into 0.0.
            let rounded = (value / step).round() * step + 0.0;
            format!("{rounded:.decimals$}")
        }),
    }
}

impl Axis {
    /// The same axis with other steps, where it ends on them and has more than two.
    pub(super) fn stepping(self, step: f64) -> Self {
        let whole = |value: f64| (value / step - (value / step).round()).abs() < 1e-9;
        if whole(self.from) && whole(self.to) && self.to - self.from > 2.0 * step {
            axis(self.label, self.from, self.to, step)
        } else {
            self
        }
    }
}

/// The next of 1, 2, 5 times a power of ten.
fn round_step(raw: f64) -> f64 {
    let power = 10f64.powf(raw.log10().floor());
    let times = raw / power;
    let round = [1.0, 2.0, 5.0]
        .into_iter()
        .find(|round| times <= round * (1.0 + 1e-9))
        .unwrap_or(10.0);
    round * power
}

#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "between 0 and 9 after the clamp"
)]
fn decimals(step: f64) -> usize {
    (-step.log10().floor()).clamp(0.0, 9.0) as usize
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ticks(values: &[f64], least: f64) -> Vec<String> {
        let axis = over("", values.iter().copied(), least);
        axis.ticks().map(|tick| (axis.written)(tick)).collect()
    }

    #[test]
    fn axes_end_on_round_numbers_around_all_values() {
        assert_eq!(ticks(&[3.1, 68.7], 1.0), ["0", "20", "40", "60", "80"]);
        assert_eq!(
            ticks(&[-0.013, 0.021], 0.01),
            ["-0.02", "-0.01", "0.00", "0.01", "0.02", "0.03"]
        );
        assert_eq!(ticks(&[400.0, 700.0], 1.0).first().unwrap(), "400");
        assert_eq!(ticks(&[400.0, 700.0], 1.0).last().unwrap(), "700");
    }

    #[test]
    fn few_or_equal_values_still_make_an_axis() {
        assert_eq!(ticks(&[], 1.0), ["0.0", "0.2", "0.4", "0.6", "0.8", "1.0"]);
        assert_eq!(ticks(&[0.0, 0.0], 1.0).first().unwrap(), "0.0");
        let axis = over("", [50.0], 1.0);
        assert!(axis.from <= 49.5 && axis.to >= 50.5);
        assert!(ticks(&[f64::NAN, 2.0, 3.0], 0.1).contains(&"3.0".to_owned()));
    }
}
