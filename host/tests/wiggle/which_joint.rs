//! Every joint that can be watched is found and named when it opens now and then.

use std::time::Duration;

use loomproof::bench::Upset;
use loomproof::fault::Joint;
use loomproof::wiggle::Tally;
use loomproof::wiggle::spots::{Watch, Why, spelled};
use loomproof_core::wire::Place;

use crate::support::{Hooked, job};

fn opens(joint: &Joint, gap: u64, every: u64) -> Upset {
    Upset::Intermittent {
        joint: joint.clone(),
        gap: Duration::from_micros(gap),
        every: Duration::from_micros(every),
        ohms: None,
    }
}

fn named(watch: &Watch, tally: &Tally, joint: &Joint) -> bool {
    tally.events.iter().any(|event| {
        let mut spots = event.spots.iter();
        spots.any(|spot| watch.spots[*spot].joints.contains(joint))
    })
}

/// Every `step`th joint that can be watched, one after the other; each is named, and
/// nothing that is elsewhere.
fn sweep(hooked: &Hooked, leads: u8, (gap, step): (u64, usize)) -> usize {
    let joints = hooked.watch.spots.iter().flat_map(|spot| &spot.joints);
    let joints: Vec<&Joint> = joints.collect();
    let turns = hooked.watch.groups.len() as u64;
    let mut tried = 0;
    for (at, joint) in joints.iter().enumerate().step_by(step) {
        // Each group has a window of a quarter of a second; the gap comes in all of them.
        let tally = hooked.run(
            &[opens(joint, gap, 60_000)],
            (at as u64 + 1, leads),
            turns * 130_000,
        );
        let name = spelled(joint);
        assert!(
            named(&hooked.watch, &tally, joint),
            "{name}: {:?}",
            tally.events
        );
        for event in &tally.events {
            let spots = event.spots.iter();
            let said: Vec<&Joint> = spots
                .flat_map(|it| &hooked.watch.spots[*it].joints)
                .collect();
            assert!(said.contains(joint), "{name} was taken for {said:?}");
            assert!(event.longest < gap + 400, "{name}: {event:?}");
        }
        assert_eq!(tally.unexplained, 0, "{name}");
        tried += 1;
    }
    tried
}

#[test]
fn smallest_dead_every_joint() {
    let hooked = Hooked::dead(job("smallest"), Place::Vehicle, 16);
    assert!(sweep(&hooked, 16, (300, 1)) >= 3);
}

#[test]
fn van_dead_in_the_vehicle_and_on_the_bench() {
    let hooked = Hooked::dead(job("bakery-van"), Place::Vehicle, 64);
    assert!(sweep(&hooked, 64, (400, 5)) >= 4);
    let hooked = Hooked::dead(job("bakery-van"), Place::Bench, 64);
    assert!(sweep(&hooked, 64, (400, 5)) >= 6);
}

#[test]
fn van_live() {
    let hooked = Hooked::live(job("bakery-van"), 64);
    let quick = hooked.watch.spots.iter().filter(|spot| !spot.slow).count();
    assert!(quick > 0);
    let mut hooked = hooked;
    hooked
        .watch
        .spots
        .iter_mut()
        .filter(|spot| spot.slow)
        .for_each(|spot| spot.joints.clear());
    assert!(sweep(&hooked, 64, (1_500, 2)) >= 2);
}

#[test]
fn healthy_joints_are_quiet_for_five_seconds() {
    for (hooked, leads) in [
        (Hooked::dead(job("smallest"), Place::Vehicle, 16), 16),
        (Hooked::dead(job("socket-13-pin"), Place::Bench, 64), 64),
        (Hooked::live(job("bakery-van"), 64), 64),
    ] {
        let tally = hooked.run(&[], (3, leads), 5_000_000);
        assert!(!tally.any(), "{:?}", tally.events);
        assert!(tally.lasted >= 5_000_000);
    }
}

#[test]
fn what_cannot_be_watched_is_listed_with_its_reason() {
    for (name, place) in [
        ("smallest", Place::Vehicle),
        ("bakery-van", Place::Vehicle),
        ("bakery-van", Place::Bench),
        ("socket-13-pin", Place::Bench),
        ("bench-64", Place::Bench),
    ] {
        let hooked = Hooked::dead(job(name), place, 128);
        let watch = &hooked.watch;
        let joints: usize = watch.spots.iter().map(|spot| spot.joints.len()).sum();
        println!(
            "{name} {place:?}: {joints} joints in {} spots, {} groups of up to {} leads; not: {:?}",
            watch.spots.len(),
            watch.groups.len(),
            watch.widest(),
            watch
                .unwatched
                .iter()
                .map(|(joint, why)| (spelled(joint), *why))
                .collect::<Vec<_>>()
        );
        let all = loomproof::fault::catalogue::joints(&hooked.job).len();
        assert_eq!(joints + watch.unwatched.len(), all, "{name}");
        for group in &watch.groups {
            assert!(group.watched.len() <= place.max_watched());
            assert!(!group.low.overlaps(&group.watched));
        }
    }
    let van = Hooked::dead(job("bakery-van"), Place::Vehicle, 64);
    for (place, why) in [
        ("T1", Why::Part),
        ("X10:3", Why::NoLead),
        ("R1:85", Why::Module),
    ] {
        let mut list = van.watch.unwatched.iter();
        let found = list.find(|(joint, _)| spelled(joint) == place);
        assert_eq!(found.map(|(_, why)| *why), Some(why), "{place}");
    }
}
