//! The bakery van with its battery on, in random positions of its switches, against
//! ngspice.

use loomproof::bench::solution::{Branch, DIODE_SHUNT};
use loomproof::bench::{Bench, Settings};
use loomproof::hookup::propose;
use loomproof::plan::Plan;
use loomproof_core::circuit::Junction;
use loomproof_core::solve::THERMAL;
use loomproof_core::units::{Ohms, Volts};
use loomproof_core::wire::Place;
use loomproof_tests::skip;
use loomproof_tests::solvers::{Device, Net};
use loomproof_tests::spice::{self, Diodes};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use std::collections::BTreeMap;
use std::path::Path;

/// Insulation of every node, for nodes between open contacts; a probe lead has
/// 1 GΩ of its own.
const INSULATION: Ohms = Ohms(1e13);

/// Error allowed, of the voltage but of no less than 1 V: what the insulation takes
/// from a lead that hangs free.
const LIMIT: f64 = 2e-3;

/// Where the probe's protection stops a lead that hangs free (as in `bench::island`), V.
const FREE: (f64, f64) = (-0.3, 3.6);

fn net(nodes: usize, branches: &[Branch]) -> Net {
    let device = |branch: &Branch| match *branch {
        Branch::Resistor { a, b, ohms } => Device::Resistor(a, b, ohms),
        Branch::Source { node, volts, ohms } => Device::Source(node, volts, ohms),
        Branch::Diode {
            anode,
            cathode,
            saturation,
            slope,
        } => {
            let emission = slope.value() / THERMAL;
            let junction = Junction {
                saturation,
                emission,
                spread: Volts(0.0),
            };
            Device::Diode(anode, cathode, junction)
        }
    };
    let insulated = (1..=nodes).map(|node| Device::Resistor(node, 0, INSULATION));
    Net {
        nodes,
        devices: branches.iter().map(device).chain(insulated).collect(),
    }
}

#[test]
fn ten_random_settings_of_the_van_agree_with_ngspice() {
    let Some(program) = skip::require("ngspice") else {
        return;
    };
    let folder = tempfile::tempdir().expect("a folder for netlists");
    let file = Path::new(env!("CARGO_MANIFEST_DIR")).join("../fixtures/plans/bakery-van.toml");
    let plan = Plan::load(&file).expect("the demo plan");
    let mut rng = ChaCha8Rng::seed_from_u64(12);
    let (mut worst, mut compared, mut fed) = (0.0_f64, 0, 0);
    for seed in 0..10 {
        let answers: BTreeMap<String, String> = plan
            .options()
            .iter()
            .map(|option| {
                let choice = rng.random_range(0..option.choices.len());
                (option.name.clone(), option.choices[choice].clone())
            })
            .collect();
        let job = plan.resolve(&answers).expect("a job");
        let hookup = propose(&job, Place::Vehicle, 64).expect("a hook-up");
        let settings = Settings {
            seed,
            noise: false,
            ..Settings::default()
        };
        let mut bench = Bench::powered(&job, &hookup, &[], &[], &settings).expect("a bench");
        for switch in &job.electrics.switches {
            let state = &switch.states[rng.random_range(0..switch.states.len())];
            bench.set_switch(&switch.name, state).expect("a switch");
        }
        // What hangs free takes its time: 1 GΩ and some nF.
        bench.wait(60_000_000_000);
        let (nodes, branches) = bench.circuit();
        let net = net(nodes, &branches);
        let theirs = spice::solve(&program, folder.path(), &net, DIODE_SHUNT, Diodes::Shockley)
            .unwrap_or_else(|said| panic!("ngspice gave no operating point:\n{said}"));
        for clip in &hookup.clips {
            let ours = bench.lead_volts(clip.lead).expect("a lead").value();
            let node = bench.lead_node(clip.lead).expect("a lead");
            // A lead that hangs free goes no further than the probe's protection lets it.
            let theirs = match theirs[node - 1] {
                volts if ours <= FREE.0 => volts.max(FREE.0),
                volts if (ours - FREE.1).abs() < 1e-9 => volts.min(FREE.1),
                volts => volts,
            };
            let error = (ours - theirs).abs() / theirs.abs().max(1.0);
            assert!(
                error < LIMIT,
                "seed {seed}, lead {}: {ours} V, ngspice {theirs} V",
                clip.lead
            );
            worst = worst.max(error);
            compared += 1;
            fed += usize::from(theirs > 6.0);
        }
    }
    println!("{compared} leads, {fed} of them fed, worst error {worst:.1e}");
    assert!(compared > 200 && fed > 50);
}
