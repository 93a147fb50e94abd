#![no_main]
libfuzzer_sys::fuzz_mutator!(|data: &mut [u8], size: usize, most: usize, seed: u32| {
    fascicle_fuzz::edits::json(data, size, most, seed)
});
libfuzzer_sys::fuzz_target!(|bytes: &[u8]| fascicle_fuzz::parsers::json(bytes));
