//! The search answers exactly what a plain loop over all points answers.

use color::{Hit, Lab, Library, NearestError, PointId, de2000};
use proptest::prelude::*;

fn id(n: u32) -> PointId {
    // Spread over the bytes, so that order by id is not order of insertion.
    PointId((u128::from(n.reverse_bits()) << 17 | 5).to_be_bytes())
}

fn lab(l: f64, a: f64, b: f64) -> Lab {
    Lab { l, a, b }
}

/// The search as anyone would write it.
fn plain(
    points: &[(PointId, Lab)],
    query: Lab,
    keep: impl Fn(usize) -> bool,
) -> Vec<(PointId, u64)> {
    let mut all: Vec<(f64, PointId)> = points
        .iter()
        .enumerate()
        .filter(|(index, _)| keep(*index))
        .map(|(_, (id, lab))| (de2000(query, lab.stored()), *id))
        .collect();
    all.sort_by(|x, y| x.0.total_cmp(&y.0).then(x.1.cmp(&y.1)));
    all.into_iter().map(|(de, id)| (id, de.to_bits())).collect()
}

fn seen(hits: &[Hit]) -> Vec<(PointId, u64)> {
    hits.iter()
        .map(|hit| (hit.id, hit.de2000.to_bits()))
        .collect()
}

fn filled(points: &[(PointId, Lab)]) -> Library {
    let mut library = Library::with_capacity(points.len());
    for (index, (id, lab)) in points.iter().enumerate() {
        assert_eq!(library.insert(*id, *lab), Ok(index as u32));
    }
    library
}

/// Colors of several kinds: anywhere, on a coarse grid (many ties), near the neutral axis,
/// and close to each other.
fn clouds() -> impl Strategy<Value = Vec<Lab>> {
    let number = |size: f64| (-1.0..1.0f64).prop_map(move |x| x * size);
    let anywhere = (0.0..115f64, number(120.0), number(120.0)).boxed();
    let coarse = (0..20i32, -6..6i32, -6..6i32)
        .prop_map(|(l, a, b)| {
            (
                f64::from(l) * 0.5 + 50.0,
                f64::from(a) * 0.5,
                f64::from(b) * 0.5,
            )
        })
        .boxed();
    let neutral = (0.0..100f64, number(1.0), number(1.0)).boxed();
    let paint = (60.0..66f64, 8.0..12f64, 14.0..20f64).boxed();
    prop_oneof![Just(anywhere), Just(coarse), Just(neutral), Just(paint)].prop_flat_map(|kind| {
        proptest::collection::vec(kind.prop_map(|(l, a, b)| lab(l, a, b)), 0..700)
    })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(300))]

    #[test]
    fn equal_to_a_plain_loop(
        cloud in clouds(),
        stray in (0.0..110f64, -120.0..120f64, -120.0..120f64),
        k in 0..40usize,
        every in 1..4usize,
        radius in 0.0..8f64,
        use_stray in any::<bool>(),
    ) {
        let points: Vec<_> = (0..).map(id).zip(cloud).collect();
        let library = filled(&points);
        let query = match points.first() {
            Some((_, first)) if !use_stray => *first,
            _ => lab(stray.0, stray.1, stray.2),
        };
        let want = plain(&points, query, |index| index.is_multiple_of(every));
        let got = library.nearest(query, k, |o| (o as usize).is_multiple_of(every)).unwrap();
        prop_assert_eq!(seen(&got), &want[..k.min(want.len())]);
        let got = library.within(query, radius, |o| (o as usize).is_multiple_of(every)).unwrap();
        let near = want.partition_point(|(_, de)| f64::from_bits(*de) <= radius);
        prop_assert_eq!(seen(&got), &want[..near]);
    }
}

#[test]
fn ties_are_ordered_by_id_and_the_last_place_too() {
    let points: Vec<_> = (0..1000).map(|n| (id(n), lab(50.0, 10.0, 10.0))).collect();
    let library = filled(&points);
    let hits = library
        .nearest(lab(51.0, 10.0, 10.0), 10, |_| true)
        .unwrap();
    let mut ids: Vec<_> = points.iter().map(|(id, _)| *id).collect();
    ids.sort();
    assert_eq!(hits.iter().map(|hit| hit.id).collect::<Vec<_>>(), ids[..10]);
}

#[test]
fn edges_of_k_and_of_an_empty_library() {
    let query = lab(50.0, 0.0, 0.0);
    assert_eq!(Library::new().nearest(query, 5, |_| true), Ok(vec![]));
    let points: Vec<_> = (0..7)
        .map(|n| (id(n), lab(50.0 + f64::from(n), 0.0, 0.0)))
        .collect();
    let library = filled(&points);
    for (k, found) in [(0, 0), (1, 1), (7, 7), (8, 7), (usize::MAX, 7)] {
        assert_eq!(library.nearest(query, k, |_| true).unwrap().len(), found);
    }
    assert!(library.nearest(query, 3, |_| false).unwrap().is_empty());
    assert_eq!(library.within(query, 0.0, |_| true).unwrap().len(), 1);
    assert_eq!(
        library
            .within(query, f64::INFINITY, |_| true)
            .unwrap()
            .len(),
        7
    );
}

#[test]
fn points_come_change_and_go() {
    let query = lab(50.0, 0.0, 0.0);
    let mut library = filled(&[(id(1), lab(50.0, 0.0, 0.0)), (id(2), lab(52.0, 0.0, 0.0))]);
    let first = |library: &Library| library.nearest(query, 1, |_| true).unwrap()[0];
    assert_eq!(first(&library).id, id(1));
    assert_eq!(library.replace(id(1), lab(60.0, 0.0, 0.0)), Ok(0));
    assert_eq!(first(&library).id, id(2));
    assert_eq!(library.lab(id(1)), Some(lab(60.0, 0.0, 0.0)));
    assert_eq!(library.remove(id(2)), Ok(1));
    assert_eq!(first(&library).id, id(1));
    assert_eq!(library.len(), 1);
    assert_eq!(library.remove(id(2)), Err(NearestError::Missing(id(2))));
    assert_eq!(
        library.replace(id(2), query),
        Err(NearestError::Missing(id(2)))
    );
    assert_eq!(
        library.insert(id(1), query),
        Err(NearestError::Duplicate(id(1)))
    );
    assert_eq!(
        library.insert(id(3), query),
        Ok(1),
        "a free ordinal is used again"
    );
    assert_eq!(first(&library).id, id(3));
    assert_eq!(library.ordinal(id(2)), None);
}

#[test]
fn what_is_no_color_stays_out() {
    let mut library = filled(&[(id(1), lab(50.0, 0.0, 0.0))]);
    for bad in [
        lab(f64::NAN, 0.0, 0.0),
        lab(50.0, f64::INFINITY, 0.0),
        lab(50.0, 0.0, 1e6),
    ] {
        assert!(matches!(
            library.insert(id(9), bad),
            Err(NearestError::NotAColor(_))
        ));
        assert!(matches!(
            library.replace(id(1), bad),
            Err(NearestError::NotAColor(_))
        ));
        assert!(matches!(
            library.nearest(bad, 1, |_| true),
            Err(NearestError::NotAColor(_))
        ));
        assert!(matches!(
            library.within(bad, 1.0, |_| true),
            Err(NearestError::NotAColor(_))
        ));
    }
    let query = lab(50.0, 0.0, 0.0);
    for radius in [f64::NAN, -0.1] {
        let refused = library.within(query, radius, |_| true);
        assert!(matches!(refused, Err(NearestError::Radius { .. })));
    }
    assert_eq!(library.len(), 1);
}
