//! Finding a customer by a misspelled name: the gate of the search, over names in memory.
//!
//! Four slips of the hand (common practice, no source): two neighboring letters swapped, a letter
//! dropped, a letter doubled, a neighboring key hit. All names are invented from syllables.

use std::collections::BTreeSet;

use formula::folding::{fold_company, fold_person, fold_query};
use formula::name_rank::{FIND_LIMIT, NameQuery, NameRank, best_first};

/// SplitMix64 (Steele, Lea & Flood 2014): the same numbers on every machine.
struct Seeded(u64);

impl Seeded {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    fn below(&mut self, bound: usize) -> usize {
        (self.next() % bound as u64) as usize
    }

    fn pick<'a, T: ?Sized>(&mut self, from: &[&'a T]) -> &'a T {
        from[self.below(from.len())]
    }
}

const STARTS: &[&str] = &[
    "bra", "cor", "da", "el", "fen", "gar", "hol", "is", "jo", "kes", "lor", "ma", "nor", "os",
    "pel", "quil", "ren", "sa", "tam", "ul", "ver", "wen", "yar", "zol", "bri", "dro", "thi",
    "stav",
];
const MIDDLES: &[&str] = &[
    "", "la", "ri", "do", "ne", "mu", "sel", "tar", "van", "bo", "gi", "ka",
];
const ENDS: &[&str] = &[
    "n", "nock", "ria", "sen", "lin", "dt", "mm", "ska", "vic", "ro", "th", "well", "by", "ard",
    "os", "ez", "ina", "ey",
];
const COMPANY_ENDS: &[&str] = &[
    "Painting",
    "Painting LLC",
    "& Sons Painting",
    "Painters Inc.",
    "Decorating",
    "Home Renovation",
    "Builders Co.",
    "Contracting Group",
    "GmbH",
    "& Daughters",
    "Coatings, L.L.C.",
];

fn invented_word(seeded: &mut Seeded) -> String {
    let word = [seeded.pick(STARTS), seeded.pick(MIDDLES), seeded.pick(ENDS)].concat();
    let mut letters = word.chars();
    letters
        .next()
        .map(|first| first.to_uppercase().chain(letters).collect())
        .unwrap_or_default()
}

/// A customer: what is on file, and what of it a clerk types.
struct Customer {
    typed: String,
    folded: String,
}

fn customers(seeded: &mut Seeded, count: usize) -> Vec<Customer> {
    let mut seen = BTreeSet::new();
    let mut customers = Vec::new();
    while customers.len() < count {
        let (name, folded) = if seeded.below(2) == 0 {
            let name = format!("{} {}", invented_word(seeded), invented_word(seeded));
            let folded = fold_person(&name);
            (name, folded)
        } else {
            let first = invented_word(seeded);
            let second = if seeded.below(3) == 0 {
                format!(" {}", invented_word(seeded))
            } else {
                String::new()
            };
            let name = format!("{first}{second} {}", seeded.pick(COMPANY_ENDS));
            let folded = fold_company(&name);
            (name, folded)
        };
        if seen.insert(folded.clone()) {
            customers.push(Customer {
                typed: name,
                folded,
            });
        }
    }
    customers
}

/// Letters beside each letter on a US keyboard, in the same row.
fn neighbor_key(letter: char, seeded: &mut Seeded) -> Option<char> {
    for row in ["qwertyuiop", "asdfghjkl", "zxcvbnm"] {
        if let Some(place) = row.find(letter) {
            let beside: Vec<char> = [place.checked_sub(1), Some(place + 1)]
                .into_iter()
                .flatten()
                .filter_map(|place| row.chars().nth(place))
                .collect();
            return Some(beside[seeded.below(beside.len())]);
        }
    }
    None
}

#[derive(Debug, Clone, Copy)]
enum Slip {
    Swap,
    Drop,
    Double,
    NeighborKey,
}

const SLIPS: [Slip; 4] = [Slip::Swap, Slip::Drop, Slip::Double, Slip::NeighborKey];

/// The name with one slip among the letters that tell it apart (a slip in `Painting` is another
/// matter), or `None` where the slip changes nothing.
fn misspell(customer: &Customer, slip: Slip, seeded: &mut Seeded) -> Option<String> {
    let telling = customer
        .folded
        .chars()
        .filter(char::is_ascii_lowercase)
        .count();
    let mut letters: Vec<char> = customer.typed.to_lowercase().chars().collect();
    // The telling words come first in every name made here.
    let places: Vec<usize> = (0..letters.len())
        .filter(|&place| letters[place].is_ascii_lowercase())
        .take(telling)
        .collect();
    let place = places[seeded.below(places.len())];
    match slip {
        Slip::Swap => {
            if !letters.get(place + 1)?.is_ascii_lowercase() {
                return None;
            }
            letters.swap(place, place + 1);
        }
        Slip::Drop => drop(letters.remove(place)),
        Slip::Double => letters.insert(place, letters[place]),
        Slip::NeighborKey => letters[place] = neighbor_key(letters[place], seeded)?,
    }
    let typed: String = letters.into_iter().collect();
    (typed != customer.typed.to_lowercase()).then_some(typed)
}

fn found_in_first_five(query: &str, right: usize, customers: &[Customer]) -> bool {
    let Some(query) = NameQuery::new(fold_query(query)) else {
        return false;
    };
    let mut found: Vec<(NameRank, String, usize)> = customers
        .iter()
        .enumerate()
        .filter_map(|(key, customer)| {
            query
                .find(&customer.folded)
                .map(|rank| (rank, customer.folded.clone(), key))
        })
        .collect();
    best_first(&mut found, FIND_LIMIT);
    found.iter().take(5).any(|(_, _, key)| *key == right)
}

#[test]
fn of_200_misspellings_95_in_100_find_the_customer_among_the_first_five() {
    let mut seeded = Seeded(4);
    let customers = customers(&mut seeded, 4_000);
    let mut missed = Vec::new();
    for slip in SLIPS {
        let mut asked = 0;
        while asked < 50 {
            let right = seeded.below(customers.len());
            let Some(typed) = misspell(&customers[right], slip, &mut seeded) else {
                continue;
            };
            asked += 1;
            if !found_in_first_five(&typed, right, &customers) {
                missed.push(format!("{slip:?}: {typed} for {}", customers[right].typed));
            }
        }
    }
    println!("{} of 200 missed: {missed:#?}", missed.len());
    assert!(
        missed.len() <= 10,
        "{} of 200 missed: {missed:#?}",
        missed.len()
    );
}

#[test]
fn a_name_spelled_right_is_found_first() {
    let mut seeded = Seeded(5);
    let customers = customers(&mut seeded, 3_000);
    for _ in 0..50 {
        let right = seeded.below(customers.len());
        let query = NameQuery::new(fold_query(&customers[right].typed)).unwrap();
        let mut found: Vec<(NameRank, String, usize)> = customers
            .iter()
            .enumerate()
            .filter_map(|(key, c)| {
                query
                    .find(&c.folded)
                    .map(|rank| (rank, c.folded.clone(), key))
            })
            .collect();
        best_first(&mut found, 1);
        assert_eq!(found[0].2, right, "{}", customers[right].typed);
    }
}
