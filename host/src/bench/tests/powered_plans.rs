//! The fixtures with the battery on: healthy in every position of their switches.

use crate::bench::{Bench, Settings};
use crate::hookup::propose;
use crate::plan::Plan;
use crate::plan::model::{Consumer, Job, States, Terminal};
use crate::plan::read;
use loomproof_core::wire::Place;
use std::collections::BTreeMap;

pub(super) fn plan(name: &str) -> Plan {
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/../fixtures/plans/");
    let text = std::fs::read_to_string(format!("{folder}{name}.toml")).expect("a plan");
    read("plan", &text).expect("a good plan")
}

pub(super) fn settings(seed: u64, spread: bool) -> Settings {
    Settings {
        seed,
        spread,
        noise: false,
        leads: 128,
        ..Settings::default()
    }
}

fn variants(plan: &Plan) -> Vec<Job> {
    let mut answers: Vec<BTreeMap<String, String>> = vec![BTreeMap::new()];
    for option in plan.options() {
        answers = answers
            .into_iter()
            .flat_map(|known| {
                option.choices.iter().map(move |choice| {
                    let mut more = known.clone();
                    more.insert(option.name.clone(), choice.clone());
                    more
                })
            })
            .collect();
    }
    answers
        .iter()
        .map(|answers| plan.resolve(answers).expect("a job"))
        .collect()
}

/// What hangs at a place, as the plan says.
fn load_at<'j>(job: &'j Job, place: &str) -> Option<&'j Consumer> {
    let is =
        |terminal: &Terminal| matches!(terminal, Terminal::At(end) if end.to_string() == place);
    let mut loads = job.electrics.loads.iter();
    loads.find(|load| is(&load.between.0) || is(&load.between.1))
}

fn across(bench: &Bench, load: &Consumer) -> f64 {
    let volts = |terminal: &Terminal| match terminal {
        Terminal::At(end) => bench.stands_at(&end.to_string()).expect("a place").value(),
        Terminal::Chassis => 0.0,
        Terminal::BatteryPlus => panic!("no fixture has a load on battery plus"),
    };
    volts(&load.between.0) - volts(&load.between.1)
}

/// Walks through every position of the switches; the count of positions in which
/// every function was as the plan says.
fn walk(job: &Job, seed: u64) -> usize {
    let hookup = propose(job, Place::Vehicle, 128).expect("a hook-up");
    let mut bench = Bench::powered(job, &hookup, &[], &[], &settings(seed, true)).expect("a bench");
    // Where nothing hangs, what stands there while the function is on and off.
    let mut levels: BTreeMap<(&str, bool), bool> = BTreeMap::new();
    let switches = &job.electrics.switches;
    let total: usize = switches.iter().map(|switch| switch.states.len()).product();
    for number in 0..total {
        let mut rest = number;
        let mut set = BTreeMap::new();
        for switch in switches {
            let state = &switch.states[rest % switch.states.len()];
            rest /= switch.states.len();
            bench.set_switch(&switch.name, state).expect("a switch");
            set.insert(switch.name.as_str(), state.as_str());
        }
        let is = |name: &str, state: &str| set.get(name) == Some(&state);
        for function in &job.functions {
            let states = job.electrics.on_when.get(&function.name);
            let on = states.is_some_and(|states: &States| states.holds(&is));
            for place in &function.seen_at {
                let supply = job.supply.value();
                if let Some(load) = load_at(job, place) {
                    let volts = across(&bench, load);
                    assert_eq!(
                        volts > 0.75 * supply,
                        on,
                        "{} {set:?}: {volts:.2} V at {place} for {}",
                        job.title,
                        function.name
                    );
                    assert!(on || volts.abs() < 0.1 * supply, "{place}: {volts:.2} V");
                } else {
                    let volts = bench.stands_at(place).expect("a place").value();
                    let high = volts > supply / 2.0;
                    let known = *levels.entry((place, on)).or_insert(high);
                    assert_eq!(known, high, "{} {set:?}: {place} {volts:.2} V", job.title);
                }
            }
        }
        assert_eq!(bench.trouble(), None, "{} {set:?}", job.title);
        assert_eq!(bench.fuses_blown().count(), 0, "{} {set:?}", job.title);
    }
    for ((place, on), high) in &levels {
        let other = levels.get(&(place, !on));
        assert!(
            other.is_none_or(|other| other != high),
            "{place} tells nothing"
        );
    }
    total
}

#[test]
fn every_function_of_every_fixture_is_on_when_the_plan_says() {
    let mut walked = 0;
    for name in ["smallest", "bakery-van", "socket-13-pin", "bench-64"] {
        let plan = plan(name);
        for (seed, job) in (1..).zip(variants(&plan)) {
            if job.electrics.switches.is_empty() && job.functions.is_empty() {
                continue;
            }
            let begun = std::time::Instant::now();
            let count = walk(&job, seed);
            println!("{name} {:?}: {count} in {:?}", job.answers, begun.elapsed());
            walked += count;
        }
    }
    // 128 positions in each of four vans, 96 in each of two sockets.
    assert!(walked >= 704, "{walked}");
}
