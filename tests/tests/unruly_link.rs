//! Whatever goes wrong on the line to the probe, a ring-out ends with the
//! readings that a good line gives, or with an error, within bounded time.
//! `cargo run --release -p loomproof-tests --example unruly_link` does it a
//! hundred thousand times.

use loomproof_tests::unruly_link::ring::{Bed, End};
use loomproof_tests::unruly_link::tally::Tally;
use loomproof_tests::unruly_link::trouble::Theme;

#[test]
fn never_a_wrong_verdict() {
    let bed = Bed::new().unwrap();
    let tally = Tally::of(&bed, 0..3_000).unwrap();
    println!("{}{:?}", tally.table(), tally.errors());
    assert!(tally.wrong.is_empty(), "{:#?}", tally.wrong);
    assert_eq!(tally.runs(), 3_000);
    // What is held against nothing proves nothing: some get through, some do not.
    for (theme, row) in &tally.rows {
        assert!(row.right > 0, "{}: none got through", theme.words());
        // Each of these is got over by asking again, or nearly.
        let got_over = [Theme::None, Theme::Copied, Theme::Reset, Theme::SecondHost];
        if !got_over.contains(theme) {
            assert!(row.failed() > 0, "{}: all got through", theme.words());
        }
    }
    let none = &tally.rows[&Theme::None];
    assert_eq!(none.failed(), 0, "{none:?}");
}

#[test]
fn the_same_seed_gives_the_same_run() {
    let bed = Bed::new().unwrap();
    for seed in 0..40 {
        let (a, b) = (bed.run(seed).unwrap(), bed.run(seed).unwrap());
        assert_eq!((&a.end, a.theme), (&b.end, b.theme), "seed {seed}");
        assert!(!matches!(a.end, End::Wrong(_)), "seed {seed}: {:?}", a.end);
    }
}
