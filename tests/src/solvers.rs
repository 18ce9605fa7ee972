//! One circuit, many solvers: a plain network that core's solve, the bench's
//! solver and ngspice can all be given.

use loomproof::bench::solution::{self, Branch};
use loomproof_core::circuit::{Element, GROUND, Junction, NodeId, Part};
use loomproof_core::solve::{self, Attachment, Corner, THERMAL, Workspace};
use loomproof_core::units::{Ohms, Volts};

/// A part of a [`Net`]; node 0 is 0 V.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Device {
    /// A resistor.
    Resistor(usize, usize, Ohms),
    /// A diode from anode to cathode.
    Diode(usize, usize, Junction),
    /// A voltage behind a resistance, at a node.
    Source(usize, Volts, Ohms),
}

/// A network of resistors, diodes and sources, all values settled.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Net {
    /// Nodes beside node 0; they are numbered from 1.
    pub nodes: usize,
    /// What is between them.
    pub devices: Vec<Device>,
}

impl Net {
    /// Whether there is a diode in it.
    #[must_use]
    pub fn has_diodes(&self) -> bool {
        let diode = |device: &Device| matches!(device, Device::Diode(..));
        self.devices.iter().any(diode)
    }

    /// The voltage of every node from 1 on, by core's solve.
    ///
    /// # Panics
    /// When core does not solve it.
    #[must_use]
    pub fn core(&self) -> Vec<f64> {
        let node = |n: usize| NodeId(u16::try_from(n).expect("a small circuit"));
        let mut elements = Vec::new();
        let mut ties = Vec::new();
        for device in &self.devices {
            match *device {
                Device::Resistor(a, b, ohms) => elements.push(Element {
                    a: node(a),
                    b: node(b),
                    part: Part::Resistor {
                        ohms,
                        spread: Ohms(0.0),
                    },
                }),
                Device::Diode(a, k, junction) => elements.push(Element {
                    a: node(a),
                    b: node(k),
                    part: Part::Diode(junction),
                }),
                Device::Source(at, volts, ohms) => ties.push(Attachment {
                    node: node(at),
                    volts,
                    ohms,
                    spread: Ohms(0.0),
                }),
            }
        }
        let memory = vec![0.0; solve::room(self.nodes)];
        let mut work = Workspace::new(memory);
        let mut volts = vec![None; self.nodes];
        while let Some(start) = volts.iter().position(Option::is_none) {
            let island = solve::island(&mut work, &elements, &ties, node(start + 1), Corner::Least)
                .unwrap_or_else(|error| panic!("core: {error:?} in {self:?}"));
            assert!(!island.floats(), "node {} floats in {self:?}", start + 1);
            for (at, slot) in volts.iter_mut().enumerate() {
                if island.contains(node(at + 1)) {
                    *slot = Some(island.volts(node(at + 1)).0);
                }
            }
        }
        volts.into_iter().flatten().collect()
    }

    fn branches(&self) -> Vec<Branch> {
        let branch = |device: &Device| match *device {
            Device::Resistor(a, b, ohms) => Branch::Resistor { a, b, ohms },
            Device::Diode(anode, cathode, junction) => Branch::Diode {
                anode,
                cathode,
                saturation: junction.saturation,
                slope: Volts(junction.emission * THERMAL),
            },
            Device::Source(node, volts, ohms) => Branch::Source { node, volts, ohms },
        };
        self.devices.iter().map(branch).collect()
    }

    /// The voltage of every node from 1 on, by the bench's node equations.
    ///
    /// # Panics
    /// When the bench does not solve it.
    #[must_use]
    pub fn bench(&self) -> Vec<f64> {
        let volts = solution::solve(self.nodes, &self.branches());
        let volts = volts.unwrap_or_else(|error| panic!("bench: {error} in {self:?}"));
        volts.iter().map(|v| v.0).collect()
    }

    /// The voltages of some nodes by the bench, islands reduced to them first.
    ///
    /// # Panics
    /// When the bench does not solve it.
    #[must_use]
    pub fn bench_reduced(&self, wanted: &[usize]) -> Vec<f64> {
        let volts = solution::solve_at(self.nodes, &self.branches(), wanted);
        let volts = volts.unwrap_or_else(|error| panic!("bench: {error} in {self:?}"));
        volts.iter().map(|v| v.0).collect()
    }
}

/// A resistor network without a node that is special: edges between vertices.
#[derive(Debug, Clone, PartialEq)]
pub struct Graph {
    /// Vertices, numbered from 0.
    pub vertices: usize,
    /// Edges.
    pub edges: Vec<(usize, usize, Ohms)>,
}

impl Graph {
    /// Edges of 1 Ω.
    #[must_use]
    pub fn of_ones(vertices: usize, edges: impl IntoIterator<Item = (usize, usize)>) -> Self {
        let edges = edges.into_iter().map(|(a, b)| (a, b, Ohms(1.0)));
        Self {
            vertices,
            edges: edges.collect(),
        }
    }

    /// The network with vertex `low` at 0 V and 2 V behind 1 Ω at `high`.
    fn driven(&self, high: usize, low: usize) -> (Net, usize) {
        let node = |v: usize| match v {
            v if v == low => usize::from(GROUND.0),
            v if v < low => v + 1,
            v => v,
        };
        let resistor = |&(a, b, ohms): &(usize, usize, Ohms)| {
            let (a, b) = (node(a), node(b));
            Device::Resistor(a, b, ohms)
        };
        let mut devices: Vec<Device> = self.edges.iter().map(resistor).collect();
        devices.push(Device::Source(node(high), Volts(2.0), Ohms(1.0)));
        let nodes = self.vertices - 1;
        (Net { nodes, devices }, node(high))
    }

    /// The resistance between two vertices: by core, by the bench, by the
    /// bench with the network reduced first.
    #[must_use]
    pub fn resistance(&self, a: usize, b: usize) -> [f64; 3] {
        let (net, high) = self.driven(a, b);
        // V = 2·R/(R + 1).
        let ohms = |volts: f64| volts / (2.0 - volts);
        [
            ohms(net.core()[high - 1]),
            ohms(net.bench()[high - 1]),
            ohms(net.bench_reduced(&[high])[0]),
        ]
    }

    /// Steps from vertex `from` to every other.
    #[must_use]
    pub fn distances(&self, from: usize) -> Vec<usize> {
        let mut distance = vec![usize::MAX; self.vertices];
        distance[from] = 0;
        for round in 0..self.vertices {
            for &(a, b, _) in &self.edges {
                for (a, b) in [(a, b), (b, a)] {
                    if distance[a] == round && distance[b] > round + 1 {
                        distance[b] = round + 1;
                    }
                }
            }
        }
        distance
    }
}
