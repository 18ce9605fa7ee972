//! Core's solve and the bench's solver against ngspice (Debian's package; version
//! 39 was run): the demo circuit step by step, and random circuits.
//!
//! Each solver puts a small conductance across every diode; ngspice is given
//! the same one (`gmin`).

use super::{CIRCUITS, DEMO, RANDOM};
use crate::skip;
use crate::solvers::{Device, Net};
use crate::spice::{self, Asked, Diodes};
use loomproof::bench::solution;
use loomproof::circuit::build;
use loomproof::hookup::propose;
use loomproof::plan::Plan;
use loomproof_core::circuit::{Element, GROUND, Junction, NodeId, Part};
use loomproof_core::instrument;
use loomproof_core::layout::{Islands, Layout};
use loomproof_core::scan::first_pass;
use loomproof_core::solve;
use loomproof_core::units::{Amperes, Ohms, Volts};
use loomproof_core::wire::{LeadId, Place, SenseMode, Step};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use std::collections::{BTreeMap, BTreeSet};
use std::path::PathBuf;

struct Oracle {
    program: PathBuf,
    folder: tempfile::TempDir,
}

impl Oracle {
    fn find() -> Option<Self> {
        Some(Self {
            program: skip::require("ngspice")?,
            folder: tempfile::tempdir().expect("a folder for netlists"),
        })
    }

    fn all(&self, asked: &[Asked<'_>]) -> Vec<Vec<f64>> {
        spice::solve_all(&self.program, self.folder.path(), asked)
            .unwrap_or_else(|said| panic!("ngspice gave no operating point:\n{said}"))
    }

    fn volts(&self, net: &Net, shunt: f64, diodes: Diodes) -> Vec<f64> {
        spice::solve(&self.program, self.folder.path(), net, shunt, diodes)
            .unwrap_or_else(|said| panic!("ngspice gave no operating point:\n{said}"))
    }
}

/// The worst errors so far.
#[derive(Default)]
struct Worst {
    core: f64,
    bench: f64,
    reduced: f64,
    nodes: usize,
    points: usize,
}

/// Relative to the voltage, but to no less than 1 mV.
fn error(ours: &[f64], theirs: &[f64]) -> f64 {
    assert_eq!(ours.len(), theirs.len());
    let relative = |(a, b): (&f64, &f64)| (a - b).abs() / b.abs().max(1e-3);
    let errors = ours.iter().zip(theirs).map(relative);
    // A NaN must not get lost in `max`.
    errors.fold(0.0, |worst, e| if e <= worst { worst } else { e })
}

impl Worst {
    /// Holds many nets, each against ngspice with the shunt of core and with
    /// that of the bench.
    fn hold_all(&mut self, oracle: &Oracle, nets: &[Net], limit: f64) {
        let with = |shunt| nets.iter().map(move |net| (net, shunt, Diodes::Shockley));
        let asked: Vec<Asked<'_>> = with(solve::DIODE_SHUNT)
            .chain(with(solution::DIODE_SHUNT))
            .collect();
        let theirs = oracle.all(&asked);
        let (as_core, as_bench) = theirs.split_at(nets.len());
        for ((net, as_core), as_bench) in nets.iter().zip(as_core).zip(as_bench) {
            self.hold(net, as_core, as_bench, limit);
        }
    }

    fn hold(&mut self, net: &Net, as_core: &[f64], theirs: &[f64], limit: f64) {
        let core = error(&net.core(), as_core);
        assert!(core < limit, "core is {core:e} off ngspice in {net:?}");
        let bench = error(&net.bench(), theirs);
        assert!(
            bench < limit,
            "the bench is {bench:e} off ngspice in {net:?}"
        );
        // Every third node, as if probe leads sat there.
        let wanted: Vec<usize> = (1..=net.nodes).step_by(3).collect();
        let there: Vec<f64> = wanted.iter().map(|node| theirs[node - 1]).collect();
        let reduced = error(&net.bench_reduced(&wanted), &there);
        assert!(
            reduced < limit,
            "the reduced bench is {reduced:e} off ngspice in {net:?}"
        );
        self.core = self.core.max(core);
        self.bench = self.bench.max(bench);
        self.reduced = self.reduced.max(reduced);
        self.nodes += net.nodes;
        self.points += 1;
    }

