//! What a branch waits for: finding a customer among 300,000 by a misspelled name, and writes a second beside what
//! the disk can sync. `cargo bench -p secondcan-tests --bench service [-- find|writes]`; figures go to
//! docs/benchmarks.md with machine and date.
//!
//! Finding runs on the cluster that `SECONDCAN_TEST_CLUSTER` names; writing on the server's own private Postgres, with
//! every commit synced.

#![expect(
    clippy::unwrap_used,
    reason = "a bench stops at the first surprise, with its place"
)]
#![expect(clippy::print_stdout, reason = "a bench prints its figures")]

use std::process::Command;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread;
use std::time::{Duration, Instant};

use formula::folding::{fold_company, fold_person};
use harness::chain::{Chain, new_id};
use harness::cluster::{TestDatabase, psql};
use harness::process::ServerPlan;
use serde_json::json;
use sqlx::{Connection as _, PgConnection};

const NAMES: usize = 300_000;
const LOOKUPS: usize = 2_000;
const SCANS: usize = 20;
const WRITERS: usize = 16;
const WRITING: Duration = Duration::from_secs(10);

fn main() {
    let asked: Vec<String> = std::env::args()
        .skip(1)
        .filter(|word| !word.starts_with('-'))
        .collect();
    let wanted = |part: &str| asked.is_empty() || asked.iter().any(|word| word == part);
    if wanted("find") {
        find();
    }
    if wanted("writes") {
        writes();
    }
}

/// SplitMix64 (Steele, Lea & Flood 2014): the same names on every machine.
struct Seeded(u64);

impl Seeded {
    fn below(&mut self, bound: usize) -> usize {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        usize::try_from((z ^ (z >> 31)) % bound as u64).unwrap()
    }

    fn word(&mut self) -> String {
        const PARTS: [&[&str]; 3] = [
            &[
                "Bra", "Cor", "Da", "El", "Fen", "Gar", "Hol", "Is", "Jo", "Kes", "Lor", "Ma",
                "Nor", "Os", "Pel", "Quil", "Ren", "Sa", "Tam", "Ul", "Ver", "Wen", "Yar", "Zol",
                "Bri", "Dro", "Thi", "Stav",
            ],
            &[
                "", "la", "ri", "do", "ne", "mu", "sel", "tar", "van", "bo", "gi", "ka", "lo",
                "pe", "shi", "wa",
            ],
            &[
                "n", "nock", "ria", "sen", "lin", "dt", "mm", "ska", "vic", "ro", "th", "well",
                "by", "ard", "os", "ez", "ina", "ey", "ling", "wood", "ham",
            ],
        ];
        PARTS
            .iter()
            .map(|part| part[self.below(part.len())])
            .collect()
    }

    fn name(&mut self) -> (String, &'static str) {
        const ENDS: [&str; 5] = [
            "Painting LLC",
            "& Sons Painting",
            "Decorating",
            "Builders Co.",
            "Home Renovation",
        ];
        if self.below(2) == 0 {
            (format!("{} {}", self.word(), self.word()), "person")
        } else {
            (
                format!(
                    "{} {} {}",
                    self.word(),
                    self.word(),
                    ENDS[self.below(ENDS.len())]
                ),
                "company",
            )
        }
    }

    /// One slip of the hand: two neighbors swapped, a letter dropped, or one doubled.
    fn slip(&mut self, folded: &str) -> String {
        let mut letters: Vec<char> = folded.chars().collect();
        let place = 1 + self.below(letters.len() - 2);
        match self.below(3) {
            0 => letters.swap(place, place + 1),
            1 => drop(letters.remove(place)),
            _ => letters.insert(place, letters[place]),
        }
        letters.into_iter().collect()
    }
}

