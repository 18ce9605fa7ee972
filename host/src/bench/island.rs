//! Islands: parts of the network that meet only at 0 V, reduced to the nodes
//! that matter (probe leads and diode terminals), and solved together with
//! what drives and loads them.

use std::collections::BTreeSet;

use super::error::BenchError;
use super::network::{Element, Equations, Junction, Netlist};
use loomproof_core::instrument::REFERENCE;
use nalgebra::{Cholesky, DMatrix, DVector};

/// Leakage of the sense bus, S (multiplexers off, buffer input; 1 GΩ, common practice).
pub(super) const BUS_LEAK: f64 = 1e-9;

/// Where a floating lead stops drifting: the diodes of the over- and
/// under-voltage lines take up the few nA of leakage there.
const FLOAT_LIMITS: (f64, f64) = (-0.3, 3.6);

/// One island, reduced to its ports by Kron's elimination of all other nodes.
pub(super) struct Island {
    /// Per port: the channel (probe lead) that sits there, if any.
    pub(super) ports: Vec<Option<usize>>,
    /// Per port: its node in the network.
    pub(super) nodes: Vec<usize>,
    equations: Equations,
    /// Capacitance to 0 V that acts at each port, F.
    pub(super) capacitance: DVector<f64>,
    /// Per port: its lump.
    lump: Vec<usize>,
    /// The ports of each lump, in order: joined through resistors, while between lumps
    /// there are diodes at most.
    lumps: Vec<Vec<usize>>,
    /// There is a source in it that is neither the probe's nor can be switched.
    pub(super) powered: bool,
}

/// What loads the sense bus, S each.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(super) struct BusLoad {
    /// To the reference.
    pub(super) up: f64,
    /// To 0 V, leakage not counted.
    pub(super) down: f64,
}

/// Where one island is heading for, and how fast.
#[derive(Debug, Clone)]
pub(super) struct Target {
    /// Static voltage of each port, V.
    pub(super) volts: Vec<f64>,
    /// Time constant of each port's lump, s.
    pub(super) tau: Vec<f64>,
    /// What each port's charge is spread over while it moves with that time
    /// constant, F: the time constant over the resistance seen from the port.
    pub(super) farads: Vec<f64>,
    /// Shape of each lump's slowest movement.
    pub(super) shape: Vec<f64>,
}

/// Drive of one port: source voltage (V) and resistance (Ω).
pub(super) type Drive = Option<(f64, f64)>;

/// An island with what the front end does to each of its ports.
pub(super) struct Driven<'a> {
    /// The island.
    pub(super) island: &'a Island,
    /// Per port: the drive.
    pub(super) drives: Vec<Drive>,
    /// Per port: resistance to the sense bus, if joined to it.
    pub(super) sensed: Vec<Option<f64>>,
    /// A source that is not the probe's holds it.
    pub(super) held: bool,
}

fn find(parent: &mut [usize], mut node: usize) -> usize {
    while parent[node] != node {
        parent[node] = parent[parent[node]];
        node = parent[node];
    }
    node
}

fn groups(netlist: &Netlist, diodes: bool) -> Vec<usize> {
    let mut parent: Vec<usize> = (0..=netlist.nodes).collect();
    for element in &netlist.elements {
        let (a, b) = match *element {
            Element::Resistor(a, b, _) => (a, b),
            Element::Diode(a, b, _) if diodes => (a, b),
            _ => continue,
        };
        if a != 0 && b != 0 {
            let (a, b) = (find(&mut parent, a), find(&mut parent, b));
            parent[a] = b;
        }
    }
    (0..=netlist.nodes)
        .map(|node| find(&mut parent, node))
        .collect()
}

/// Insulation of a wire to all around it, ohms (`common practice`: beyond what
/// megohmmeters show).
const INSULATION: f64 = 1e12;

/// One island before it is reduced.
#[derive(Default)]
struct Piece {
    nodes: Vec<usize>,
    netlist: Netlist,
}

