//! Every fault of every plan in the fixtures fits the bench.

use crate::bench::testing::{Mode, Rig};
use crate::bench::{Bench, Settings};
use crate::fault::{Fault, catalogue};
use crate::hookup::propose;
use crate::plan::model::Job;
use crate::plan::{Plan, read};
use loomproof_core::wire::Place;

const SETTINGS: Settings = Settings {
    seed: 3,
    leads: 128,
    spread: true,
    noise: true,
    spi_hz: 8_000_000,
    defects: Vec::new(),
    code: Vec::new(),
};

fn jobs() -> Vec<Job> {
    [
        include_str!("../../../../fixtures/plans/smallest.toml"),
        include_str!("../../../../fixtures/plans/bakery-van.toml"),
        include_str!("../../../../fixtures/plans/socket-13-pin.toml"),
        include_str!("../../../../fixtures/plans/bench-64.toml"),
    ]
    .iter()
    .map(|text| {
        let plan: Plan = read("plan", text).expect("a good plan");
        plan.resolve(&Default::default()).expect("a job")
    })
    .collect()
}

#[test]
fn every_fault_that_a_plan_allows_can_be_put_on_the_bench() {
    let mut tried = 0;
    for job in jobs() {
        for place in [Place::Bench, Place::Vehicle] {
            let Ok(hookup) = propose(&job, place, 64) else {
                continue;
            };
            let healthy = Bench::new(&job, &hookup, &[], &SETTINGS).expect("a bench");
            assert!(!healthy.tripped(), "{}", job.title);
            for fault in catalogue::all(&job, &hookup) {
                let bench = Bench::new(&job, &hookup, std::slice::from_ref(&fault), &SETTINGS);
                match bench {
                    Ok(bench) => assert!(
                        !bench.tripped() || matches!(fault, Fault::Live(..)),
                        "{}: {fault:?} trips",
                        job.title
                    ),
                    Err(error) => panic!("{}: {fault:?}: {error}", job.title),
                }
                tried += 1;
            }
        }
    }
    println!("{tried} faults put on the bench");
    assert!(tried > 500, "{tried}");
}

#[test]
fn a_walk_over_each_plan_finds_an_operating_point_everywhere() {
    for job in jobs() {
        for place in [Place::Bench, Place::Vehicle] {
            let Ok(hookup) = propose(&job, place, 64) else {
                continue;
            };
            let count = hookup.clips.len() as u8;
            let begun = std::time::Instant::now();
            let mut rig = Rig::new(&job, &hookup, &[], &SETTINGS);
            let mut distinct = 0;
            for driven in 0..count {
                rig.drive(&[driven], &[(driven + 1) % count]);
                for lead in (0..count).step_by(3) {
                    let volts = rig.read(lead, Mode::Down);
                    assert!((0.0..=3.3).contains(&volts));
                    distinct += 1;
                }
            }
            println!(
                "{} ({place:?}): {distinct} readings in {:?}",
                job.title,
                begun.elapsed()
            );
            assert_eq!(rig.bench.trouble(), None);
            assert!(!rig.bench.tripped());
        }
    }
}
