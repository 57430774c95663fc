//! ISO 28178 text.
#![no_main]

mod checked;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    checked::check(&[b"ISO28178\n", bytes].concat());
});