fn find() {
    let database = TestDatabase::create();
    let (_server, chain) = Chain::found(&ServerPlan::on(&database));
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .unwrap();
    let mut seeded = Seeded(1);
    let names: Vec<(String, &str)> = (0..NAMES).map(|_| seeded.name()).collect();
    let folded: Vec<String> = names
        .iter()
        .map(|(name, kind)| {
            if *kind == "person" {
                fold_person(name)
            } else {
                fold_company(name)
            }
        })
        .collect();
    let begun = Instant::now();
    let ids = runtime.block_on(fill(&database, &chain, &names, &folded));
    psql(&database.superuser_url(), &["VACUUM ANALYZE"]);
    println!(
        "find: {NAMES} customers loaded in {:.1} s",
        begun.elapsed().as_secs_f64()
    );

    let mut times = Vec::with_capacity(LOOKUPS);
    let (mut first, mut among_five) = (0, 0);
    for _ in 0..LOOKUPS {
        let right = seeded.below(NAMES);
        let query = seeded.slip(&folded[right]).replace(' ', "%20");
        let begun = Instant::now();
        let found = chain
            .clerk
            .client
            .get(&format!("/customers/find?q={query}"))
            .expect(200);
        times.push(begun.elapsed());
        let hits = found["items"].as_array().unwrap();
        // Of 300,000 names made of syllables some are equal: any of them is the right one.
        let is_right = |hit: &serde_json::Value| {
            hit["id"] == json!(ids[right])
                || hit["name"]
                    .as_str()
                    .is_some_and(|name| name == names[right].0)
        };
        first += usize::from(hits.first().is_some_and(is_right));
        among_five += usize::from(hits.iter().take(5).any(is_right));
    }
    let (p50, p99) = (percentile(&mut times, 50), percentile(&mut times, 99));
    println!(
        "find: {LOOKUPS} misspelled names over HTTP, one client: p50 {p50:.2?}, p99 {p99:.2?}"
    );
    println!(
        "find: the right one first in {:.1} %, among the first five in {:.1} %",
        share(first, LOOKUPS),
        share(among_five, LOOKUPS)
    );
    let mut scans = runtime.block_on(scan(&database, &mut seeded, &folded));
    let scan = percentile(&mut scans, 50);
    println!(
        "find: baseline, the same similarity by sequential scan in the same database: p50 {scan:.2?}, {:.0} times ours",
        scan.as_secs_f64() / p50.as_secs_f64()
    );
}

async fn fill(
    database: &TestDatabase,
    chain: &Chain,
    names: &[(String, &str)],
    folded: &[String],
) -> Vec<uuid::Uuid> {
    let mut connection = PgConnection::connect(&database.superuser_url())
        .await
        .unwrap();
    // The change log is not what is measured here.
    sqlx::query("SET session_replication_role = replica")
        .execute(&mut connection)
        .await
        .unwrap();
    let ids: Vec<uuid::Uuid> = names.iter().map(|_| new_id()).collect();
    for from in (0..names.len()).step_by(10_000) {
        let to = (from + 10_000).min(names.len());
        let texts: Vec<&str> = names[from..to]
            .iter()
            .map(|(name, _)| name.as_str())
            .collect();
        let kinds: Vec<&str> = names[from..to].iter().map(|(_, kind)| *kind).collect();
        sqlx::query(
            "WITH rows AS (SELECT * FROM unnest($1::uuid[], $2::text[], $3::text[], $4::text[]) AS r (id, name, kind, folded)),
                  added AS (INSERT INTO customer (id, kind, name, store_id, created_by)
                            SELECT id, kind, name, $5, $6 FROM rows)
             INSERT INTO customer_name (customer_id, folded) SELECT id, folded FROM rows",
        )
        .bind(&ids[from..to])
        .bind(texts)
        .bind(kinds)
        .bind(&folded[from..to])
        .bind(chain.north)
        .bind(chain.clerk.id)
        .execute(&mut connection)
        .await
        .unwrap();
    }
    ids
}

