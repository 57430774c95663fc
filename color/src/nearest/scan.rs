//! The full scan: every point is either ruled out by a lower bound of its ΔE00 or compared.

use crate::difference::de2000;
use crate::lab::Lab;
use crate::nearest::ranking::Ranking;
use crate::nearest::{Hit, Library};

/// Points per block: small enough that the bounds stay in the nearest cache.
const BLOCK: usize = 256;

/// 1 − √3/2, the least eigenvalue of y² + z² + R_T·y·z, as |R_T| ≤ 2 sin 60°; rounded down.
const LEAST_EIGENVALUE: f64 = 0.133_974_596;

impl Library {
    /// Offers every point that the filter lets through and that could be kept.
    pub(super) fn scan(&self, query: Lab, ranking: &mut Ranking, filter: impl Fn(u32) -> bool) {
        let bound = Bound::new(query);
        let mut excess = [0.0; BLOCK];
        for start in (0..self.ids.len()).step_by(BLOCK) {
            let end = (start + BLOCK).min(self.ids.len());
            let columns = Columns {
                l: &self.l[start..end],
                a: &self.a[start..end],
                b: &self.b[start..end],
                chroma: &self.chroma[start..end],
            };
            bound.excess(columns, ranking.reach(), &mut excess);
            for (index, excess) in (start..end).zip(&excess) {
                // False for NaN, which marks removed points.
                if *excess <= 0.0 {
                    let ordinal = index as u32;
                    if filter(ordinal) {
                        let lab = self.at(index);
                        let hit = Hit {
                            ordinal,
                            id: self.ids[index],
                            lab,
                            de2000: de2000(query, lab),
                        };
                        ranking.offer(hit);
                    }
                }
            }
        }
    }
}

#[derive(Clone, Copy)]
struct Columns<'a> {
    l: &'a [f32],
    a: &'a [f32],
    b: &'a [f32],
    chroma: &'a [f32],
}

/// A lower bound of ΔE00 from one query without trigonometry or roots.
///
/// ΔE00² = x² + y² + z² + R_T·y·z with x = ΔL/S_L, y = ΔC'/S_C, z = ΔH'/S_H. Because
/// |R_T| ≤ √3, it is at least x² + (1 − √3/2)(y² + z²). S_H ≤ S_C (T < 2), and
/// ΔC'² + ΔH'² = s²Δa² + Δb² ≥ Δa² + Δb², as the stretch s = 1 + G is between 1 and 1.5.
/// S_C = 1 + 0.045·C̄' with C̄' ≤ 1.5·C̄, and S_L ≤ 1 + 0.015·|L̄ − 50|. So
///
/// ΔE00² ≥ (ΔL / (1 + 0.015·|L̄ − 50|))² + (1 − √3/2)·(Δa² + Δb²) / (1 + 0.0675·C̄)².
struct Bound {
    query: Lab,
    chroma: f64,
}

impl Bound {
    /// Slack for the rounding of `f32` chroma.
    const CHROMA_SLACK: f64 = 1.0 + 1e-6;
    /// Slack for rounding in the bound and in ΔE00, whose hue term has an absolute error.
    const RELATIVE: f64 = 1.0 + 1e-9;
    const ABSOLUTE: f64 = 1e-9;

    fn new(query: Lab) -> Self {
        Self {
            query,
            chroma: query.chroma(),
        }
    }

    /// For each point a number that is positive only if its ΔE00 is beyond `reach`. The bound
    /// is multiplied out, so that the loop has no division and the compiler can run it on
    /// several points at once.
    fn excess(&self, points: Columns<'_>, reach: f64, out: &mut [f64; BLOCK]) {
        let Lab { l, a, b } = self.query;
        let limit = if reach < 0.0 {
            -1.0
        } else {
            let slack = reach * Self::RELATIVE + Self::ABSOLUTE;
            slack * slack
        };
        let columns = points
            .l
            .iter()
            .zip(points.a)
            .zip(points.b)
            .zip(points.chroma);
        for ((((pl, pa), pb), pc), out) in columns.zip(out.iter_mut()) {
            let (pl, pa, pb, pc) = (
                f64::from(*pl),
                f64::from(*pa),
                f64::from(*pb),
                f64::from(*pc),
            );
            let (dl, da, db) = (pl - l, pa - a, pb - b);
            let sl = 1.0 + 0.015 * (0.5 * (pl + l) - 50.0).abs();
            let sc = 1.0 + 0.0675 * (0.5 * (pc + self.chroma) * Self::CHROMA_SLACK);
            let (sl2, sc2) = (sl * sl, sc * sc);
            let lightness = dl * dl * sc2;
            let rest = LEAST_EIGENVALUE * (da * da + db * db) * sl2;
            *out = lightness + rest - limit * (sl2 * sc2);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn any_lab() -> impl Strategy<Value = Lab> {
        let wide = (0.0..115f64, -130.0..130f64, -130.0..130f64);
        let gray = (0.0..115f64, -1.0..1f64, -1.0..1f64);
        prop_oneof![wide, gray].prop_map(|(l, a, b)| Lab { l, a, b }.stored())
    }

    fn excess(query: Lab, point: Lab, reach: f64) -> f64 {
        let [l, a, b] = point.to_f32();
        let chroma = point.chroma() as f32;
        let columns = Columns {
            l: &[l],
            a: &[a],
            b: &[b],
            chroma: &[chroma],
        };
        let mut out = [0.0; BLOCK];
        Bound::new(query).excess(columns, reach, &mut out);
        out[0]
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(50_000))]

        /// A point exactly at its own distance is never ruled out.
        #[test]
        fn bound_is_below_the_distance(
            query in any_lab(), other in any_lab(), part in prop_oneof![Just(1.0), 0.0..0.05f64],
        ) {
            let toward = |q: f64, o: f64| q + (o - q) * part;
            let point = Lab {
                l: toward(query.l, other.l),
                a: toward(query.a, other.a),
                b: toward(query.b, other.b),
            }
            .stored();
            prop_assert!(excess(query, point, de2000(query, point)) <= 0.0);
        }
    }

    /// The bound is no empty word: it rules out most of what lies far off.
    #[test]
    fn bound_rules_out_far_points() {
        let query = Lab {
            l: 60.0,
            a: 10.0,
            b: 10.0,
        };
        assert!(
            excess(
                query,
                Lab {
                    l: 40.0,
                    a: 10.0,
                    b: 10.0
                },
                3.0
            ) > 0.0
        );
        assert!(
            excess(
                query,
                Lab {
                    l: 60.0,
                    a: 40.0,
                    b: 10.0
                },
                3.0
            ) > 0.0
        );
        assert!(excess(query, query, f64::INFINITY) <= 0.0);
        assert!(excess(query, query, -1.0) > 0.0);
    }
}
