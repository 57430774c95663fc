//! Holds `docs/color-numbers.md` to the code: every number of the color part is on the page, with the value that the
//! code has, and the test and tolerance that the page names are there.

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

use proc_macro2::{Delimiter, TokenStream, TokenTree};
use sha2::{Digest, Sha256};

const PAGE: &str = "docs/color-numbers.md";
/// Numbers that say nothing by themselves: halves and means, percent, degrees of a circle, coefficients 1 to 4.
const PLAIN: [f64; 10] = [0.0, 0.5, 1.0, 2.0, 3.0, 4.0, 90.0, 100.0, 180.0, 360.0];

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("..")
}

fn read(path: &str) -> String {
    fs::read_to_string(root().join(path)).unwrap_or_else(|error| panic!("{path}: {error}"))
}

fn sources() -> Vec<String> {
    let mut found = Vec::new();
    let mut left = vec!["color/src".to_owned()];
    while let Some(folder) = left.pop() {
        for entry in fs::read_dir(root().join(&folder)).expect("a readable folder") {
            let entry = entry.expect("a readable entry");
            let path = format!(
                "{folder}/{}",
                entry.file_name().to_str().expect("a name in UTF-8")
            );
            if entry.path().is_dir() {
                left.push(path);
            } else {
                found.push(path);
            }
        }
    }
    found.sort();
    assert!(found.len() > 15);
    found
}

/// A number as written in Rust or on the page: `6_103_515_625.0`, `1e-9`, `16`.
fn number(text: &str) -> Option<f64> {
    let text = text.replace('_', "");
    match text.strip_prefix("0x") {
        Some(hex) => u32::from_str_radix(hex, 16).ok().map(f64::from),
        None => text.parse().ok(),
    }
}

/// A constant item and the numbers of a file.
#[derive(Default)]
struct Numbers {
    /// Name and value, as tokens, of each constant that holds a number.
    constants: Vec<(String, String)>,
    /// Numbers with a decimal point outside of constants.
    loose: Vec<f64>,
}

fn tidy(tokens: &TokenStream) -> String {
    tokens
        .to_string()
        .replace([' ', '\n', '_'], "")
        .replace(",]", "]")
        .replace(",)", ")")
}

fn literals(tokens: TokenStream, found: &mut Vec<f64>, with_whole: bool) {
    for token in tokens {
        match token {
            TokenTree::Group(group) => literals(group.stream(), found, with_whole),
            TokenTree::Literal(literal) => {
                let text = literal.to_string();
                let fraction = text.contains('.') || text.contains("e-");
                found.extend(number(&text).filter(|_| with_whole || fraction));
            }
            _ => {}
        }
    }
}

/// What stands outside of tests.
fn numbers(text: &str) -> Numbers {
    let mut found = Numbers::default();
    collect(text.parse().expect("Rust"), &mut found);
    found
}

fn collect(tokens: TokenStream, found: &mut Numbers) {
    let tokens: Vec<TokenTree> = tokens.into_iter().collect();
    let word = |at: usize| {
        let token = tokens.get(at).map(ToString::to_string);
        token.unwrap_or_default()
    };
    let mut at = 0;
    while at < tokens.len() {
        let is_test = word(at) == "#" && word(at + 1).replace(' ', "") == "[cfg(test)]";
        if is_test {
            // The module that follows, up to its braces.
            while !matches!(&tokens[at], TokenTree::Group(g) if g.delimiter() == Delimiter::Brace) {
                at += 1;
            }
        } else if word(at) == "const" && word(at + 2) == ":" && !is_parameter(&tokens, at) {
            let name = word(at + 1);
            while !matches!(tokens[at].to_string().as_str(), "=" | ";") {
                at += 1;
            }
            // A trait's constant may stand without a value.
            let from = if word(at) == "=" { at + 1 } else { at };
            let value: TokenStream = tokens[from..]
                .iter()
                .take_while(|token| token.to_string() != ";")
                .cloned()
                .collect();
            let mut inside = Vec::new();
            literals(value.clone(), &mut inside, true);
            if !inside.is_empty() {
                found.constants.push((name, tidy(&value)));
            }
            while tokens[at].to_string() != ";" {
                at += 1;
            }
        } else {
            match &tokens[at] {
                TokenTree::Group(group) => collect(group.stream(), found),
                other => literals(other.clone().into(), &mut found.loose, false),
            }
        }
        at += 1;
    }
}

