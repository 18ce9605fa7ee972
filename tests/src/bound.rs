//! The least time in which any scan could say what the first pass says.
//!
//! Computed from the job and the hook-up alone, with a union–find of its own:
//! it shares the settling times that the wiring requires with the scanner, and
//! nothing else. All that is needed is counted once, at its least; whatever
//! the scanner or the firmware do beyond it is theirs to answer for.
//!
//! **Patterns.** One lead is a source at a time (5 mA in the vehicle), any
//! passive net may be held low by one of its leads, a net with a diode or a
//! module input may not.
//!
//! - *Low ohms*: every joint of a net of k points carries current once, so
//!   k − 1 patterns of two readings; a net on chassis needs no second lead, so
//!   k patterns of one reading. It cannot be had with isolation: with other
//!   nets held low as well, 300 kΩ to one of them moves the reading by 0.1 %,
//!   and the source resistors spread by 0.8 %.
//! - *Isolation*: of every two nets in different islands one has to be the
//!   source while the other is held low, and in the vehicle chassis is a net
//!   that can never be the source, so there each net is once. On the bench the
//!   passive nets of one island may be left out, for those are isolated from
//!   nothing that is not itself a source. Two nets with diodes or inputs cannot
//!   hold each other low: one pulled reading for each such pair.
//! - *Across*: an island of c nets holds together by at least c − 1
//!   components; one pattern of two readings for each, two where it is a diode.
//!
//! **Time of a pattern.** Every lead that is driven was looked at just before
//! (a disconnect closes only onto a lead that has read dead); writes: the
//! source's level, and for each bank that is used one write each of the drive's
//! directions, closing and opening; the wiring settles once, the sense bus
//! settles for each reading (the first time together with the wiring); every
//! reading converts at least once, twice where 0.3 Ω is told from nothing
//! (`LOW_OHM_CONVERSIONS`), and one more conversion shows that it has settled.
//! A pulled reading takes the weak pull's settling instead. A net that was the
//! source has to be dead (0.2 V of 3.3 V) again before it may be driven another way:
//! 2.8 of the 12 time constants of its settling.
//!
//! **Once.** Two looks at every lead at least 2 ms apart, the two chassis
//! readings, and the drive chips let go and proved.
//!
//! Looks overlap: the next lead is selected while the converter works.
//! The watch while driving adds one round of looks for each millisecond that a
//! single pattern drives, eight leads to a look.

use std::collections::BTreeMap;

use loomproof::hookup::{Hookup, Point};
use loomproof::plan::model::{End, Half, Job, Load, RingOn, Suppression};
use loomproof_core::scan::{SETTLE, SETTLE_LOADED, SETTLE_POLAR, SETTLE_PULLED, SETTLE_WEAK};
use loomproof_core::wire::Place;

/// One register write on the SPI bus, bits (MCP23S17: opcode, register, two ports).
const WRITE: f64 = 32.0;
/// One conversion read out, bits.
const READ: f64 = 16.0;
/// One conversion, µs (ADS8866, `docs/probe-hardware.md` H).
const CONVERSION: f64 = 8.8;
/// The sense bus settles, µs (S61).
const BUS: f64 = 38.9;
/// The driven chassis lead settles: 725 Ω into 1 nF, to 16 bits, µs.
const CHASSIS: f64 = 8.5;
/// The two looks at one lead are at least so far apart, µs.
const APART: f64 = 2_000.0;
/// The deviation at 0.3 Ω may be a quarter of it (S84): without noise it is
/// 67.9 mΩ, one conversion makes 37 mΩ of noise (four times S84's row of 16
/// conversions), so one is too few (77 mΩ) and two are enough (73 mΩ).
const LOW_OHM_CONVERSIONS: f64 = 2.0;
/// Leads of a drive bank.
const BANK: u8 = 16;
/// Undriven leads are watched this often while driving, µs, …
const WATCH: f64 = 1_000.0;
/// … so many to a look (one multiplexer address).
const WATCHED_TOGETHER: f64 = 8.0;

