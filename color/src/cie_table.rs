//! Reading and interpolating the CIE tables that stand in `tables/`.

/// First and last wavelength over which color is computed, in nm (ASTM E308).
pub(crate) const FIRST_NM: u16 = 360;
/// See [`FIRST_NM`].
pub(crate) const LAST_NM: u16 = 780;
/// Number of 1 nm steps from [`FIRST_NM`] to [`LAST_NM`].
pub(crate) const COUNT: usize = (LAST_NM - FIRST_NM) as usize + 1;

/// How a table is brought to 1 nm.
#[derive(Clone, Copy)]
pub(crate) enum Between {
    /// It is given at 1 nm.
    Given,
    /// Lagrange's cubic polynomial, quadratic in the first and last interval: C, D55 and D75,
    /// which CIE tabulates at 5 nm. ASTM E308 did so: its white points come out to 0.001.
    /// (Straight lines, by which CIE 15 defines daylight between its 10 nm components, miss
    /// them by up to 0.06.)
    Lagrange,
    /// Sprague's fifth-order polynomial (CIE 167:2005): the fluorescent lamps.
    Sprague,
}

/// Reads `nm,v…` rows under one heading line.
///
/// # Panics
/// When the text is no such table; the texts are compiled in and covered by tests.
pub(crate) fn parse<const N: usize>(text: &str) -> Vec<(u16, [f64; N])> {
    text.lines()
        .skip(1)
        .map(|line| {
            let mut cells = line.split(',');
            let nm = cells
                .next()
                .and_then(|c| c.parse().ok())
                .expect("a whole wavelength");
            let values = std::array::from_fn(|_| {
                cells
                    .next()
                    .and_then(|c| c.parse().ok())
                    .expect("a number in each column")
            });
            (nm, values)
        })
        .collect()
}

/// The table at each nanometer from [`FIRST_NM`] to [`LAST_NM`]; zero where it has nothing.
pub(crate) fn per_nanometer(rows: &[(u16, [f64; 1])], between: Between) -> Box<[f64; COUNT]> {
    let values: Vec<f64> = rows.iter().map(|(_, [v])| *v).collect();
    let (start, step) = (rows[0].0, rows[1].0 - rows[0].0);
    let end = rows[rows.len() - 1].0;
    let padded = sprague_ends(&values);
    let mut out = Box::new([0.0; COUNT]);
    for (nm, slot) in (FIRST_NM..).zip(out.iter_mut()) {
        if nm < start || nm > end {
            continue;
        }
        let interval = (nm - start) / step;
        let index = usize::from(interval);
        let part = f64::from((nm - start) % step) / f64::from(step);
        *slot = if part == 0.0 {
            values[index]
        } else {
            match between {
                Between::Given => values[index],
                Between::Lagrange => {
                    let nodes = i32::from((end - start) / step) + 1;
                    lagrange_shares(i32::from(interval), nodes, part)
                        .zip(&values[index.saturating_sub(1)..])
                        .map(|((_, share), value)| share * value)
                        .sum()
                }
                Between::Sprague => sprague(&padded[index..index + 6], part),
            }
        };
    }
    out
}

/// The nodes of an even grid of `count` that stand for a point between node `interval` and the
/// next, `part` of the way, each with its share, which sum to 1: cubic inside, quadratic in the
/// first and last interval.
pub(crate) fn lagrange_shares(
    interval: i32,
    count: i32,
    part: f64,
) -> impl Iterator<Item = (i32, f64)> {
    let from = (interval - 1).max(0);
    let to = (interval + 2).min(count - 1);
    (from..=to).map(move |node| {
        let share = (from..=to)
            .filter(|other| *other != node)
            .map(|other| (part - f64::from(other - interval)) / f64::from(node - other))
            .product();
        (node, share)
    })
}

/// The same over nodes at any places: each node is a place and what stands there. A point beyond
/// the nodes takes the nearest.
pub(crate) fn uneven_shares<T: Copy>(
    nodes: &[(f64, T)],
    point: f64,
) -> impl Iterator<Item = (T, f64)> {
    let last = nodes.len() - 1;
    let interval = nodes.partition_point(|(node, _)| *node <= point);
    let near = match interval {
        0 => &nodes[..1],
        _ if interval > last => &nodes[last..],
        _ => &nodes[interval.saturating_sub(2)..=(interval + 1).min(last)],
    };
    near.iter().map(move |(node, value)| {
        let share = near
            .iter()
            .filter(|(other, _)| other != node)
            .map(|(other, _)| (point - other) / (node - other))
            .product();
        (*value, share)
    })
}

/// The values with two more at either end (CIE 167:2005, Table V).
fn sprague_ends(y: &[f64]) -> Vec<f64> {
    const ENDS: [[f64; 6]; 2] = [
        [884.0, -1960.0, 3033.0, -2648.0, 1080.0, -180.0],
        [508.0, -540.0, 488.0, -367.0, 144.0, -24.0],
    ];
    let beyond = |coefficients: [f64; 6], near: &mut dyn Iterator<Item = &f64>| {
        coefficients
            .iter()
            .zip(near)
            .map(|(c, v)| c * v)
            .sum::<f64>()
            / 209.0
    };
    let mut out = vec![
        beyond(ENDS[0], &mut y.iter()),
        beyond(ENDS[1], &mut y.iter()),
    ];
    out.extend_from_slice(y);
    out.push(beyond(ENDS[1], &mut y.iter().rev()));
    out.push(beyond(ENDS[0], &mut y.iter().rev()));
    out
}

/// Sprague's polynomial between `y[2]` (part 0) and `y[3]` (part 1).
fn sprague(y: &[f64], part: f64) -> f64 {
    const ROWS: [[f64; 6]; 6] = [
        [0.0, 0.0, 24.0, 0.0, 0.0, 0.0],
        [2.0, -16.0, 0.0, 16.0, -2.0, 0.0],
        [-1.0, 16.0, -30.0, 16.0, -1.0, 0.0],
        [-9.0, 39.0, -70.0, 66.0, -33.0, 7.0],
        [13.0, -64.0, 126.0, -124.0, 61.0, -12.0],
        [-5.0, 25.0, -50.0, 50.0, -25.0, 5.0],
    ];
    let coefficient = |row: &[f64; 6]| row.iter().zip(y).map(|(c, v)| c * v).sum::<f64>() / 24.0;
    ROWS.iter()
        .rev()
        .fold(0.0, |sum, row| sum * part + coefficient(row))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Sprague's polynomial passes any polynomial of the fourth degree unchanged, but for the two
    /// intervals at either end, where it uses values made up for the lack of neighbors.
    #[test]
    fn sprague_keeps_a_quartic() {
        let f = |x: f64| 1.0 + 0.5 * x - 0.03 * x * x + 1e-3 * x.powi(3) - 2e-5 * x.powi(4);
        let rows: Vec<(u16, [f64; 1])> = (360..=780)
            .step_by(5)
            .map(|nm| (nm, [f((f64::from(nm) - 570.0) / 10.0)]))
            .collect();
        let fine = per_nanometer(&rows, Between::Sprague);
        for (nm, got) in (FIRST_NM..).zip(fine.iter()).skip(10).take(COUNT - 20) {
            let want = f((f64::from(nm) - 570.0) / 10.0);
            assert!((got - want).abs() < 1e-9, "{nm}: {got} for {want}");
        }
    }
}
