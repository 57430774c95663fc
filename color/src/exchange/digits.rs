//! Numbers as written, and how they move between percent and fraction without losing a digit.

use crate::exchange::Scale;

/// A number with a decimal point or comma, and whether it was a comma.
pub(super) fn number(text: &str) -> Option<(f64, bool)> {
    let text = text.trim();
    match text.split_once(',') {
        None => text.parse().ok().map(|value| (value, false)),
        Some((_, rest)) if rest.contains(',') || text.contains('.') => None,
        Some((whole, rest)) => format!("{whole}.{rest}")
            .parse()
            .ok()
            .map(|value| (value, true)),
    }
}

/// A number's digits as a fraction with a decimal point: of a percentage the point moves two
/// places, so that no digit is rounded. The text is one that [`number`] takes.
pub(super) fn fraction_text(text: &str, scale: Scale) -> String {
    let text = text.trim().replace(',', ".");
    if scale == Scale::Fraction {
        return text;
    }
    if let Some((mantissa, exponent)) = text.split_once(['e', 'E']) {
        // An exponent that does not fit stands for 0 or for no finite number; both stay so.
        return match exponent.parse::<i64>() {
            Ok(exponent) => format!("{mantissa}e{}", exponent.saturating_sub(2)),
            Err(_) => text,
        };
    }
    let bare = text.trim_start_matches(['+', '-']);
    let sign = &text[..text.len() - bare.len()];
    let (whole, rest) = bare.split_once('.').unwrap_or((bare, ""));
    let whole = format!("{whole:0>3}");
    let (before, moved) = whole.split_at(whole.len() - 2);
    format!("{sign}{before}.{moved}{rest}")
}

/// The value as a fraction, rounded once, from its digits.
pub(super) fn fraction(text: &str, scale: Scale) -> f64 {
    fraction_text(text, scale).parse().unwrap_or(f64::NAN)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_percentage_moves_its_point() {
        for (percent, wanted) in [
            ("19.23", "0.1923"),
            ("5.10", "0.0510"),
            ("100", "1.00"),
            ("0", "0.00"),
            ("0,5", "0.005"),
            (".5", "0.005"),
            ("-0.40", "-0.0040"),
            ("+12.", "+0.12"),
            ("123.456", "1.23456"),
            ("1.5e1", "1.5e-1"),
            ("1.5E+01", "1.5e-1"),
        ] {
            assert_eq!(fraction_text(percent, Scale::Percent), wanted, "{percent}");
            let value = number(percent).expect("a number").0;
            let moved = fraction(percent, Scale::Percent);
            assert!((moved - value / 100.0).abs() < 1e-15, "{percent}: {moved}");
        }
        assert_eq!(fraction_text(" 0,1923 ", Scale::Fraction), "0.1923");
    }
}
