//! CSV, wide and long.
#![no_main]

mod checked;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    checked::check(bytes);
});
