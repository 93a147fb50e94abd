#![no_main]
libfuzzer_sys::fuzz_target!(|bytes: &[u8]| fascicle_fuzz::parsers::trace(bytes));
