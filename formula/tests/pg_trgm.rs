//! The trigram arithmetic against Postgres itself: `fixtures/pg_trgm.csv` holds what
//! `similarity(q, t)` and `word_similarity(q, t)` of the extension pg_trgm answered on PostgreSQL
//! 15 (UTF8) for 400 pairs: seeded random names of syllables, misspellings of them, strings over
//! few letters (where the extent search moves most), and the example of the manual.

use formula::trigram::TrigramQuery;

#[test]
fn similarities_are_those_of_postgres() {
    let table = include_str!("fixtures/pg_trgm.csv");
    let mut rows = 0;
    for line in table.lines().skip(1) {
        let fields: Vec<&str> = line.split(',').collect();
        let [query, text, similarity, word_similarity] = fields[..] else {
            panic!("four fields expected: {line}");
        };
        let ours = TrigramQuery::new(query);
        // Postgres answers in single precision, printed with the digits that name it.
        for (what, is, should) in [
            ("similarity", ours.similarity(text), similarity),
            (
                "word_similarity",
                ours.word_similarity(text),
                word_similarity,
            ),
        ] {
            let should: f64 = should.parse().unwrap();
            assert!(
                (is - should).abs() < 1e-6,
                "{what}({query:?}, {text:?}): {is}, Postgres {should}"
            );
        }
        rows += 1;
    }
    assert_eq!(rows, 400);
}
