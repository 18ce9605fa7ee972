//! How short a dropout may be: 16 leads dead, one lead dead, 16 leads live; in every
//! phase to the polls.

use std::time::Duration;

use loomproof::bench::Upset;
use loomproof::fault::Joint;
use loomproof::plan::Plan;
use loomproof::plan::model::{End, Job};
use loomproof::wiggle::round::{certain_dead, certain_live};
use loomproof_core::units::Micros;
use loomproof_core::wire::Place;

use crate::support::Hooked;

/// Leads of 2 m from X1 to a chassis ring (dead), or from a fed pin to X1 with a lamp
/// behind it (live): `n` of them.
fn plan(n: u16, text: &dyn Fn(u16) -> String) -> Job {
    let mut plan = format!(
        "plan = 1\ntitle = \"Many leads\"\n[connector.X1]\ncavities = {n}\naccess = \"mating side\"\n"
    );
    for at in 1..=n {
        plan.push_str(&text(at));
    }
    let file = tempfile::NamedTempFile::new().unwrap();
    std::fs::write(file.path(), plan).unwrap();
    let plan = Plan::load(file.path()).unwrap_or_else(|error| panic!("{}", error.render(false)));
    plan.resolve(&Default::default()).unwrap()
}

fn grounds(n: u16) -> Job {
    plan(n, &|at| {
        format!(
            "[lead.W{at}]\ncolour = \"BN\"\nsize = \"0.5 mm2\"\nlength = \"5 m\"\nfrom = \
             \"X1:{at}\"\nto = \"G{at}\"\n[ring.G{at}]\non = \"chassis\"\n"
        )
    })
}

fn feeds(n: u16) -> Job {
    plan(n, &|at| {
        format!(
            "[lead.W{at}]\ncolour = \"BN\"\nsize = \"0.5 mm2\"\nlength = \"5 m\"\nfrom = \
             \"X1:{at}\"\nto = \"B{at}\"\n[ring.B{at}]\non = \"battery plus\"\n"
        )
    })
}

fn once(at: u16, gap: u64) -> Upset {
    Upset::Intermittent {
        joint: Joint::At(End::Cavity("X1".into(), at)),
        gap: Duration::from_micros(gap),
        every: Duration::from_micros(4_900),
        ohms: None,
    }
}

/// Openings of a length, in ever new phases: all of those that fall into the
/// window are counted. Returns seen and expected.
fn caught(hooked: &Hooked, (n, leads): (u16, u8), gap: u64) -> (u32, u32) {
    let (mut seen, mut expected) = (0, 0);
    for seed in 0..12 {
        let cavity = 1 + u16::try_from(seed).unwrap() % n;
        let tally = hooked.run(&[once(cavity, gap)], (seed + 1, leads), 98_000);
        let count: u32 = tally.lines.iter().map(|line| line.count).sum();
        // 98 ms hold 20 openings; one may be cut by the beginning or the end.
        seen += count.min(20);
        expected += 19;
    }
    (seen, expected)
}

#[test]
fn a_hundred_microseconds_on_16_leads_and_on_one() {
    for n in [16, 1] {
        let hooked = Hooked::dead(grounds(n), Place::Vehicle, 16);
        assert_eq!(hooked.watch.widest(), usize::from(n));
        assert!(certain_dead(&hooked.watch.groups[0], None) <= Micros(100));
        for gap in [100, 130, 250] {
            let (seen, expected) = caught(&hooked, (n, 16), gap);
            println!("dead, {n} leads, {gap} µs: {seen} of at least {expected}");
            assert!(
                seen >= expected,
                "{n} leads, {gap} µs: {seen} of {expected}"
            );
        }
        // What is shorter than the way from look to look is seen by chance: the numbers
        // above can fail.
        let (seen, expected) = caught(&hooked, (n, 16), 1);
        assert!(seen < expected, "{seen} of {expected} of 1 µs");
    }
}

#[test]
fn a_millisecond_live_on_16_leads_and_a_hundred_microseconds_on_one() {
    for (n, least) in [(16, 1_000), (1, 100)] {
        let hooked = Hooked::live(feeds(n), 32);
        assert_eq!(hooked.watch.widest(), usize::from(n));
        assert!(certain_live(&hooked.watch.groups[0], None) <= Micros(least));
        for more in [0, 300] {
            let gap = u64::from(least) + more;
            let (seen, expected) = caught(&hooked, (n, 32), gap);
            println!("live, {n} leads, {gap} µs: {seen} of at least {expected}");
            assert!(
                seen >= expected,
                "{n} leads, {gap} µs: {seen} of {expected}"
            );
        }
    }
}

#[test]
fn shortest_certain_dropout_for_every_number_of_leads() {
    // docs/wiggle.md has these.
    let figures: Vec<u32> = [16, 32, 64, 128]
        .map(|n| {
            loomproof_firmware::guard::shortest(n, loomproof_core::units::Farads(1e-9), 10_000).0
        })
        .to_vec();
    let page = std::fs::read_to_string(
        std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("../docs/wiggle.md"),
    )
    .unwrap();
    for (leads, micros) in [16, 32, 64, 128].iter().zip(figures) {
        let row = format!("| dead, {leads} leads | {micros} µs |");
        assert!(page.contains(&row), "docs/wiggle.md lacks {row}");
    }
    for (n, words) in [(1, "one lead"), (16, "16 leads")] {
        let hooked = Hooked::live(feeds(n), 32);
        let Micros(micros) = certain_live(&hooked.watch.groups[0], None);
        let row = format!("| live, {words} | {micros} µs |");
        assert!(page.contains(&row), "docs/wiggle.md lacks {row}");
    }
}