/// A net that probe leads sit on.
#[derive(Debug, Clone, Default)]
struct Net {
    leads: Vec<u8>,
    island: usize,
    chassis: bool,
    diode: bool,
    load: bool,
}

impl Net {
    fn active(&self) -> bool {
        self.diode || self.load
    }

    fn settle(&self) -> f64 {
        let micros = match (self.load, self.diode) {
            (true, true) => SETTLE_POLAR,
            (true, false) => SETTLE_LOADED,
            (false, _) => SETTLE,
        };
        f64::from(micros.0)
    }

    fn pulled(&self) -> f64 {
        f64::from(
            if self.load {
                SETTLE_PULLED
            } else {
                SETTLE_WEAK
            }
            .0,
        )
    }
}

/// The bound of one job.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Bound {
    /// Drive patterns.
    pub patterns: usize,
    /// Distinct readings.
    pub readings: usize,
    /// Time, µs.
    pub time: f64,
    /// ⌈log2(n + 2)⌉ patterns tell n separate nets apart.
    pub information: u32,
}

#[derive(Default)]
struct Joined {
    number: BTreeMap<String, usize>,
    parent: Vec<usize>,
}

impl Joined {
    fn node(&mut self, name: String) -> usize {
        let next = self.parent.len();
        let node = *self.number.entry(name).or_insert(next);
        if node == next {
            self.parent.push(next);
        }
        node
    }

    fn root(&self, mut node: usize) -> usize {
        while self.parent[node] != node {
            node = self.parent[node];
        }
        node
    }

    fn join(&mut self, a: String, b: String) {
        let (a, b) = (self.node(a), self.node(b));
        let (a, b) = (self.root(a), self.root(b));
        self.parent[a] = b;
    }

    fn find(&mut self, name: &str) -> usize {
        let node = self.node(name.to_owned());
        self.root(node)
    }
}

const CHASSIS_NODE: &str = "(chassis)";

fn conductor(name: &str) -> String {
    format!("(conductor {name})")
}

fn part(name: &str, terminal: &str) -> String {
    End::Part(name.to_owned(), terminal.to_owned()).to_string()
}

/// A component between two places; `None` is chassis.
struct Component {
    ends: (String, Option<String>),
    diode: bool,
    load: bool,
}

fn components(job: &Job, place: Place) -> Vec<Component> {
    let between = |name: &str, a: &str, b: &str, diode| Component {
        ends: (part(name, a), Some(part(name, b))),
        diode,
        load: false,
    };
    let mut all = Vec::new();
    for relay in &job.relays {
        let diode = relay.suppression == Suppression::Diode;
        all.push(between(&relay.name, "85", "86", diode));
    }
    all.extend(job.diodes.iter().map(|d| between(&d.name, "A", "K", true)));
    all.extend(job.lamps.iter().map(|l| between(&l.name, "1", "2", false)));
    if place == Place::Vehicle {
        for host in &job.conductors {
            if matches!(host.load, Load::Range { .. }) {
                all.push(Component {
                    ends: (conductor(&host.name), None),
                    diode: false,
                    load: true,
                });
            }
        }
    }
    all
}

fn metal(job: &Job, place: Place) -> Joined {
    let mut joined = Joined::default();
    for lead in &job.leads {
        if lead.from != End::Cap && lead.to != End::Cap {
            joined.join(lead.from.to_string(), lead.to.to_string());
        }
    }
    for plug in &job.plugs {
        for way in 1..=plug.ways {
            let end = |half| End::Plug(plug.name.clone(), half, way).to_string();
            joined.join(end(Half::A), end(Half::B));
        }
    }
    for fuse in &job.fuses {
        joined.join(part(&fuse.name, "1"), part(&fuse.name, "2"));
    }
    for relay in job.relays.iter().filter(|relay| relay.changeover) {
        joined.join(part(&relay.name, "30"), part(&relay.name, "87a"));
    }
    if place == Place::Vehicle {
        for host in &job.conductors {
            for (connector, cavity) in &host.at {
                joined.join(conductor(&host.name), format!("{connector}:{cavity}"));
            }
        }
        for tap in &job.taps {
            joined.join(tap.name.clone(), conductor(&tap.on));
        }
        for ring in job.rings.iter().filter(|ring| ring.on == RingOn::Chassis) {
            joined.join(ring.name.clone(), CHASSIS_NODE.to_owned());
        }
    }
    joined
}