    fn print(&self, what: &str) {
        println!(
            "{what}: {} operating points, {} node voltages\n\
             worst error against ngspice: core {:.1e} %, bench {:.1e} %, bench reduced {:.1e} %",
            self.points,
            self.nodes,
            self.core * 100.0,
            self.bench * 100.0,
            self.reduced * 100.0
        );
    }
}

#[test]
fn ngspice_reverses_a_diode_in_its_own_way_and_that_is_made_good() {
    let Some(oracle) = Oracle::find() else { return };
    // 0.35 V backwards through 10 MΩ: nearly all of Is, 40 mV on the resistor.
    let junction = Junction::SILICON;
    let net = Net {
        nodes: 1,
        devices: vec![
            Device::Diode(0, 1, junction),
            Device::Source(1, Volts(0.35), Ohms(1e7)),
        ],
    };
    // The voltage where the currents cancel, by bisection.
    let (mut low, mut high) = (0.0, 0.35);
    for _ in 0..100 {
        let v: f64 = 0.5 * (low + high);
        let slope = junction.emission * solve::THERMAL;
        let diode = junction.saturation.0 * ((-v / slope).exp() - 1.0) - solve::DIODE_SHUNT * v;
        if (0.35 - v) / 1e7 + diode > 0.0 {
            low = v;
        } else {
            high = v;
        }
    }
    let drop = 0.35 - low;
    let off = |diodes| {
        let v = oracle.volts(&net, solve::DIODE_SHUNT, diodes)[0];
        ((0.35 - v) / drop - 1.0).abs()
    };
    let (plain, made_good) = (off(Diodes::Plain), off(Diodes::Shockley));
    println!("reverse leakage of ngspice: {plain:.1e} off as it is, {made_good:.1e} made good");
    assert!(made_good < 1e-6, "{made_good:e}");
    // If ngspice ever computes it by Shockley's law, the helper has to go.
    assert!(plain > 1e-3, "{plain:e}");
}

/// The islands that a step reads in, with their drives and one lead's pull.
fn sensed(
    elements: &[Element],
    tip: &dyn Fn(LeadId) -> NodeId,
    islands: &Islands,
    step: &Step,
    read: &[(LeadId, SenseMode)],
    least: bool,
) -> Net {
    let groups: BTreeSet<_> = read
        .iter()
        .map(|(lead, _)| islands.group(tip(*lead)))
        .collect();
    let mut numbers = BTreeMap::from([(GROUND, 0)]);
    let mut net = Net::default();
    let inside = |node: NodeId| node != GROUND && groups.contains(&islands.group(node));
    let mut number = |node: NodeId| {
        let next = numbers.len();
        *numbers.entry(node).or_insert(next)
    };
    for element in elements.iter().filter(|e| inside(e.a) || inside(e.b)) {
        let (a, b) = (number(element.a), number(element.b));
        net.devices.push(match element.part {
            Part::Wire { ohms, .. } | Part::Resistor { ohms, .. } => Device::Resistor(a, b, ohms),
            Part::Load { least: low, most } => {
                Device::Resistor(a, b, if least { low } else { most })
            }
            Part::Diode(junction) => Device::Diode(a, b, junction),
        });
    }
    for (set, volts) in [(&step.high, instrument::REFERENCE), (&step.low, Volts(0.0))] {
        for lead in set.iter().filter(|lead| inside(tip(*lead))) {
            let drive = Device::Source(number(tip(lead)), volts, instrument::SOURCE);
            net.devices.push(drive);
        }
    }
    for (lead, mode) in read {
        let volts = match mode {
            SenseMode::Plain => continue,
            SenseMode::PullDown => Volts(0.0),
            SenseMode::PullUp => instrument::REFERENCE,
        };
        let ohms = instrument::PROTECTION + instrument::PULL;
        net.devices
            .push(Device::Source(number(tip(*lead)), volts, ohms));
    }
    net.nodes = numbers.len() - 1;
    net
}

#[test]
fn the_demo_circuit_reads_as_ngspice_says() {
    let Some(oracle) = Oracle::find() else { return };
    let plan = Plan::load(&skip::top().join("fixtures/plans/bakery-van.toml")).expect("a plan");
    let job = plan.resolve(&BTreeMap::new()).expect("defaults");
    let hookup = propose(&job, Place::Vehicle, 64).expect("a hook-up");
    let model = build(&job, &hookup).expect("a circuit");
    let circuit = &model.circuit;
    let elements: Vec<Element> = circuit.edited(&[]).collect();
    let islands = Islands::of(circuit, &[]);
    let layout = Layout::of(circuit, &[]);
    let tip = |lead| circuit.tip(lead).expect("a clipped lead");
    let mut worst = Worst::default();
    let mut steps = 0;
    let mut all = Vec::new();
    for planned in first_pass(&layout) {
        steps += 1;
        let step = &planned.step;
        // All plain readings see the same circuit; each pulled one its own.
        let (plain, pulled): (Vec<_>, Vec<_>) = step
            .senses
            .iter()
            .map(|sense| (sense.lead, sense.mode))
            .partition(|(_, mode)| *mode == SenseMode::Plain);
        let mut reads: Vec<Vec<_>> = pulled.into_iter().map(|one| vec![one]).collect();
        reads.extend((!plain.is_empty()).then_some(plain));
        for read in reads {
            let nets =
                [true, false].map(|least| sensed(&elements, &tip, &islands, step, &read, least));
            let [least, most] = nets;
            all.extend((least != most).then_some(most));
            all.push(least);
        }
    }
    worst.hold_all(&oracle, &all, DEMO.limit);
    worst.print(&format!(
        "bakery van in the vehicle, first pass of {steps} steps"
    ));
    assert!(
        steps > 30 && worst.nodes > 1000,
        "the demo must be looked at"
    );
}

/// A random circuit: a tree of resistors from 1 mΩ to 10 MΩ in some pieces,
/// each held by a source or by 0 V, more resistors across, relays and diodes,
/// also from piece to piece; and how many relays there are.
fn random(seed: u64) -> (usize, Net) {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let nodes = rng.random_range(2..=60_usize);
    let ohms = |rng: &mut ChaCha8Rng| Ohms(10_f64.powf(rng.random_range(-3.0..7.0)));
    let junction = |rng: &mut ChaCha8Rng| Junction {
        saturation: Amperes(10_f64.powf(rng.random_range(-14.0..-8.0))),
        emission: rng.random_range(1.0..2.0),
        spread: Volts(0.0),
    };
    let mut devices = Vec::new();
    for node in 1..=nodes {
        // Nothing hangs on a diode alone: there a pivoting solver has no digits left.
        if node == 1 || rng.random_bool(0.1) {
            if rng.random_bool(0.3) {
                devices.push(Device::Resistor(node, 0, ohms(&mut rng)));
            } else {
                let source = 10_f64.powf(rng.random_range(0.0..5.1));
                let volts = Volts(rng.random_range(0.0..3.3));
                devices.push(Device::Source(node, volts, Ohms(source)));
            }
        } else {
            let other = rng.random_range(1..node);
            devices.push(Device::Resistor(node, other, ohms(&mut rng)));
        }
    }
    let pair = |rng: &mut ChaCha8Rng| {
        let a = rng.random_range(1..=nodes);
        let b = (a + rng.random_range(1..=nodes)) % (nodes + 1);
        (a, b)
    };
    for _ in 0..nodes / 4 {
        let (a, b) = pair(&mut rng);
        devices.push(Device::Resistor(a, b, ohms(&mut rng)));
    }
    for _ in 0..rng.random_range(0..=nodes / 8 + 1) {
        let (a, k) = pair(&mut rng);
        devices.push(if rng.random_bool(0.5) {
            Device::Diode(a, k, junction(&mut rng))
        } else {
            Device::Diode(k, a, junction(&mut rng))
        });
    }
    for _ in 0..nodes / 15 {
        // A relay: coil with its diode, and a closed contact elsewhere.
        let (coil, contact) = (pair(&mut rng), pair(&mut rng));
        devices.push(Device::Resistor(
            coil.0,
            coil.1,
            Ohms(rng.random_range(75.0..300.0)),
        ));
        devices.push(Device::Diode(coil.0, coil.1, junction(&mut rng)));
        devices.push(Device::Resistor(
            contact.0,
            contact.1,
            Ohms(rng.random_range(0.01..0.03)),
        ));
    }
    for _ in 0..rng.random_range(2..=4) {
        let node = rng.random_range(1..=nodes);
        let volts = if rng.random_bool(0.5) { 3.3 } else { 0.0 };
        devices.push(Device::Source(node, Volts(volts), Ohms(725.0)));
    }
    (nodes / 15, Net { nodes, devices })
}

/// How many of the random circuits one run of ngspice is given.
const BATCH: usize = 100;

#[test]
fn random_circuits_read_as_ngspice_says() {
    let Some(oracle) = Oracle::find() else { return };
    let all: Vec<(usize, Net)> = (0..CIRCUITS as u64).map(random).collect();
    let mut seen = Vec::new();
    for row in RANDOM {
        let of_class = |(relays, net): &&(usize, Net)| class(*relays, net) == row.what;
        let nets: Vec<Net> = all
            .iter()
            .filter(of_class)
            .map(|(_, net)| net.clone())
            .collect();
        let mut worst = Worst::default();
        for batch in nets.chunks(BATCH) {
            worst.hold_all(&oracle, batch, row.limit);
        }
        worst.print(row.what);
        seen.push(nets.len());
    }
    assert_eq!(seen, RANDOM.map(|row| row.cases));
    assert_eq!(seen.iter().sum::<usize>(), CIRCUITS);
}

/// Which row of the page a circuit belongs to.
fn class(relays: usize, net: &Net) -> &'static str {
    let row = match (relays, net.has_diodes()) {
        (0, false) => &RANDOM[0],
        (0, true) => &RANDOM[1],
        (_, _) => &RANDOM[2],
    };
    row.what
}
