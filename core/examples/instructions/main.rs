//! Four pieces of core's work, to be counted by `tools/instructions.sh`.
//!
//! Each is in a function of its own that is entered once; nothing of it depends on
//! a clock, on chance or on where the memory lies. The circuit is made here, by
//! core alone, so that no other part of the project moves the counts.

mod replies;

use std::hint::black_box;
use std::process::ExitCode;

use loomproof_core::circuit::{Circuit, Element, GROUND, Junction, NodeId, Part};
use loomproof_core::expect::{Band, Meshed, expect, quantities};
use loomproof_core::instrument::{REFERENCE, SOURCE};
use loomproof_core::judge::{Judgement, Value, judge};
use loomproof_core::layout::Layout;
use loomproof_core::scan::{Planned, first_pass};
use loomproof_core::solve::{Attachment, Corner, Workspace, island, room};
use loomproof_core::units::{Ohms, Volts};
use loomproof_core::wire::LeadId;
use loomproof_core::wire::frame::{Deframer, MAX_FRAME, encode_reply};

/// Rungs of the ladder that is one of the islands.
const RUNGS: usize = 12;

struct Work {
    circuit: Box<Circuit<256>>,
    elements: Vec<Element>,
    tips: Vec<NodeId>,
    steps: Vec<Planned>,
    work: Box<Workspace<Vec<f64>>>,
}

/// A ladder of metal with loops, and a coil with its diode; twelve clips.
fn made() -> Option<Work> {
    let mut circuit: Box<Circuit<256>> = Box::default();
    let mut rails = [Vec::new(), Vec::new()];
    for rung in 0..RUNGS {
        for rail in &mut rails {
            let node = circuit.node().ok()?;
            if let Some(before) = rail.last() {
                let ohms = Ohms(0.01 * (rung + 1) as f64);
                circuit.wire(*before, node, ohms, ohms * 0.1).ok()?;
            }
            rail.push(node);
        }
        let ohms = Ohms(0.5 + rung as f64);
        circuit
            .wire(rails[0][rung], rails[1][rung], ohms, ohms * 0.1)
            .ok()?;
    }
    let coil = [circuit.node().ok()?, circuit.node().ok()?];
    let (ohms, spread) = (Ohms(85.0), Ohms(3.0));
    circuit
        .add(coil[0], coil[1], Part::Resistor { ohms, spread })
        .ok()?;
    circuit
        .add(coil[1], coil[0], Part::Diode(Junction::SILICON))
        .ok()?;
    let module = circuit.node().ok()?;
    let (least, most) = (Ohms(2e3), Ohms(20e3));
    circuit
        .add(module, GROUND, Part::Load { least, most })
        .ok()?;
    let ends = rails
        .iter()
        .flat_map(|rail| rail.iter().step_by(3).copied());
    let points = ends.chain(coil).chain([module]);
    let mut tips = Vec::new();
    for (lead, point) in (0..).zip(points) {
        tips.push(circuit.clip(LeadId(lead), point).ok()?);
    }
    Some(Work {
        elements: circuit.edited(&[]).collect(),
        steps: first_pass(&Layout::of(&circuit, &[])).collect(),
        work: Box::new(Workspace::new(vec![0.0; room(circuit.nodes())])),
        circuit,
        tips,
    })
}

/// Every tip as the source, its island solved.
#[inline(never)]
fn counted_solve(made: &mut Work) -> f64 {
    let mut sum = 0.0;
    for tip in &made.tips {
        let ties = [Attachment {
            node: *tip,
            volts: REFERENCE,
            ohms: SOURCE,
            spread: Ohms(0.0),
        }];
        for low in &made.tips {
            let low = Attachment {
                node: *low,
                volts: Volts(0.0),
                ..ties[0]
            };
            let both = [ties[0], low];
            let solved = island(&mut made.work, &made.elements, &both, *tip, Corner::Least);
            sum += solved.map_or(f64::NAN, |island| island.volts(*tip).0);
        }
    }
    sum
}

/// The band of everything that the first pass reads.
#[inline(never)]
fn counted_bands(made: &mut Work) -> Vec<Band> {
    let mut bands = Vec::new();
    for planned in &made.steps {
        for quantity in quantities(&planned.step) {
            let mut network = Meshed {
                work: &mut made.work,
                elements: &made.elements,
            };
            let band = expect(&mut network, &made.circuit, &planned.step, quantity);
            bands.extend(band.ok());
        }
    }
    bands
}

/// Frames of the two largest replies, taken in byte by byte.
#[inline(never)]
fn counted_decode(frames: &[u8]) -> usize {
    let mut deframer: Deframer<MAX_FRAME> = Deframer::new();
    let mut rest = frames;
    let mut replies = 0;
    while !rest.is_empty() {
        let (taken, frame) = deframer.feed(rest);
        if let Some(Ok(frame)) = frame {
            replies += usize::from(black_box(frame.reply()).is_ok());
        }
        rest = rest.get(taken..).unwrap_or_default();
    }
    replies
}

/// Every band against values all around it.
#[inline(never)]
fn counted_judge(bands: &[Band]) -> usize {
    let mut within = 0;
    for band in bands {
        for step in -40..=40 {
            let volts = Volts(band.low.0 + band.sigma.0 * f64::from(step) * 0.25);
            let judged = judge(band, Value::Volts(black_box(volts)));
            within += usize::from(judged == Judgement::Within);
        }
    }
    within
}

fn frames() -> Option<Vec<u8>> {
    let mut frames = Vec::new();
    for reply in [replies::survey(), replies::readings()] {
        let mut out = [0; MAX_FRAME];
        frames.extend(encode_reply(7, &reply, &mut out).ok()?);
    }
    Some(frames.repeat(16))
}

/// What a piece of work found, in words that change when it finds anything else.
fn found(name: &str) -> Option<String> {
    let mut made = made()?;
    Some(match name {
        "solve" => format!("{:.9} V", counted_solve(&mut made)),
        "bands" => format!("{} bands", counted_bands(&mut made).len()),
        "decode" => format!("{} replies", counted_decode(&frames()?)),
        "judge" => {
            let bands = counted_bands(&mut made);
            format!("{} within of {} bands", counted_judge(&bands), bands.len())
        }
        _ => return None,
    })
}

fn main() -> ExitCode {
    let name = std::env::args().nth(1).unwrap_or_default();
    match found(&name) {
        Some(words) => {
            println!("{words}");
            ExitCode::SUCCESS
        }
        None => {
            eprintln!("say which: solve, bands, decode or judge");
            ExitCode::from(2)
        }
    }
}
