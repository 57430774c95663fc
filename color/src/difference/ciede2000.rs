//! CIEDE2000 by additions, multiplications, divisions and square roots alone.
//!
//! IEEE 754 fixes the result of these to the last bit, so a difference is the same number on
//! every machine and in every lane of a vector; `sin`, `cos`, `exp` and `atan2` come from
//! each system's own library, and colors that tie on one machine would swap on another. Hues
//! enter as unit vectors: the mean hue is the bisector of two, cosines of its multiples are
//! polynomials, and its angle from 275° is needed only squared, which is a power series.
//!
//! Nothing branches, so a loop over many colors compiles to vector instructions.

use std::ops::{Add, BitAnd, BitOr, Div, Mul, Neg, Sub};

use fearless_simd::{Select, Simd, SimdBase, SimdFloat, f32x16, f64x8, mask32x16, mask64x8};

/// One number or a vector of them: `f64`, which defines the difference and gives the same
/// bits alone and in vectors, or `f32`, which only sorts out candidates.
pub(crate) trait Real:
    Copy
    + Add<Output = Self>
    + Sub<Output = Self>
    + Mul<Output = Self>
    + Div<Output = Self>
    + Neg<Output = Self>
{
    /// Answers of a comparison, one a number.
    type Mask: Copy + BitAnd<Output = Self::Mask> + BitOr<Output = Self::Mask>;
    /// Whether series may end early and products be fused with sums.
    const ROUGH: bool;

    /// A constant, in all lanes.
    fn same(self, value: f64) -> Self;
    fn root(self) -> Self;
    /// `self · factor + term`, rounded twice unless [`Self::ROUGH`].
    fn times_plus(self, factor: Self, term: Self) -> Self;
    fn above(self, other: Self) -> Self::Mask;
    fn at_least(self, other: Self) -> Self::Mask;
    fn choose(mask: Self::Mask, yes: Self, no: Self) -> Self;
}

impl Real for f64 {
    type Mask = bool;
    const ROUGH: bool = false;

    #[inline(always)]
    fn same(self, value: f64) -> Self {
        value
    }
    #[inline(always)]
    fn root(self) -> Self {
        self.sqrt()
    }
    #[inline(always)]
    fn times_plus(self, factor: Self, term: Self) -> Self {
        self * factor + term
    }
    #[inline(always)]
    fn above(self, other: Self) -> bool {
        self > other
    }
    #[inline(always)]
    fn at_least(self, other: Self) -> bool {
        self >= other
    }
    #[inline(always)]
    fn choose(mask: bool, yes: Self, no: Self) -> Self {
        if mask { yes } else { no }
    }
}

impl<S: Simd> Real for f64x8<S> {
    type Mask = mask64x8<S>;
    const ROUGH: bool = false;

    #[inline(always)]
    fn same(self, value: f64) -> Self {
        Self::splat(self.simd, value)
    }
    #[inline(always)]
    fn root(self) -> Self {
        self.sqrt()
    }
    #[inline(always)]
    fn times_plus(self, factor: Self, term: Self) -> Self {
        self * factor + term
    }
    #[inline(always)]
    fn above(self, other: Self) -> Self::Mask {
        self.simd_gt(other)
    }
    #[inline(always)]
    fn at_least(self, other: Self) -> Self::Mask {
        self.simd_ge(other)
    }
    #[inline(always)]
    fn choose(mask: Self::Mask, yes: Self, no: Self) -> Self {
        mask.select(yes, no)
    }
}

impl<S: Simd> Real for f32x16<S> {
    type Mask = mask32x16<S>;
    const ROUGH: bool = true;

    #[inline(always)]
    fn same(self, value: f64) -> Self {
        Self::splat(self.simd, value as f32)
    }
    #[inline(always)]
    fn root(self) -> Self {
        self.sqrt()
    }
    #[inline(always)]
    fn times_plus(self, factor: Self, term: Self) -> Self {
        self.mul_add(factor, term)
    }
    #[inline(always)]
    fn above(self, other: Self) -> Self::Mask {
        self.simd_gt(other)
    }
    #[inline(always)]
    fn at_least(self, other: Self) -> Self::Mask {
        self.simd_ge(other)
    }
    #[inline(always)]
    fn choose(mask: Self::Mask, yes: Self, no: Self) -> Self {
        mask.select(yes, no)
    }
}

/// 25⁷, the chroma constant.
const CHROMA_CONSTANT: f64 = 6_103_515_625.0;

/// arcsin²√w / w = Σ 2²ⁿ⁻¹ wⁿ⁻¹ / (n² (2n choose n)), from n = 1.
const ARCSINE_SQUARED: [f64; 14] = [
    1.0,
    0.333_333_333_333_333_3,
    0.177_777_777_777_777_77,
    0.114_285_714_285_714_3,
    0.081_269_841_269_841_27,
    0.061_568_061_568_061_57,
    0.048_713_191_570_334_43,
    0.039_782_439_782_439_78,
    0.033_282_041_125_178_38,
    0.028_377_319_275_152_094,
    0.024_569_107_597_534_28,
    0.021_542_478_400_736_58,
    0.019_089_950_090_498_877,
    0.017_069_849_551_821_746,
];

