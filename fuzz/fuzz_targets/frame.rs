#![no_main]

// Panics of automerge that the guard catches are no finds; one that nobody catches ends the run all the same.
libfuzzer_sys::fuzz_target!(init: std::panic::set_hook(Box::new(|_| ())), |bytes: &[u8]| {
    napline_fuzz::frame(bytes);
});
