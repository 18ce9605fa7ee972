//! Any text as a jig's file, and behind a zero byte as its history: refused in words, or
//! written and read the same again; a history that counts no line twice.
#![no_main]

use std::path::Path;

use libfuzzer_sys::fuzz_target;
use loomproof::jig::file::{read, text};
use loomproof::jig::history::History;

fuzz_target!(|bytes: &[u8]| {
    let Ok(given) = std::str::from_utf8(bytes) else {
        return;
    };
    let (file, history) = given.split_once('\0').unwrap_or((given, ""));
    let path = Path::new("van.jig.toml");
    let jig = match read(path, file, false) {
        Ok(jig) => jig,
        Err(words) => {
            assert!(!words.trim().is_empty(), "refused without a word");
            return;
        }
    };
    assert_eq!(read(path, &text(&jig), false).as_ref(), Ok(&jig));
    assert!(!jig.wires.is_empty() && !jig.plans.is_empty());
    let known = History::of(history, &jig);
    assert!(known.matings as usize <= history.lines().count());
    assert!(known.since_check <= known.matings);
});