/// eˣ.
const EXPONENTIAL: [f64; 13] = [
    1.0,
    1.0,
    0.5,
    1.0 / 6.0,
    1.0 / 24.0,
    1.0 / 120.0,
    1.0 / 720.0,
    1.0 / 5_040.0,
    1.0 / 40_320.0,
    1.0 / 362_880.0,
    1.0 / 3_628_800.0,
    1.0 / 39_916_800.0,
    1.0 / 479_001_600.0,
];

/// sin √x / √x.
const SINE: [f64; 9] = [
    1.0,
    -1.0 / 6.0,
    1.0 / 120.0,
    -1.0 / 5_040.0,
    1.0 / 362_880.0,
    -1.0 / 39_916_800.0,
    1.0 / 6_227_020_800.0,
    -1.0 / 1_307_674_368_000.0,
    1.0 / 355_687_428_096_000.0,
];

/// 1 + G by the mean of both C\*ab: the stretch of the a\* axis, 1 to 1.5.
#[inline(always)]
pub(crate) fn stretch<T: Real>(mean_chroma: T) -> T {
    saturation(mean_chroma).times_plus(mean_chroma.same(-0.5), mean_chroma.same(1.5))
}

/// √(C⁷/(C⁷ + 25⁷)), 0 to 1: half of R_C, and what G is made of.
#[inline(always)]
pub(crate) fn saturation<T: Real>(chroma: T) -> T {
    let c2 = chroma * chroma;
    let c7 = (c2 * c2) * (c2 * chroma);
    (c7 / (c7 + chroma.same(CHROMA_CONSTANT))).root()
}

/// S_L by the mean L\*, as a fraction: numerator and denominator.
#[inline(always)]
pub(crate) fn lightness_weight<T: Real>(mean_l: T) -> (T, T) {
    let off = mean_l - mean_l.same(50.0);
    let square = off * off;
    let root = (mean_l.same(20.0) + square).root();
    (square.times_plus(mean_l.same(0.015), root), root)
}

/// T by cosine and sine of the mean hue.
#[inline(always)]
pub(crate) fn hue_weight<T: Real>(cos: T, sin: T) -> T {
    let n = |value| cos.same(value);
    let (cos2, sin2) = ((cos + cos).times_plus(cos, n(-1.0)), (sin + sin) * cos);
    let cos3 = cos2 * cos - sin2 * sin;
    let sin3 = sin2 * cos + cos2 * sin;
    let (cos4, sin4) = (
        (cos2 + cos2).times_plus(cos2, n(-1.0)),
        (sin2 + sin2) * cos2,
    );
    // Cosine and sine of 30°, 6° and 63°, times the weight of each term.
    let first = cos * n(-0.17 * 0.866_025_403_784_438_6) + sin * n(-0.17 * 0.5);
    let third =
        cos3 * n(0.32 * 0.994_521_895_368_273_3) + sin3 * n(-0.32 * 0.104_528_463_267_653_47);
    let fourth =
        cos4 * n(-0.2 * 0.453_990_499_739_546_8) + sin4 * n(-0.2 * 0.891_006_524_188_367_9);
    (first + cos2.times_plus(n(0.24), n(1.0))) + (third + fourth)
}

/// sin 2Δθ by cosine and sine of the mean hue: the turn in the blues, 0 to sin 60°.
#[inline(always)]
pub(crate) fn blue_turn<T: Real>(cos: T, sin: T) -> T {
    let n = |value| cos.same(value);
    let (zero, one) = (n(0.0), n(1.0));
    // With φ the angle from 275°: sin²(φ/2) from the chord, then halved twice without
    // cancellation, so that the series converges up to φ = 180°.
    let dx = cos - n(0.087_155_742_747_658_17);
    let dy = sin + n(0.996_194_698_091_745_5);
    let chord = n(0.25) * (dx * dx + dy * dy);
    // φ² = 4ᵏ·arcsin²√w with w = sin²(φ/2ᵏ). The rough way is 1 % off at t = 23, where it
    // no longer matters.
    let (w, scale) = if T::ROUGH {
        (chord, -4.0)
    } else {
        let rest = one - chord;
        let rest = T::choose(rest.above(zero), rest, zero);
        let quartered = n(0.5) * chord / (one + rest.root());
        let halved = n(0.5) * quartered / (one + (one - quartered).root());
        (halved, -64.0)
    };
    let terms = if T::ROUGH { [10, 6, 5] } else { [14, 13, 9] };
    // t = (φ/25°)²; e⁻ᵗ is taken as (e^(−t/64))⁶⁴.
    let degrees_25 = 25.0 * std::f64::consts::PI / 180.0;
    let t =
        w * n(scale / 64.0 / (degrees_25 * degrees_25)) * series(w, &ARCSINE_SQUARED[..terms[0]]);
    let mut e = series(t, &EXPONENTIAL[..terms[1]]);
    for _ in 0..6 {
        e = e * e;
    }
    let angle = n(std::f64::consts::FRAC_PI_3) * e;
    let turn = angle * series(angle * angle, &SINE[..terms[2]]);
    // Hues count from 0° without wrapping: from 0° to 90° the mean is 185° or more below 275°.
    T::choose(cos.above(zero) & sin.at_least(zero), zero, turn)
}