fn nets(job: &Job, hookup: &Hookup) -> Vec<Net> {
    let mut joined = metal(job, hookup.place);
    let parts = components(job, hookup.place);
    let chassis = joined.find(CHASSIS_NODE);
    // Islands: what hangs together by components too, chassis left out.
    let ends: Vec<(usize, Option<usize>)> = parts
        .iter()
        .map(|part| {
            let other = part.ends.1.as_deref().map(|end| joined.find(end));
            (joined.find(&part.ends.0), other)
        })
        .collect();
    let points: Vec<(u8, usize)> = hookup
        .clips
        .iter()
        .map(|clip| {
            let place = match &clip.point {
                Point::Cavity {
                    connector, cavity, ..
                } => format!("{connector}:{cavity}"),
                other => other.to_string(),
            };
            (clip.lead.0, joined.find(&place))
        })
        .collect();
    let mut island: Vec<usize> = (0..joined.parent.len()).collect();
    for (a, b) in &ends {
        if let Some(b) = b.filter(|b| *a != chassis && *b != chassis) {
            let (from, to) = (island[*a], island[b]);
            island
                .iter_mut()
                .filter(|at| **at == from)
                .for_each(|at| *at = to);
        }
    }
    let mut nets: BTreeMap<usize, Net> = BTreeMap::new();
    for (lead, root) in points {
        let net = nets.entry(root).or_default();
        net.leads.push(lead);
        net.island = island[root];
        net.chassis = root == chassis;
    }
    for net in nets.values_mut().filter(|net| !net.chassis) {
        for (part, (a, b)) in parts.iter().zip(&ends) {
            let here = [Some(*a), *b]
                .into_iter()
                .flatten()
                .any(|end| end != chassis && island[end] == net.island);
            net.diode |= here && part.diode;
            net.load |= here && part.load;
        }
    }
    nets.into_values().collect()
}

/// Sums the bound up.
struct Sum {
    /// µs of one bit.
    bit: f64,
    bound: Bound,
}

impl Sum {
    /// One look, the next selected meanwhile.
    fn look(&self) -> f64 {
        CONVERSION.max(WRITE * self.bit) + READ * self.bit
    }

    fn conversions(&self, count: f64) -> f64 {
        count * (CONVERSION + READ * self.bit)
    }

    /// One pattern: leads driven, settling of the wiring, plain readings of so
    /// many conversions, and the settling times of pulled readings.
    fn pattern(&mut self, driven: &[u8], settle: f64, plain: usize, each: f64, pulled: &[f64]) {
        let mut banks: Vec<u8> = driven.iter().map(|lead| lead / BANK).collect();
        banks.sort_unstable();
        banks.dedup();
        let look = self.look();
        let route = WRITE * self.bit;
        let looks = driven.len() as f64 * look;
        let writes = (1.0 + 3.0 * banks.len() as f64) * WRITE * self.bit;
        let mut driving = settle.max(BUS) + self.conversions(1.0);
        driving += plain as f64 * (route + self.conversions(each));
        driving += plain.saturating_sub(1) as f64 * BUS;
        for wait in pulled {
            driving += route + wait + self.conversions(1.0);
        }
        let rounds = (driving / WATCH).floor();
        driving += rounds * (128.0 / WATCHED_TOGETHER / 2.0) * look;
        let dead = settle / 12.0 * (3.3_f64 / 0.2).ln();
        self.bound.patterns += 1;
        self.bound.readings += plain + pulled.len();
        self.bound.time += looks + writes + driving + dead;
    }
}

