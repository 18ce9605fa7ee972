//! Short forms of the long runs: `cargo run --release -p loomproof-tests --example
//! soak` goes on for a day.

use std::time::Duration;

use loomproof::ringout::report::Verdict;
use loomproof_tests::soak::ringing::{Rung, in_process};
use loomproof_tests::soak::watching::{Watched, Way, watch};

/// A process that takes no more than this much more, KiB, while it goes on.
const FLAT: u64 = 4 << 10;

fn fine(watched: &Watched) {
    println!("{watched:?}");
    assert!(watched.wrong.is_empty(), "{:#?}", watched.wrong);
    assert_eq!(watched.counted, watched.dropouts);
    assert_eq!((watched.astray, watched.drifted), (0, 0));
    assert!(watched.own.grew().is_none_or(|grew| grew < FLAT));
}

/// The clock wraps round twice in two and a half hours.
#[test]
fn hours_of_watching_miss_no_dropout_and_drift_nowhere() {
    let watched = watch(
        Way {
            from: Duration::ZERO,
            span: Duration::from_secs(9_000),
            unbroken: false,
        },
        &mut |_| {},
    )
    .unwrap();
    fine(&watched);
    assert_eq!((watched.wraps, watched.silences), (2, [1, 1]));
    assert!(watched.dropouts > 130, "{}", watched.dropouts);
}

/// Window after window, over a wrap of the clock.
#[test]
fn no_dropout_is_missed_from_window_to_window() {
    let watched = watch(
        Way {
            from: Duration::from_secs(4_280),
            span: Duration::from_secs(40),
            unbroken: true,
        },
        &mut |_| {},
    )
    .unwrap();
    fine(&watched);
    assert_eq!((watched.wraps, watched.silences), (1, [1, 0]));
    assert!(watched.dropouts >= 2, "{}", watched.dropouts);
}

fn same(rung: &Rung, runs: u64) {
    println!("{rung:?}");
    assert_eq!(rung.runs, runs);
    assert!(rung.wrong.is_empty(), "{:#?}", rung.wrong);
    assert_eq!(rung.drifted, 0);
    assert!(rung.own.grew().is_none_or(|grew| grew < FLAT));
}

#[test]
fn one_ring_out_after_the_other_says_the_same() {
    for (fault, right) in [
        (None, Verdict::Pass),
        (Some("open@X1:4"), Verdict::Faults),
        (Some("live@X1:5,volts=12"), Verdict::Refused),
    ] {
        let rung = in_process(fault, right, 40, &mut |_| {}).unwrap();
        same(&rung, 40);
        // What is held against nothing proves nothing.
        let other = in_process(fault, Verdict::Undecided, 2, &mut |_| {});
        assert_eq!(other.unwrap().wrong.len(), 2);
    }
}

#[cfg(unix)]
#[test]
fn the_emulated_board_says_the_same_and_its_stack_stays() {
    use loomproof::link::connect;
    use loomproof_tests::qemu::{self, Emulated};
    use loomproof_tests::soak::ringing::{bench, ring, smallest};

    let Some((qemu, elf)) = qemu::installed(qemu::ELF) else {
        return;
    };
    let site = smallest().unwrap();
    let board = Emulated::start(&qemu, &elf, || {
        bench(&smallest().unwrap(), Some("open@X1:4")).unwrap()
    })
    .unwrap();
    let mut link = connect(board.port()).unwrap();
    let pid = Some(board.pid());
    let mut depths = Vec::new();
    for _ in 0..2 {
        let rung = ring(&mut link, &site, (8, Verdict::Faults), pid, &mut |_| {}).unwrap();
        same(&rung, 8);
        depths.push(board.deepest_stack().unwrap());
    }
    println!("stack: {depths:?}");
    // It has been used, and a second time no deeper.
    assert!(depths[0] > 500 && depths[0] < 16 << 10, "{depths:?}");
    assert_eq!(depths[0], depths[1]);
    drop(link);
    board.stop().unwrap();
}
