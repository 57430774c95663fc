//! First and second derivative of reflectance by wavelength.

/// Wavelengths that a derivative looks at: five, for an error of fourth order in the step.
const SPAN: usize = 5;

/// dR/dλ per nm and d²R/dλ² per nm² at each wavelength, from the polynomial through the five
/// nearest values: central inside, one-sided at the ends. Steps may be uneven.
pub(super) fn derivatives(nm: &[f64], values: &[f64]) -> Vec<[f64; 2]> {
    let span = SPAN.min(nm.len());
    (0..nm.len())
        .map(|at| {
            let from = at.saturating_sub(span / 2).min(nm.len() - span);
            let nodes = from..from + span;
            let weights = weights(nm[at], &nm[nodes.clone()]);
            let mut sums = [0.0; 2];
            for (weight, value) in weights.iter().zip(&values[nodes]) {
                sums[0] += weight[1] * value;
                sums[1] += weight[2] * value;
            }
            sums
        })
        .collect()
}

/// Weights of value, first and second derivative at `at` for values at `nodes` (Fornberg,
/// Math. Comp. 51 (1988) 699).
fn weights(at: f64, nodes: &[f64]) -> Vec<[f64; 3]> {
    let mut out = vec![[0.0; 3]; nodes.len()];
    let mut product = 1.0;
    let mut to_node = nodes[0] - at;
    out[0][0] = 1.0;
    for i in 1..nodes.len() {
        let mut own = 1.0;
        let to_previous = to_node;
        to_node = nodes[i] - at;
        for j in 0..i {
            let apart = nodes[i] - nodes[j];
            own *= apart;
            if j + 1 == i {
                for k in (0..3).rev() {
                    let lower = if k > 0 {
                        order(k) * out[i - 1][k - 1]
                    } else {
                        0.0
                    };
                    out[i][k] = product * (lower - to_previous * out[i - 1][k]) / own;
                }
            }
            for k in (0..3).rev() {
                let lower = if k > 0 { order(k) * out[j][k - 1] } else { 0.0 };
                out[j][k] = (to_node * out[j][k] - lower) / apart;
            }
        }
        product = own;
    }
    out
}

fn order(k: usize) -> f64 {
    if k == 2 { 2.0 } else { 1.0 }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Exact for a polynomial of fourth degree, at uneven steps and at the ends too.
    #[test]
    fn polynomials_are_differentiated_exactly() {
        let nm = [400.0, 410.0, 420.0, 435.0, 440.0, 460.0, 470.0];
        let at = |x: f64| {
            let t = (x - 430.0) / 40.0;
            0.3 + 0.1 * t - 0.2 * t * t + 0.05 * t.powi(3) + 0.02 * t.powi(4)
        };
        let values = nm.map(at);
        for (x, [first, second]) in nm.iter().zip(derivatives(&nm, &values)) {
            let t = (x - 430.0) / 40.0;
            let want = (0.1 - 0.4 * t + 0.15 * t * t + 0.08 * t.powi(3)) / 40.0;
            assert!((first - want).abs() < 1e-13, "{x}: {first} for {want}");
            let want = (-0.4 + 0.3 * t + 0.24 * t * t) / 1600.0;
            assert!((second - want).abs() < 1e-13, "{x}: {second} for {want}");
        }
    }

    /// The classical five-point formulas (Abramowitz & Stegun, 25.3.6 and 25.3.24, by memory).
    #[test]
    fn even_steps_give_the_classical_weights() {
        let weights = weights(0.0, &[-2.0, -1.0, 0.0, 1.0, 2.0]);
        let first = [1.0, -8.0, 0.0, 8.0, -1.0].map(|w| w / 12.0);
        let second = [-1.0, 16.0, -30.0, 16.0, -1.0].map(|w| w / 12.0);
        for (weight, (first, second)) in weights.iter().zip(first.iter().zip(second)) {
            assert!((weight[1] - first).abs() < 1e-15);
            assert!((weight[2] - second).abs() < 1e-15);
        }
    }
}
