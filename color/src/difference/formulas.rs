//! ΔE76, CIE94, CMC(l:c) and CIEDE2000.

use crate::difference::ciede2000::ciede2000;
use crate::lab::Lab;

/// ΔE\*ab of 1976, the plain distance in Lab (ISO/CIE 11664-4).
#[must_use]
pub fn de76(first: Lab, second: Lab) -> f64 {
    let (dl, da, db) = (second.l - first.l, second.a - first.a, second.b - first.b);
    (dl * dl + da * da + db * db).sqrt()
}

/// Parameters of CIE94 by application (CIE 116-1995).
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Application94 {
    /// kL = 1, K1 = 0.045, K2 = 0.015.
    GraphicArts,
    /// kL = 2, K1 = 0.048, K2 = 0.014.
    Textile,
}

/// CIE94 (CIE 116-1995; not an ISO standard). Asymmetric: chroma of the standard weighs.
#[must_use]
pub fn cie94(standard: Lab, sample: Lab, application: Application94) -> f64 {
    let (kl, k1, k2) = match application {
        Application94::GraphicArts => (1.0, 0.045, 0.015),
        Application94::Textile => (2.0, 0.048, 0.014),
    };
    let c1 = standard.chroma();
    let (dl, dc, dh2) = lightness_chroma_hue(standard, sample);
    let sc = 1.0 + k1 * c1;
    let sh = 1.0 + k2 * c1;
    ((dl / kl).powi(2) + (dc / sc).powi(2) + dh2 / (sh * sh)).sqrt()
}

/// CMC(l:c) (BS 6923, ISO 105-J03). Asymmetric. Usual weights: 2:1 for acceptability,
/// 1:1 for perceptibility.
#[must_use]
pub fn cmc(standard: Lab, sample: Lab, lightness: f64, chroma: f64) -> f64 {
    let c1 = standard.chroma();
    let h1 = standard.hue_degrees();
    let (dl, dc, dh2) = lightness_chroma_hue(standard, sample);
    let c4 = c1 * c1 * c1 * c1;
    let f = (c4 / (c4 + 1900.0)).sqrt();
    let t = if (164.0..=345.0).contains(&h1) {
        0.56 + (0.2 * (h1 + 168.0).to_radians().cos()).abs()
    } else {
        0.36 + (0.4 * (h1 + 35.0).to_radians().cos()).abs()
    };
    let sl = if standard.l < 16.0 {
        0.511
    } else {
        0.040_975 * standard.l / (1.0 + 0.017_65 * standard.l)
    };
    let sc = 0.0638 * c1 / (1.0 + 0.0131 * c1) + 0.638;
    let sh = sc * (f * t + 1.0 - f);
    ((dl / (lightness * sl)).powi(2) + (dc / (chroma * sc)).powi(2) + dh2 / (sh * sh)).sqrt()
}

/// ΔL\*, ΔC\*ab and ΔH\*ab² from the first color to the second.
fn lightness_chroma_hue(standard: Lab, sample: Lab) -> (f64, f64, f64) {
    let dl = sample.l - standard.l;
    let dc = sample.chroma() - standard.chroma();
    let (da, db) = (sample.a - standard.a, sample.b - standard.b);
    (dl, dc, (da * da + db * db - dc * dc).max(0.0))
}

/// CIEDE2000 with kL = kC = kH = 1 (ISO/CIE 11664-6; Sharma, Wu, Dalal, Color Res. Appl.
/// 30 (2005) 21).
///
/// Symmetric to the last bit, and the same bits on every platform, as only operations that
/// IEEE 754 rounds correctly are used. This one function defines order wherever colors are
/// ranked. Whether two hues lie more than 180° apart is told by the sign of their cross
/// product, so that exact opposites never depend on how an angle rounds.
///
/// NaN in gives NaN out; [`Lab::new`] keeps NaN from getting here.
#[must_use]
pub fn de2000(first: Lab, second: Lab) -> f64 {
    ciede2000(first.into(), second.into())
}
