//! CxF3 (ISO 17972-1).
#![no_main]

mod checked;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    checked::check(&[b"<", bytes].concat());
});