/// Splits the network into islands that hold at least one channel.
/// `channels[k]` is the node of channel `k`.
///
/// # Errors
/// [`BenchError::NotSolved`] if the network cannot be reduced.
pub(super) fn islands(netlist: &Netlist, channels: &[usize]) -> Result<Vec<Island>, BenchError> {
    let whole = groups(netlist, true);
    let linear = groups(netlist, false);
    let mut channel_at = vec![None; netlist.nodes + 1];
    // In the order of the first channel, so that nothing depends on hashing.
    let mut place_of = vec![None; netlist.nodes + 1];
    let mut pieces: Vec<Piece> = Vec::new();
    for (channel, node) in channels.iter().enumerate() {
        channel_at[*node] = Some(channel);
        place_of[whole[*node]].get_or_insert_with(|| {
            pieces.push(Piece::default());
            pieces.len() - 1
        });
    }
    for node in 1..=netlist.nodes {
        if let Some(place) = place_of[whole[node]] {
            pieces[place].nodes.push(node);
        }
    }
    let mut keep: Vec<bool> = channel_at.iter().map(Option::is_some).collect();
    for element in &netlist.elements {
        let node = match *element {
            Element::Resistor(a, b, _) => a.max(b),
            Element::Diode(a, k, _) => {
                keep[a] = true;
                keep[k] = true;
                a.max(k)
            }
            Element::Source(node, ..) | Element::Current(node, _) | Element::Capacitor(node, _) => {
                node
            }
        };
        if let Some(place) = place_of[whole[node]] {
            pieces[place].netlist.add(*element);
        }
    }
    // Behind a diode and without a channel, nothing but the insulation holds a
    // voltage.
    let held: BTreeSet<usize> = channels.iter().map(|node| linear[*node]).collect();
    for node in 1..=netlist.nodes {
        if let (true, Some(place)) = (keep[node], place_of[whole[node]])
            && !held.contains(&linear[node])
        {
            pieces[place]
                .netlist
                .add(Element::Resistor(node, 0, INSULATION));
        }
    }
    let mut row = vec![None; netlist.nodes + 1];
    pieces
        .iter()
        .map(|piece| reduce(piece, &keep, &linear, &channel_at, &mut row))
        .collect()
}

fn reduce(
    piece: &Piece,
    keep: &[bool],
    linear: &[usize],
    channel_at: &[Option<usize>],
    row: &mut [Option<usize>],
) -> Result<Island, BenchError> {
    let (ports, inner): (Vec<usize>, Vec<usize>) =
        piece.nodes.iter().copied().partition(|node| keep[*node]);
    for (place, node) in ports.iter().chain(&inner).enumerate() {
        row[*node] = Some(place);
    }
    let (kept, all) = (ports.len(), ports.len() + inner.len());
    let full = piece.netlist.equations(all, &|node| row[node]);
    let mut capacitance = DVector::zeros(all);
    let mut powered = false;
    for element in &piece.netlist.elements {
        match *element {
            Element::Capacitor(node, farads) => {
                if let Some(place) = row[node] {
                    capacitance[place] += farads;
                }
            }
            Element::Source(..) => powered = true,
            _ => {}
        }
    }

    let mut conductance: DMatrix<f64> = full.conductance.view((0, 0), (kept, kept)).into();
    let mut injected: DVector<f64> = full.injected.rows(0, kept).into();
    let mut at_ports: DVector<f64> = capacitance.rows(0, kept).into();
    if all > kept {
        let inside: DMatrix<f64> = full
            .conductance
            .view((kept, kept), (all - kept, all - kept))
            .into();
        let across: DMatrix<f64> = full.conductance.view((kept, 0), (all - kept, kept)).into();
        let inside = Cholesky::new(inside).ok_or(BenchError::NotSolved)?;
        // What a port's voltage makes of the inner voltages.
        let weight = -inside.solve(&across);
        conductance += across.transpose() * &weight;
        injected += weight.transpose() * full.injected.rows(kept, all - kept);
        at_ports += weight.transpose() * capacitance.rows(kept, all - kept);
    }
    // Elimination leaves rounding; the solver needs exact symmetry.
    let conductance = (&conductance + conductance.transpose()) * 0.5;
    let junctions: Vec<Junction> = full.junctions;
    let mut known: Vec<usize> = Vec::new();
    let mut lumps: Vec<Vec<usize>> = Vec::new();
    let mut lump = Vec::new();
    for (port, node) in ports.iter().enumerate() {
        let place = known.iter().position(|other| *other == linear[*node]);
        let place = place.unwrap_or_else(|| {
            known.push(linear[*node]);
            lumps.push(Vec::new());
            known.len() - 1
        });
        lumps[place].push(port);
        lump.push(place);
    }
    Ok(Island {
        lump,
        lumps,
        nodes: ports.clone(),
        ports: ports.iter().map(|node| channel_at[*node]).collect(),
        equations: Equations {
            conductance,
            injected,
            junctions,
        },
        capacitance: at_ports,
        powered,
    })
}