/// The bound of ringing a job out on a probe with so many leads and an SPI
/// clock in hertz.
#[must_use]
pub fn bound(job: &Job, hookup: &Hookup, leads: u8, spi_hz: u32) -> Bound {
    let nets = nets(job, hookup);
    let mut sum = Sum {
        bit: 1e6 / f64::from(spi_hz),
        bound: Bound::default(),
    };
    let all = f64::from(leads) * sum.look();
    let banks = f64::from(leads / BANK);
    // Two rounds of looks, the chassis lead undriven and driven, and for each
    // bank both direction registers written and read back.
    sum.bound.time += all.max(APART) + all;
    sum.bound.time += 2.0 * (WRITE * sum.bit + sum.conversions(1.0)) + CHASSIS;
    sum.bound.time += banks * 4.0 * WRITE * sum.bit;
    low_ohms(&nets, &mut sum);
    isolation(&nets, hookup.place, &mut sum);
    across(&nets, &mut sum);
    let separate = nets.iter().filter(|net| !net.chassis).count() as f64;
    sum.bound.information = (separate + 2.0).log2().ceil() as u32;
    sum.bound
}

fn low_ohms(nets: &[Net], sum: &mut Sum) {
    for net in nets {
        let (first, rest) = net.leads.split_at(1);
        if net.chassis {
            for lead in &net.leads {
                sum.pattern(&[*lead], net.settle(), 1, LOW_OHM_CONVERSIONS, &[]);
            }
        } else {
            for lead in rest {
                let driven = [first[0], *lead];
                sum.pattern(&driven, net.settle(), 2, LOW_OHM_CONVERSIONS, &[]);
            }
        }
    }
}

fn isolation(nets: &[Net], place: Place, sum: &mut Sum) {
    let free: Vec<&Net> = nets.iter().filter(|net| !net.chassis).collect();
    let (active, passive): (Vec<&Net>, Vec<&Net>) = free.iter().partition(|net| net.active());
    let mut size: BTreeMap<usize, usize> = BTreeMap::new();
    for net in &passive {
        *size.entry(net.island).or_default() += 1;
    }
    let largest = size.iter().max_by_key(|(_, count)| **count);
    let left_out = match (place, largest) {
        (Place::Bench, Some((island, _))) => Some(*island),
        _ => None,
    };
    // Passive sources that are done: each pair needs only one of the two.
    let mut done: Vec<usize> = Vec::new();
    for net in &passive {
        if Some(net.island) == left_out {
            continue;
        }
        let mut driven = vec![net.leads[0]];
        let others = passive.iter().enumerate();
        driven.extend(
            others
                .filter(|(at, other)| other.island != net.island && !done.contains(at))
                .map(|(_, other)| other.leads[0]),
        );
        sum.pattern(&driven, net.settle(), 1, 1.0, &[]);
        done.extend(passive.iter().position(|other| other.leads == net.leads));
    }
    for (at, net) in active.iter().enumerate() {
        let mut driven = vec![net.leads[0]];
        driven.extend(passive.iter().map(|other| other.leads[0]));
        let later = active[at + 1..].iter();
        let pulled: Vec<f64> = later
            .filter(|other| other.island != net.island)
            .map(|other| other.pulled())
            .collect();
        sum.pattern(&driven, net.settle(), 1, 1.0, &pulled);
    }
}

fn across(nets: &[Net], sum: &mut Sum) {
    let mut islands: BTreeMap<usize, Vec<&Net>> = BTreeMap::new();
    for net in nets.iter().filter(|net| !net.chassis) {
        islands.entry(net.island).or_default().push(net);
    }
    for island in islands.values() {
        for pair in island.windows(2) {
            let settle = pair[0].settle().max(pair[1].settle());
            let driven = [pair[0].leads[0], pair[1].leads[0]];
            for _ in 0..if pair[0].diode { 2 } else { 1 } {
                sum.pattern(&driven, settle, 2, LOW_OHM_CONVERSIONS, &[]);
            }
        }
    }
}
