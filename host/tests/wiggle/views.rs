//! What the terminal shows, line by line.

use loomproof::wiggle::round::{Loose, Window};
use loomproof::wiggle::view::{Caption, Size, coloured, lines};
use loomproof::wiggle::{Tally, Watch};
use loomproof_core::units::{Micros, Ohms};
use loomproof_core::wire::{LeadId, Place};

use crate::support::{Hooked, job};

fn caption() -> Caption {
    Caption {
        title: "Two wires and a tap".into(),
        how: "battery off, in the vehicle".into(),
        certain: "On 2 leads at once a dropout of 84 µs is certain.".into(),
        ask: "Pull and bend the harness, joint by joint.".into(),
        end: "Enter ends it.".into(),
    }
}

fn let_go(watch: &Watch, lead: LeadId, open: bool) -> Tally {
    let mut tally = Tally::new(watch);
    tally.window(
        watch,
        &Window {
            group: 0,
            began: 61_300_000,
            took: 250_000,
            round: Micros(20),
            loose: vec![Loose {
                lead,
                count: 3,
                first: 1_000,
                longest: 340,
                open_at_end: open,
            }],
            more: 0,
        },
    );
    tally
}

#[test]
fn a_view_is_80_by_24_and_says_all_without_colour() {
    let hooked = Hooked::dead(job("smallest"), Place::Vehicle, 16);
    let watch = &hooked.watch;
    let lead = watch.groups[0].watched.iter().next().unwrap();
    let mut tally = let_go(watch, lead, true);
    tally.measured(watch, 0, lead, Ohms(0.42));
    let size = Size {
        columns: 80,
        rows: 23,
    };
    let view = lines(watch, &tally, &caption(), size);
    insta::assert_snapshot!(view.join("\n"));
    assert!(view.iter().all(|line| line.chars().count() <= 80));
    // Colour adds nothing that is not said.
    let plain: Vec<String> = coloured(&view)
        .iter()
        .map(|line| {
            line.replace("\u{1b}[7;31m", "")
                .replace("\u{1b}[31m", "")
                .replace("\u{1b}[0m", "")
        })
        .collect();
    assert_eq!(plain, view);
}

#[test]
fn what_came_apart_is_never_crowded_out() {
    let hooked = Hooked::dead(job("bench-64"), Place::Bench, 128);
    let watch = &hooked.watch;
    assert!(watch.spots.len() > 17, "{}", watch.spots.len());
    let last = watch.groups[0].signs.last().unwrap();
    let lead = last.sure.iter().next().unwrap();
    let tally = let_go(watch, lead, false);
    let size = Size {
        columns: 80,
        rows: 23,
    };
    let view = lines(watch, &tally, &caption(), size);
    assert_eq!(view.len(), 23);
    assert!(view.iter().all(|line| line.chars().count() <= 80));
    assert_eq!(
        view.iter()
            .filter(|line| line.ends_with("  closed"))
            .count(),
        1
    );
}