/// The static point of islands that are joined through the sense bus (or of
/// one island that is not joined to it), and how they relax towards it.
///
/// Each lump of an island (what hangs together through resistors) has one pole:
/// its charge-weighted mean Elmore delay, with diodes linear about the operating
/// point. The Elmore delays of a port are Z · C, the first moment of its
/// step response.
///
/// # Errors
/// [`BenchError::NotSolved`] if there is no operating point.
pub(super) fn targets(
    parts: &[Driven<'_>],
    bus: Option<(BusLoad, f64)>,
) -> Result<Vec<Target>, BenchError> {
    let ports: usize = parts.iter().map(|part| part.island.ports.len()).sum();
    let mut all = Equations::new(ports + usize::from(bus.is_some()));
    let mut capacitance = DVector::zeros(all.injected.len());
    let mut start = 0;
    for part in parts {
        let count = part.island.ports.len();
        let own = &part.island.equations;
        all.conductance
            .view_mut((start, start), (count, count))
            .copy_from(&own.conductance);
        all.injected.rows_mut(start, count).copy_from(&own.injected);
        capacitance
            .rows_mut(start, count)
            .copy_from(&part.island.capacitance);
        all.junctions.extend(own.junctions.iter().map(|d| Junction {
            anode: d.anode.map(|node| node + start),
            cathode: d.cathode.map(|node| node + start),
            law: d.law,
        }));
        for (port, drive) in part.drives.iter().enumerate() {
            if let Some((volts, ohms)) = *drive {
                all.drive(start + port, volts, ohms);
            }
        }
        if bus.is_some() {
            for (port, ohms) in part.sensed.iter().enumerate() {
                if let Some(ohms) = ohms {
                    all.conduct(Some(start + port), Some(ports), 1.0 / ohms);
                }
            }
        }
        start += count;
    }
    if let Some((load, farads)) = bus {
        all.conductance[(ports, ports)] += load.up + load.down + BUS_LEAK;
        all.injected[ports] += load.up * REFERENCE.value();
        capacitance[ports] = farads;
    }
    let point = all.solve()?;
    let elmore = point.slope.solve(&capacitance);
    let seen: Vec<f64> = (0..ports)
        .map(|port| {
            let mut one = DVector::zeros(capacitance.len());
            one[port] = 1.0;
            point.slope.solve(&one)[port]
        })
        .collect();
    let held = parts.iter().any(|part| part.held);
    let mut start = 0;
    Ok(parts
        .iter()
        .map(|part| {
            let range = start..start + part.island.ports.len();
            start = range.end;
            target(
                part.island,
                held,
                &point.volts.as_slice()[range.clone()],
                &elmore.as_slice()[range.clone()],
                &seen[range],
            )
        })
        .collect())
}

fn target(island: &Island, held: bool, volts: &[f64], elmore: &[f64], seen: &[f64]) -> Target {
    let limit = |v: &f64| {
        if held {
            *v
        } else {
            v.clamp(FLOAT_LIMITS.0, FLOAT_LIMITS.1)
        }
    };
    let lumps = island.lumps.iter().map(|ports| {
        let (moment, charge) = ports.iter().fold((0.0, 0.0), |(moment, charge), port| {
            let farads = island.capacitance[*port];
            (moment + farads * elmore[*port], charge + farads)
        });
        if charge > 0.0 { moment / charge } else { 0.0 }
    });
    let lumps: Vec<f64> = lumps.collect();
    let tau: Vec<f64> = island.lump.iter().map(|lump| lumps[*lump]).collect();
    Target {
        volts: volts.iter().map(limit).collect(),
        farads: tau.iter().zip(seen).map(|(tau, ohms)| tau / ohms).collect(),
        tau,
        shape: elmore.to_vec(),
    }
}

impl Island {
    /// What is left of the voltages `now` as deviations from `target` when the fast
    /// movements within each lump have died away: the part that has the shape of the
    /// lump's slowest movement, charge being kept.
    pub(super) fn deviate(&self, now: &mut [f64], target: &Target) {
        for ports in &self.lumps {
            let (along, norm) = ports.iter().fold((0.0, 0.0), |(along, norm), port| {
                let weight = self.capacitance[*port] * target.shape[*port];
                (
                    along + weight * (now[*port] - target.volts[*port]),
                    norm + weight * target.shape[*port],
                )
            });
            for port in ports {
                now[*port] = if norm > 0.0 {
                    along / norm * target.shape[*port]
                } else {
                    0.0
                };
            }
        }
    }

    /// The ports of the lump that `port` belongs to.
    pub(super) fn lump_of(&self, port: usize) -> &[usize] {
        &self.lumps[self.lump[port]]
    }

    /// Total capacitance of that lump, F.
    pub(super) fn lump_capacitance(&self, port: usize) -> f64 {
        let ports = self.lump_of(port).iter();
        ports.map(|other| self.capacitance[*other]).sum()
    }
}