async fn scan(database: &TestDatabase, seeded: &mut Seeded, folded: &[String]) -> Vec<Duration> {
    let mut connection = PgConnection::connect(&database.superuser_url())
        .await
        .unwrap();
    sqlx::query("SET enable_indexscan = off")
        .execute(&mut connection)
        .await
        .unwrap();
    sqlx::query("SET enable_bitmapscan = off")
        .execute(&mut connection)
        .await
        .unwrap();
    let mut times = Vec::with_capacity(SCANS);
    for _ in 0..SCANS {
        let at = seeded.below(folded.len());
        let query = seeded.slip(&folded[at]);
        let begun = Instant::now();
        sqlx::query("SELECT customer_id FROM customer_name ORDER BY word_similarity($1, folded) DESC LIMIT 20")
            .bind(query)
            .fetch_all(&mut connection)
            .await
            .unwrap();
        times.push(begun.elapsed());
    }
    times
}

fn writes() {
    let plan = ServerPlan::embedded();
    let (_server, chain) = Chain::found(&plan);
    let synced = fdatasync_rate(&plan);
    let stop = AtomicBool::new(false);
    let mut times: Vec<Duration> = thread::scope(|scope| {
        let writers: Vec<_> = (0..WRITERS)
            .map(|writer| {
                let (chain, stop) = (&chain, &stop);
                scope.spawn(move || {
                    let client = chain.clerk.client.moved_to(chain.clerk.client.url());
                    let mut times = Vec::new();
                    while !stop.load(Ordering::Relaxed) {
                        let name = format!("Writer {writer} {}", times.len());
                        let customer = json!({ "id": new_id(), "kind": "person", "name": name });
                        let begun = Instant::now();
                        client.post("/customers", &customer).expect(201);
                        times.push(begun.elapsed());
                    }
                    times
                })
            })
            .collect();
        thread::sleep(WRITING);
        stop.store(true, Ordering::Relaxed);
        writers
            .into_iter()
            .flat_map(|writer| writer.join().unwrap())
            .collect()
    });
    #[expect(clippy::cast_precision_loss, reason = "a count of requests")]
    let rate = times.len() as f64 / WRITING.as_secs_f64();
    println!(
        "writes: {WRITERS} clients for {} s, each a new customer with its log row and receipt: {rate:.0}/s, p50 {:.2?}, p99 {:.2?}",
        WRITING.as_secs(),
        percentile(&mut times, 50),
        percentile(&mut times, 99)
    );
    println!(
        "writes: baseline, pg_test_fsync's fdatasync on the same file system: {synced:.0}/s; ours is {:.2} of it",
        rate / synced
    );
}

/// What `pg_test_fsync` reports for one 8 kB write by fdatasync, operations a second.
fn fdatasync_rate(plan: &ServerPlan) -> f64 {
    let file = plan.data().with_file_name("pg_test_fsync.out");
    let program = [
        "/usr/lib/postgresql/17/bin",
        "/usr/lib/postgresql/16/bin",
        "/usr/lib/postgresql/15/bin",
    ]
    .iter()
    .map(|folder| format!("{folder}/pg_test_fsync"))
    .find(|path| std::path::Path::new(path).exists())
    .expect("pg_test_fsync of Postgres 15, 16 or 17");
    let output = Command::new(program)
        .args(["-s", "2", "-f"])
        .arg(&file)
        .output()
        .unwrap();
    let text = String::from_utf8_lossy(&output.stdout).into_owned();
    let line = text
        .lines()
        .find(|line| line.trim_start().starts_with("fdatasync"))
        .expect("a line on fdatasync");
    line.split_whitespace().nth(1).unwrap().parse().unwrap()
}

fn percentile(times: &mut [Duration], percent: usize) -> Duration {
    times.sort_unstable();
    times[(times.len() * percent / 100).min(times.len() - 1)]
}

fn share(part: usize, whole: usize) -> f64 {
    #[expect(clippy::cast_precision_loss, reason = "counts of look-ups")]
    let share = 100.0 * part as f64 / whole as f64;
    share
}