/// `const N: usize` among the parameters of a type.
fn is_parameter(tokens: &[TokenTree], at: usize) -> bool {
    let before = at.checked_sub(1).and_then(|before| tokens.get(before));
    before.is_some_and(|token| matches!(token.to_string().as_str(), "<" | ","))
}

/// The value as a row tells it: in full, or for a long table by its digest.
fn told(value: &str, row: &Row) -> bool {
    let told: String = row.marked(VALUE).concat();
    if row.cells[VALUE].contains("sha256") {
        let digest = Sha256::digest(value);
        let hex: String = digest.iter().map(|byte| format!("{byte:02x}")).collect();
        assert!(
            told.len() == 16 && hex.starts_with(&told),
            "{PAGE}, line {}: the digest is {}",
            row.line,
            &hex[..16]
        );
        return true;
    }
    told.parse::<TokenStream>()
        .is_ok_and(|told| tidy(&told) == value)
}

/// A row of the page.
struct Row {
    line: usize,
    /// What it is, value, where, source, test, tolerance.
    cells: [String; 6],
}

impl Row {
    /// The parts of a cell that stand between backticks.
    fn marked(&self, cell: usize) -> Vec<&str> {
        self.cells[cell].split('`').skip(1).step_by(2).collect()
    }

    fn numbers(&self, cell: usize) -> Vec<f64> {
        if self.cells[cell].contains("sha256") {
            return Vec::new();
        }
        let split = |text: &str| -> Vec<f64> {
            text.split(|c: char| !(c.is_ascii_alphanumeric() || "._-".contains(c)))
                .filter_map(|word| number(word.trim_start_matches('-')))
                .collect()
        };
        self.marked(cell).into_iter().flat_map(split).collect()
    }
}

fn rows() -> Vec<Row> {
    let page = read(PAGE);
    let rows = page.lines().enumerate().filter_map(|(at, line)| {
        let cells: Vec<String> = line
            .strip_prefix('|')?
            .trim_end_matches('|')
            .split(" | ")
            .map(|cell| cell.trim().to_owned())
            .collect();
        let about_code = cells.len() > 2 && cells[2].contains("`color/");
        about_code.then(|| Row {
            line: at + 1,
            cells: cells
                .try_into()
                .unwrap_or_else(|_| panic!("{PAGE}, line {}: six cells make a row", at + 1)),
        })
    });
    rows.collect()
}

/// How the search lays out its memory: counts that change how fast it answers, and not what.
fn is_layout(path: &str, value: &str) -> bool {
    path.starts_with("color/src/nearest") && !value.contains('.') && !value.contains("e-")
}

const WHAT: usize = 0;
const VALUE: usize = 1;
const WHERE: usize = 2;
const SOURCE: usize = 3;
const TEST: usize = 4;
const TOLERANCE: usize = 5;

#[test]
fn every_constant_stands_on_the_page_with_its_value() {
    let rows = rows();
    let mut missing = Vec::new();
    for path in sources() {
        for (name, value) in numbers(&read(&path)).constants {
            if is_layout(&path, &value) {
                continue;
            }
            let row = rows.iter().find(|row| {
                row.marked(WHERE).contains(&&*path) && row.marked(WHAT).contains(&&*name)
            });
            let Some(row) = row else {
                missing.push(format!("{path}: {name} = {value}"));
                continue;
            };
            assert!(
                told(&value, row),
                "{PAGE}, line {}: {name} is {value}",
                row.line
            );
        }
    }
    assert!(
        missing.is_empty(),
        "add rows to {PAGE}:\n{}",
        missing.join("\n")
    );
}

#[test]
fn every_number_with_a_point_stands_on_the_page() {
    let rows = rows();
    let mut missing = BTreeSet::new();
    for path in sources() {
        let told: Vec<f64> = rows
            .iter()
            .filter(|row| row.marked(WHERE).contains(&&*path))
            .flat_map(|row| row.numbers(VALUE))
            .collect();
        for loose in numbers(&read(&path)).loose {
            if !PLAIN.contains(&loose) && !told.contains(&loose) {
                missing.insert(format!("{path}: {loose}"));
            }
        }
    }
    let missing: Vec<String> = missing.into_iter().collect();
    assert!(
        missing.is_empty(),
        "add rows to {PAGE}:\n{}",
        missing.join("\n")
    );
}