/// A polynomial by its coefficients, the constant first; even and odd powers run side by side.
#[inline(always)]
fn series<T: Real>(x: T, coefficients: &[f64]) -> T {
    let square = x * x;
    let (mut even, mut odd) = (x.same(0.0), x.same(0.0));
    let (mut first_even, mut first_odd) = (true, true);
    for (power, coefficient) in coefficients.iter().enumerate().rev() {
        let (sum, first) = if power % 2 == 0 {
            (&mut even, &mut first_even)
        } else {
            (&mut odd, &mut first_odd)
        };
        *sum = if *first {
            x.same(*coefficient)
        } else {
            sum.times_plus(square, x.same(*coefficient))
        };
        *first = false;
    }
    odd.times_plus(x, even)
}

/// ΔE00 of two colors `[L, a, b]`; NaN in gives NaN out.
///
/// In `f32` nearly opposite hues may get the wrong one of two mean hues; see [`opposite`].
#[inline(always)]
pub(crate) fn ciede2000<T: Real>(first: [T; 3], second: [T; 3]) -> T {
    let [l1, a1, b1] = first;
    let [l2, a2, b2] = second;
    let n = |value| l1.same(value);
    let (zero, half, one) = (n(0.0), n(0.5), n(1.0));
    let (dl, da, db) = (l2 - l1, a2 - a1, b2 - b1);
    let (sum_a, sum_b) = (a1 + a2, b1 + b2);

    let (bb1, bb2) = (b1 * b1, b2 * b2);
    let mean_chroma = half * (a1.times_plus(a1, bb1).root() + a2.times_plus(a2, bb2).root());
    let s = stretch(mean_chroma);
    let (p1, p2) = (s * a1, s * a2);
    let c1 = p1.times_plus(p1, bb1).root();
    let c2 = p2.times_plus(p2, bb2).root();
    let sum_chroma = c1 + c2;
    let mean_c = half * sum_chroma;
    // C2'² − C1'² = ΔC'·(C2' + C1'), since the difference itself cancels.
    let squares = (s * s) * (da * sum_a) + db * sum_b;

    // A neutral has no hue; then ΔH' is 0, and nothing that depends on hue counts.
    let product = c1 * c2;
    let inverse = T::choose(product.above(zero), one / product, zero);
    let (i1, i2) = (c2 * inverse, c1 * inverse);
    let (x1, y1, x2, y2) = (p1 * i1, b1 * i1, p2 * i2, b2 * i2);
    let acute = (x1 * x2 + y1 * y2).at_least(zero);
    // a1'·b2 − b1·a2' has the sign of sin(h2 − h1); exact for opposite colors stored as f32.
    let cross = (s * half) * (sum_a * db - sum_b * da);
    // Exact opposites: the mean of both hues as numbers, which is 90° to 270°.
    let upper = b1.above(zero) | (b1.at_least(zero) & a1.above(zero));
    let ahead = cross.above(zero) | (cross.at_least(zero) & upper);
    let turn = T::choose(ahead, one, -one);

    let bx = T::choose(acute, x1 + x2, turn * (y2 - y1));
    let by = T::choose(acute, y1 + y2, turn * (x1 - x2));
    let length = bx.times_plus(bx, by * by).root();
    let unit = T::choose(length.above(zero), one / length, zero);
    let (cos, sin) = (bx * unit, by * unit);

    // ΔH' = 2√(C1'C2')·sin((h2 − h1)/2): below 90° by the cross product, which keeps small
    // differences exact, else by the chord of the unit vectors, whose length is `length`.
    let narrow = (cross + cross) * unit * inverse;
    let dh = product.root() * T::choose(acute, narrow, turn * length);

    let sc = mean_c.times_plus(n(0.045), one);
    let sh = (mean_c * n(0.015)).times_plus(hue_weight(cos, sin), one);
    let rt = (saturation(mean_c) + saturation(mean_c)) * blue_turn(cos, sin);
    // ΔL'/S_L, ΔC'/S_C and ΔH'/S_H by one division.
    let (sl, sl_below) = lightness_weight(half * (l1 + l2));
    let sum_sc = sc * T::choose(sum_chroma.above(zero), sum_chroma, one);
    let over = one / (sl * (sum_sc * sh));
    let x = (dl * sl_below) * ((sum_sc * sh) * over);
    let y = squares * ((sl * sh) * over);
    let z = dh * ((sl * sum_sc) * over);
    let square = (x.times_plus(x, y * y) + z * z) - rt * (y * z);
    // R_T is above −2, so the form is positive; rounding may still go below zero.
    T::choose(zero.above(square), zero, square).root()
}
