//! The ten nearest of 10,000, 100,000 and a million points: the library's scan against a scalar
//! loop written plainly, over the same points and queries, with the ratio of both.

use std::hint::black_box;
use std::time::{Duration, Instant};

use color::{Lab, Library, PointId, de2000};
use criterion::{BenchmarkId, Criterion};

const NEIGHBORS: usize = 10;

/// SplitMix64 (Steele, Lea, Flood 2014): the same points in each run.
struct Seeded(u64);

impl Seeded {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    /// 0 to 1.
    fn unit(&mut self) -> f64 {
        (self.next() >> 11) as f64 / (1u64 << 53) as f64
    }

    /// About normal, by the sum of twelve.
    fn normal(&mut self) -> f64 {
        (0..12).map(|_| self.unit()).sum::<f64>() - 6.0
    }
}

/// Paint as sold: mostly light and weakly colored, some deep and strong.
fn paint(random: &mut Seeded) -> Lab {
    let deep = random.unit() < 0.25;
    let (l, spread) = if deep { (45.0, 30.0) } else { (78.0, 11.0) };
    let lab = Lab {
        l: (l + 14.0 * random.normal()).clamp(2.0, 98.0),
        a: (spread * random.normal()).clamp(-90.0, 90.0),
        b: (6.0 + spread * random.normal()).clamp(-90.0, 90.0),
    };
    lab.stored()
}

fn plain_loop(points: &[(PointId, Lab)], query: Lab) -> Vec<(f64, PointId)> {
    let mut best: Vec<(f64, PointId)> = Vec::with_capacity(NEIGHBORS + 1);
    for (id, lab) in points {
        let found = (de2000(query, *lab), *id);
        let place = best.partition_point(|kept| *kept < found);
        if place < NEIGHBORS {
            best.insert(place, found);
            best.truncate(NEIGHBORS);
        }
    }
    best
}

fn scan(library: &Library, query: Lab) -> Vec<(f64, PointId)> {
    let hits = library
        .nearest(query, NEIGHBORS, |_| true)
        .expect("a good query");
    hits.into_iter().map(|hit| (hit.de2000, hit.id)).collect()
}

fn median(mut times: Vec<Duration>) -> Duration {
    times.sort();
    times[times.len() / 2]
}

#[expect(clippy::print_stdout, reason = "the ratio is what this bench is for")]
fn main() {
    let mut criterion = Criterion::default().configure_from_args().sample_size(10);
    for size in [10_000u32, 100_000, 1_000_000] {
        let mut random = Seeded(u64::from(size));
        let points: Vec<(PointId, Lab)> = (0..size)
            .map(|_| {
                let id = (u128::from(random.next()) << 64) | u128::from(random.next());
                (PointId(id.to_be_bytes()), paint(&mut random))
            })
            .collect();
        let mut library = Library::with_capacity(points.len());
        for (id, lab) in &points {
            library.insert(*id, *lab).expect("a new point");
        }
        let queries: Vec<Lab> = (0..11).map(|_| paint(&mut random)).collect();

        let mut group = criterion.benchmark_group("nearest 10");
        for (name, run) in [
            (
                "scan",
                &(|q| scan(&library, q)) as &dyn Fn(Lab) -> Vec<(f64, PointId)>,
            ),
            ("plain loop", &|q| plain_loop(&points, q)),
        ] {
            let mut next = queries.iter().cycle();
            group.bench_function(BenchmarkId::new(name, size), |bencher| {
                bencher.iter(|| black_box(run(*next.next().expect("endless"))));
            });
        }
        group.finish();

        let (mut fast, mut slow) = (Vec::new(), Vec::new());
        for query in &queries {
            let start = Instant::now();
            let found = black_box(scan(&library, *query));
            fast.push(start.elapsed());
            let start = Instant::now();
            let wanted = black_box(plain_loop(&points, *query));
            slow.push(start.elapsed());
            assert_eq!(found, wanted, "the scan must answer what the loop answers");
        }
        let (fast, slow) = (median(fast), median(slow));
        let ratio = slow.as_secs_f64() / fast.as_secs_f64();
        println!("{size} points: scan {fast:?}, plain loop {slow:?}, ratio {ratio:.1}");
    }
    criterion.final_summary();
}
