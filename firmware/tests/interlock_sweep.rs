//! A lead turns live at any moment of a scan: every lead, every step, several moments
//! of a step; from the battery to below 0 V, at once or slowly.
//!
//! What the comparators see (> 4 V, < −0.5 V) lets go within 50 µs. What only the watch
//! can tell from the probe's own drive (> 3.5 V, < −0.2 V) lets go when the watch has
//! gone round: a millisecond for each lead at most, in steps that last so long; shorter
//! ones end before, and each begins with a look at what it drives. What lies between
//! stays unseen until its lead is to be driven, and then nothing is closed onto it.
//!
//! A lead that turns live between the look at it and the closing of its disconnect,
//! some 50 µs, is closed onto: no probe can know. It is let go of as above.

mod fake;

use std::cell::Cell;
use std::rc::Rc;

use fake::{Rig, step};
use loomproof_core::units::Micros;
use loomproof_core::wire::{Refusal, Reply, Request, Step};

const LEADS: u8 = 16;

/// A step with 20 ms of settling and three readings, and the looks between, microseconds.
const LONG_STEP: u64 = 90_000;

/// Every lead once the source: a neighbour low, one apart read too.
fn scan(settle: Micros) -> Vec<Step> {
    let on = |lead: u8, by: u8| (lead + by) % LEADS;
    (0..LEADS)
        .map(|lead| Step {
            settle,
            ..step(&[lead], &[on(lead, 1)], &[lead, on(lead, 1), on(lead, 5)])
        })
        .collect()
}

/// How a lead turns live.
#[derive(Debug, Clone, Copy)]
struct Kind {
    volts: f64,
    /// Steps of voltage, a millisecond apart; 1 is at once.
    ramp: u32,
    /// Drive is let go of within so many microseconds; `None` where it need only
    /// not be closed onto.
    within: Option<u64>,
}

#[test]
fn whenever_and_wherever_a_lead_turns_live() {
    let watch = u64::from(LEADS) * 1_000;
    let at_once = |volts, within| Kind {
        volts,
        ramp: 1,
        within,
    };
    let kinds = [
        at_once(12.0, Some(50)),
        at_once(4.2, Some(50)),
        at_once(-0.7, Some(50)),
        at_once(-12.0, Some(50)),
        at_once(3.8, Some(watch)),
        at_once(-0.4, Some(watch)),
        at_once(3.0, None),
        at_once(0.3, None),
        Kind {
            volts: 12.0,
            ramp: 40,
            within: None,
        },
        Kind {
            volts: -0.45,
            ramp: 9,
            within: None,
        },
        Kind {
            volts: 0.6,
            ramp: 12,
            within: None,
        },
    ];
    let (short, long) = (scan(Micros(400)), scan(Micros(20_000)));
    let mut tried = 0;
    let mut slowest = vec![0_u64; kinds.len()];
    for (number, kind) in kinds.iter().enumerate() {
        let watched = kind.within.is_some_and(|within| within > 50);
        let steps = if watched { &long } else { &short };
        for live in 0..LEADS {
            for first in 0..steps.len() {
                // Looks, settling, readings, discharge.
                let moments = if watched {
                    // While the step drives: before, the look at what is driven sees it.
                    [300_u64, 700, 5_000]
                } else {
                    [20, 300, 700]
                };
                let moment = moments[(first + usize::from(live)) % 3];
                let took = run(*kind, live, first, moment, steps);
                slowest[number] = slowest[number].max(took);
                tried += 1;
            }
        }
    }
    println!("{tried} runs; slowest to let go, µs: {slowest:?}");
    assert_eq!(tried, kinds.len() * usize::from(LEADS) * short.len());
}

/// Runs the scan from `first` on, the lead turning live so many microseconds into it,
/// until the probe refuses; how long it drove after that, in microseconds.
fn run(kind: Kind, live: u8, first: usize, moment: u64, steps: &[Step]) -> u64 {
    let mut rig = Rig::leads(1);
    rig.arm();
    let began = Rc::new(Cell::new(0));
    for part in 1..=kind.ramp {
        let began = Rc::clone(&began);
        let volts = kind.volts * f64::from(part) / f64::from(kind.ramp);
        let at = moment + u64::from(part - 1) * 1_000;
        rig.world.borrow_mut().after(at, move |world| {
            if part == 1 {
                began.set(world.ns);
            }
            world.net(live).source = Some((volts, 10.0));
        });
        let before = kind.volts * f64::from(part - 1) / f64::from(kind.ramp);
        if before.abs() <= 0.21 {
            // Not live before this part: the look may have come just before it.
            let forgiven = |world: &mut fake::World| world.violations.clear();
            rig.world.borrow_mut().after(at + 60, forgiven);
        }
    }
    let closed_late = Rc::new(Cell::new(false));
    if let Some(within @ 0..=50) = kind.within {
        let closed_late = Rc::clone(&closed_late);
        rig.world.borrow_mut().after(moment + within, move |world| {
            closed_late.set(!world.closed().is_empty());
        });
    }
    // Twice round, and as long as the ramp takes.
    for at in 0..steps.len() * 2 + kind.ramp as usize * 2 {
        let step = steps[(first + at) % steps.len()].clone();
        let reply = rig.ask(&Request::Step(step));
        rig.must_be_safe();
        assert!(
            !closed_late.get(),
            "{kind:?} on lead {live}: closed after 50 µs"
        );
        match reply {
            Reply::Readings { .. } => {}
            Reply::Refused(Refusal::Live(..) | Refusal::Tripped) => {
                let took = (rig.world.borrow().ns - began.get()) / 1_000;
                if let Some(within) = kind.within.filter(|within| *within > 50) {
                    // What the step reads itself it sees when it reads it.
                    let own = steps[first].senses.iter().any(|sense| sense.lead.0 == live);
                    let most = if own { LONG_STEP } else { within };
                    assert!(
                        took <= most,
                        "{kind:?} on lead {live}, {moment} µs into step {first}, {at} steps on: {took} µs, {reply:?}"
                    );
                }
                return took;
            }
            other => panic!("{kind:?} on lead {live}: {other:?}"),
        }
    }
    panic!("{kind:?} on lead {live}, from step {first}: never refused");
}
