//! How much memory a reader takes for a file, whatever stands in it. The number of bytes asked
//! for is counted by the allocator of this test program.

use std::alloc::{GlobalAlloc, Layout, System};
use std::sync::atomic::{AtomicUsize, Ordering};

use color::{ReadOptions, read_spectra};

struct Counting;

static NOW: AtomicUsize = AtomicUsize::new(0);
static PEAK: AtomicUsize = AtomicUsize::new(0);

fn grow(bytes: usize) {
    let now = NOW.fetch_add(bytes, Ordering::Relaxed) + bytes;
    PEAK.fetch_max(now, Ordering::Relaxed);
}

// SAFETY: everything is passed on to the system's allocator; the counters are only numbers.
unsafe impl GlobalAlloc for Counting {
    unsafe fn alloc(&self, layout: Layout) -> *mut u8 {
        grow(layout.size());
        // SAFETY: as the caller promised.
        unsafe { System.alloc(layout) }
    }

    unsafe fn dealloc(&self, place: *mut u8, layout: Layout) {
        NOW.fetch_sub(layout.size(), Ordering::Relaxed);
        // SAFETY: as the caller promised.
        unsafe { System.dealloc(place, layout) }
    }
}

#[global_allocator]
static ALLOCATOR: Counting = Counting;

/// The most bytes held while a file is read, beside the file.
fn peak(bytes: &[u8]) -> usize {
    let before = NOW.load(Ordering::Relaxed);
    PEAK.store(before, Ordering::Relaxed);
    let outcome = read_spectra(bytes, &ReadOptions::default());
    drop(outcome);
    PEAK.load(Ordering::Relaxed) - before
}

/// Bytes of memory for each byte of the file, and what any file may take.
const PER_BYTE: usize = 64;
const GROUND: usize = 256 * 1024;
const SIZE: usize = 512 * 1024;

fn filled(begin: &str, again: &str, end: &str) -> Vec<u8> {
    let count = (SIZE - begin.len() - end.len()) / again.len();
    [begin, &again.repeat(count), end].concat().into_bytes()
}

#[test]
fn memory_is_bounded_by_the_size_of_the_file() {
    let headings: String = (400..=700).step_by(10).map(|nm| format!(",{nm}")).collect();
    let row = "a".to_owned() + &",1".repeat(31) + "\n";
    let fields: String = (400..=700)
        .step_by(10)
        .map(|nm| format!(" nm{nm}"))
        .collect();
    let set = "a".to_owned() + &" 1".repeat(31) + "\n";
    let head = format!("BEGIN_DATA_FORMAT\nNAME{fields}\nEND_DATA_FORMAT\nBEGIN_DATA\n");
    let long_title = "t".repeat(SIZE / 2);
    let values = " 1".repeat(31);
    let cxf = "<CxF><Resources><ObjectCollection>";
    let tag = format!("<Tag Name=\"n\" Value=\"{}\"/>", "v".repeat(SIZE / 4));
    let object = format!("{cxf}<Object><TagCollection>{tag}</TagCollection><ColorValues>");
    let spectrum = format!("<ReflectanceSpectrum StartWL=\"400\">{values}</ReflectanceSpectrum>");
    let deep = format!("<CxF><{0}>", "e".repeat(SIZE / 4));
    let files = [
        (
            "CSV of one digit a value",
            filled(&format!("n{headings}\n"), &row, ""),
        ),
        ("CSV of empty cells", filled("n,400,410\n", ",\n", "")),
        ("CSV of headings alone", filled("n,400", ",", "\n1")),
        ("CSV of short headings", filled("400", ",1", "\n1\n")),
        (
            "CSV of a long heading",
            filled(
                &format!("{long_title},n{headings}\n"),
                &format!("1,{row}"),
                "",
            ),
        ),
        ("CSV, long", filled("nm,a,b,c\n", "1,1,1,1\n", "")),
        (
            "CSV of comments",
            filled(&format!("n{headings}\n"), "#a:b\n", &row),
        ),
        (
            "CSV of quotes",
            filled(&format!("n{headings}\n"), "\"\",", ""),
        ),
        (
            "text of one digit a value",
            filled(&head, &set, "END_DATA\n"),
        ),
        (
            "text of keywords",
            filled("ISO28178\n", "A 1\n", &format!("{head}{set}END_DATA\n")),
        ),
        ("text of fields", filled("BEGIN_DATA_FORMAT\n", "a ", "\n")),
        ("text of quotes", filled(&head, "\"\" ", "\n")),
        (
            "text of tables",
            filled(
                "",
                "BEGIN_DATA_FORMAT\na\nEND_DATA_FORMAT\nBEGIN_DATA\n1\nEND_DATA\n",
                "",
            ),
        ),
        ("XML of empty elements", filled("<CxF>", "<a/>", "</CxF>")),
        (
            "XML of attributes",
            filled("<CxF>", "<a b=\"\"/>", "</CxF>"),
        ),
        (
            "XML of attributes in one element",
            filled("<CxF ", "a ", "/>"),
        ),
        ("XML of references", filled("<CxF>", "&lt;", "</CxF>")),
        ("XML of comments", filled("<CxF>", "<!---->", "</CxF>")),
        ("XML below a long name", filled(&deep, "<a/>", "")),
        (
            "XML of objects",
            filled(cxf, "<Object/>", "</ObjectCollection></Resources></CxF>"),
        ),
        (
            "XML of one list",
            filled(
                &format!("{cxf}<Object><ColorValues><ReflectanceSpectrum StartWL=\"400\">"),
                "1 ",
                "</ReflectanceSpectrum></ColorValues></Object></ObjectCollection></Resources></CxF>",
            ),
        ),
        (
            "XML of a tag for many spectra",
            filled(
                &object,
                &spectrum,
                "</ColorValues></Object></ObjectCollection></Resources></CxF>",
            ),
        ),
    ];
    let mut told = String::new();
    let mut over = Vec::new();
    for (what, bytes) in files {
        assert!(
            bytes.len() <= SIZE && bytes.len() > SIZE / 2,
            "{what}: {}",
            bytes.len()
        );
        let began = std::time::Instant::now();
        let taken = peak(&bytes);
        let took = began.elapsed();
        // Nothing here is to grow with the square of the size. A busy machine is slow, not that slow.
        assert!(took.as_secs() < 20, "{what} took {took:?}");
        let times = taken as f64 / bytes.len() as f64;
        told += &format!("{what}: {times:.1} times its size, {took:.0?}\n");
        if taken > bytes.len() * PER_BYTE + GROUND {
            over.push(what);
        }
    }
    assert!(
        over.is_empty(),
        "{over:?} took more than {PER_BYTE} times their size:\n{told}"
    );
    eprintln!("{told}");
}