/// Whether a function of this name is there and run as a test.
fn is_test(text: &str, name: &str) -> bool {
    let Some((before, _)) = text.split_once(&format!("fn {name}(")) else {
        return false;
    };
    let above = before.trim_end().lines().rev().map(str::trim);
    above
        .take_while(|line| line.starts_with('#') || line.starts_with("//"))
        .any(|line| line == "#[test]")
}

#[test]
fn what_the_page_says_is_there() {
    let rows = rows();
    assert!(rows.len() > 40);
    for row in &rows {
        let at = format!("{PAGE}, line {}", row.line);
        for cell in &row.cells {
            assert!(!cell.is_empty(), "{at}: a cell is empty");
        }
        let source = &row.cells[SOURCE];
        assert!(source.chars().count() > 3, "{at}: source {source:?}");
        // Its values are in the file, constants or not.
        for path in row.marked(WHERE) {
            if !path.ends_with(".rs") {
                assert!(root().join(path).exists(), "{at}: {path}");
                continue;
            }
            let mut inside = Vec::new();
            literals(read(path).parse().unwrap(), &mut inside, true);
            for value in row.numbers(VALUE) {
                assert!(inside.contains(&value), "{at}: {path} has no {value}");
            }
            for name in row.marked(WHAT) {
                assert!(read(path).contains(name), "{at}: {path} has no {name}");
            }
        }
        let tests = row.marked(TEST);
        assert!(!tests.is_empty(), "{at}: no test");
        let mut held = Vec::new();
        for test in &tests {
            let (path, name) = test
                .split_once("::")
                .unwrap_or_else(|| panic!("{at}: write {test} as path::function"));
            let text = read(path);
            assert!(is_test(&text, name), "{at}: {path} has no test {name}");
            literals(text.parse().unwrap(), &mut held, true);
        }
        for tolerance in row.numbers(TOLERANCE) {
            assert!(
                held.contains(&tolerance),
                "{at}: no test named has {tolerance}"
            );
        }
    }
}

/// Each table of CIE data and each fixture is named with where it comes from.
#[test]
fn every_table_has_its_source() {
    let page = read(PAGE);
    let notice = read("color/tables/NOTICE");
    let fixtures = read("color/tests/data/README.md");
    let files = |folder: &str| -> Vec<String> {
        fs::read_dir(root().join(folder))
            .unwrap()
            .map(|entry| entry.unwrap().file_name().to_str().unwrap().to_owned())
            .filter(|name| name.ends_with(".csv"))
            .collect()
    };
    for name in files("color/tables") {
        assert!(
            page.contains(&format!("`color/tables/{name}`")),
            "{PAGE} lacks {name}"
        );
        let several = name.replace(|c: char| c.is_ascii_digit(), "*");
        let in_notice = notice.lines().any(|line| {
            let told = line.split_whitespace().next().unwrap_or_default();
            let (head, tail) = told.split_once('*').unwrap_or((told, ""));
            !told.is_empty() && name.starts_with(head) && name.ends_with(tail)
        });
        assert!(in_notice, "NOTICE lacks {name} or {several}");
    }
    for name in files("color/tests/data") {
        assert!(
            fixtures.contains(&format!("| {name} |")),
            "tests/data/README.md lacks {name}"
        );
    }
}

#[test]
fn a_planted_number_is_found() {
    let found = numbers(
        "/// 3.5 in words.\npub const A: f64 = 0.25;\nimpl B { const C: [f64; 2] = [1_0.0, -2e-3,]; }\n\
         const NAMES: [&str; 1] = [\"4.5\"];\nfn f(x: f64) -> f64 { x * 0.75 + g(5, 1e-9) }\n\
         #[cfg(test)]\nmod tests { const D: f64 = 0.1; fn g() { 0.2; } }\nfn h<const N: usize>() { 0.125; }",
    );
    let constants: Vec<_> = found.constants.iter().map(|(n, v)| (&**n, &**v)).collect();
    assert_eq!(constants, [("A", "0.25"), ("C", "[10.0,-2e-3]")]);
    assert_eq!(found.loose, [0.75, 1e-9, 0.125]);
}
