//! The circuits that a harness is put together from.

use rand::RngExt as _;
use rand::seq::IndexedRandom as _;
use rand_chacha::ChaCha8Rng;

use super::Form;
use super::draft::{Draft, Lead, Open, Table};

/// IEC 60757 codes; those for metals, transparent and protective earth are not
/// used on leads of this kind.
const COLOURS: &[&str] = &[
    "BK", "BN", "RD", "OG", "YE", "GN", "BU", "VT", "GY", "WH", "PK", "TQ",
];

const SIZES: &[&str] = &[
    "0.5 mm2", "0.5 mm2", "0.75 mm2", "0.75 mm2", "1 mm2", "1.5 mm2", "2.5 mm2", "22 AWG",
    "20 AWG", "18 AWG",
];

const PLACES: &[&str] = &[
    "left kick panel",
    "right kick panel",
    "behind the cluster",
    "centre console",
    "left sill",
    "right sill",
    "load bay, front wall",
    "load bay, roof",
    "left rear pillar",
    "right rear pillar",
    "under the driver's seat",
    "bulkhead, left",
];

/// Leads that one ground splice takes.
const GROUND_LEADS: usize = 7;

/// A circuit, what it costs in test points on the bench, and how often it is
/// drawn beside the others: on the bench and in the vehicle.
struct Circuit {
    cost: u16,
    weights: [u32; 2],
    draw: fn(&mut Draft, &mut ChaCha8Rng),
}

/// Proportions as in `fixtures/plans`: mostly straight leads and taps, a few
/// splices, and one part for every eight leads or so.
const CIRCUITS: &[Circuit] = &[
    Circuit {
        cost: 2,
        weights: [34, 12],
        draw: straight,
    },
    Circuit {
        cost: 4,
        weights: [6, 4],
        draw: through_plug,
    },
    Circuit {
        cost: 2,
        weights: [4, 5],
        draw: fused,
    },
    Circuit {
        cost: 2,
        weights: [5, 3],
        draw: diode,
    },
    Circuit {
        cost: 1,
        weights: [4, 3],
        draw: lamp,
    },
    Circuit {
        cost: 3,
        weights: [9, 6],
        draw: splice,
    },
    Circuit {
        cost: 6,
        weights: [5, 2],
        draw: wide_splice,
    },
    Circuit {
        cost: 1,
        weights: [4, 5],
        draw: capped,
    },
    Circuit {
        cost: 3,
        weights: [5, 5],
        draw: relay,
    },
    Circuit {
        cost: 4,
        weights: [3, 2],
        draw: changeover,
    },
    Circuit {
        cost: 1,
        weights: [5, 5],
        draw: grounded,
    },
    Circuit {
        cost: 2,
        weights: [0, 26],
        draw: tapped,
    },
    Circuit {
        cost: 3,
        weights: [0, 4],
        draw: door_switches,
    },
    Circuit {
        cost: 2,
        weights: [1, 3],
        draw: battery_feed,
    },
];

/// Points that a first ground ring needs, kept back for circuits that want one.
const RING: u16 = 1;

/// Draws circuits until the harness has so many test points on the bench.
pub(super) fn fill(draft: &mut Draft, rng: &mut ChaCha8Rng, points: u16, form: Form) {
    let at = usize::from(form == Form::Vehicle);
    let mut left = points;
    if form == Form::Vehicle {
        // A fitted harness has at least one tap and one ground.
        tapped(draft, rng);
        grounded(draft, rng);
        left -= 4;
    }
    while left > 0 {
        let fits = |circuit: &&Circuit| circuit.cost + RING <= left && circuit.weights[at] > 0;
        let choice: Vec<&Circuit> = CIRCUITS.iter().filter(fits).collect();
        let before = draft.rings();
        match choice.choose_weighted(rng, |circuit| circuit.weights[at]) {
            Ok(circuit) => {
                (circuit.draw)(draft, rng);
                left -= circuit.cost + (draft.rings() - before) as u16;
            }
            // One point left.
            Err(_) => {
                capped(draft, rng);
                left -= 1;
            }
        }
    }
}

impl Draft {
    fn rings(&self) -> usize {
        self.counts.get("G").copied().unwrap_or(0)
    }

    fn part(&mut self, kind: &str, letter: &'static str, rng: &mut ChaCha8Rng) -> (String, Table) {
        let name = self.name(letter);
        let table = Table::new(kind, &name).text("place", pick(PLACES, rng));
        (name, table)
    }

    fn lead(&mut self, a: Open, b: Open, rng: &mut ChaCha8Rng) {
        let base = pick(COLOURS, rng);
        let tracer = pick(COLOURS, rng);
        let colour = if base == tracer || rng.random_bool(0.4) {
            base.to_owned()
        } else {
            format!("{base}/{tracer}")
        };
        self.leads.push(Lead {
            colour,
            size: pick(SIZES, rng),
            length: rng.random_range(3..=60) * 10,
            ends: [a, b],
        });
    }

    /// An end at a ground splice; a new one with its ring where there is none
    /// or the last one is full.
    fn ground(&mut self, rng: &mut ChaCha8Rng) -> Open {
        let splice = match &mut self.ground {
            Some((splice, count)) if *count < GROUND_LEADS => {
                *count += 1;
                splice.clone()
            }
            _ => {
                let (splice, table) = self.part("splice", "S", rng);
                self.others.push(table);
                let (ring, table) = self.part("ring", "G", rng);
                self.others.push(table.text("on", "chassis"));
                self.lead(Open::at(&splice), Open::at(ring), rng);
                self.ground = Some((splice.clone(), 2));
                splice
            }
        };
        Open::at(splice)
    }

    fn tap(&mut self) -> Open {
        self.taps += 1;
        Open::at(format!("T{}", self.taps))
    }
}

fn pick<'a>(list: &[&'a str], rng: &mut ChaCha8Rng) -> &'a str {
    list.choose(rng).copied().unwrap_or_default()
}

fn either(rng: &mut ChaCha8Rng) -> Open {
    if rng.random_bool(0.5) {
        Open::Front
    } else {
        Open::Rear
    }
}

fn straight(draft: &mut Draft, rng: &mut ChaCha8Rng) {
    draft.lead(Open::Front, Open::Rear, rng);
}

/// Two leads that come apart at an in-line plug.
fn through_plug(draft: &mut Draft, rng: &mut ChaCha8Rng) {
    let (plug, table) = draft.part("plug", "P", rng);
    draft.others.push(table.raw("ways", 2));
    for way in 1..=2 {
        draft.lead(Open::Front, Open::at(format!("{plug}-A:{way}")), rng);
        draft.lead(Open::at(format!("{plug}-B:{way}")), Open::Rear, rng);
    }
}

fn fused(draft: &mut Draft, rng: &mut ChaCha8Rng) {
    let fuse = fuse(draft, rng);
    draft.lead(Open::Front, Open::at(format!("{fuse}:1")), rng);
    draft.lead(Open::at(format!("{fuse}:2")), Open::Rear, rng);
}

fn fuse(draft: &mut Draft, rng: &mut ChaCha8Rng) -> String {
    let (fuse, table) = draft.part("fuse", "F", rng);
    let rating = pick(&["5 A", "7.5 A", "10 A", "15 A", "20 A"], rng);
    draft.others.push(table.text("rating", rating));
    fuse
}

fn diode(draft: &mut Draft, rng: &mut ChaCha8Rng) {
    let (diode, table) = draft.part("diode", "D", rng);
    draft.others.push(table);
    draft.lead(Open::Front, Open::at(format!("{diode}:A")), rng);
    draft.lead(Open::at(format!("{diode}:K")), Open::Rear, rng);
}

/// A lamp between a feed and ground.
fn lamp(draft: &mut Draft, rng: &mut ChaCha8Rng) {
    let (lamp, table) = draft.part("lamp", "L", rng);
    let power = pick(&["2 W", "3 W", "5 W", "10 W", "21 W"], rng);
    draft
        .others
        .push(table.text("power", power).text("volts", "12 V"));
    draft.lead(Open::Front, Open::at(format!("{lamp}:1")), rng);
    let ground = draft.ground(rng);
    draft.lead(Open::at(format!("{lamp}:2")), ground, rng);
}

fn splice(draft: &mut Draft, rng: &mut ChaCha8Rng) {
    splice_of(draft, rng, 3);
}

fn wide_splice(draft: &mut Draft, rng: &mut ChaCha8Rng) {
    splice_of(draft, rng, 6);
}

fn splice_of(draft: &mut Draft, rng: &mut ChaCha8Rng, leads: usize) {
    let (splice, table) = draft.part("splice", "S", rng);
    draft.others.push(table);
    draft.lead(Open::Front, Open::at(&splice), rng);
    for _ in 1..leads {
        let end = either(rng);
        draft.lead(Open::at(&splice), end, rng);
    }
}

fn capped(draft: &mut Draft, rng: &mut ChaCha8Rng) {
    let end = either(rng);
    draft.lead(end, Open::at("cap"), rng);
}

fn coil(draft: &mut Draft, rng: &mut ChaCha8Rng, contacts: &str) -> String {
    let (relay, table) = draft.part("relay", "R", rng);
    let ohms = rng.random_range(60..=130);
    let suppression = pick(&["none", "diode", "diode", "680 ohm"], rng);
    draft.others.push(
        table
            .text("coil", format!("{ohms} ohm"))
            .text("contacts", contacts)
            .text("suppression", suppression),
    );
    draft.lead(Open::Front, Open::at(format!("{relay}:86")), rng);
    let ground = draft.ground(rng);
    draft.lead(Open::at(format!("{relay}:85")), ground, rng);
    relay
}

/// A make contact, its feed fused or not.
fn relay(draft: &mut Draft, rng: &mut ChaCha8Rng) {
    let relay = coil(draft, rng, "make");
    let feed = Open::at(format!("{relay}:30"));
    if rng.random_bool(0.5) {
        let fuse = fuse(draft, rng);
        draft.lead(Open::Front, Open::at(format!("{fuse}:1")), rng);
        draft.lead(Open::at(format!("{fuse}:2")), feed, rng);
    } else {
        draft.lead(Open::Front, feed, rng);
    }
    draft.lead(Open::at(format!("{relay}:87")), Open::Rear, rng);
}

fn changeover(draft: &mut Draft, rng: &mut ChaCha8Rng) {
    let relay = coil(draft, rng, "changeover");
    draft.lead(Open::Front, Open::at(format!("{relay}:30")), rng);
    draft.lead(Open::at(format!("{relay}:87")), Open::Rear, rng);
    draft.lead(Open::at(format!("{relay}:87a")), Open::Rear, rng);
}

/// The ground of something that plugs in.
fn grounded(draft: &mut Draft, rng: &mut ChaCha8Rng) {
    let ground = draft.ground(rng);
    draft.lead(Open::Rear, ground, rng);
}

fn tapped(draft: &mut Draft, rng: &mut ChaCha8Rng) {
    let tap = draft.tap();
    draft.lead(tap, Open::Rear, rng);
}

/// Two tapped switches that must not feed each other.
fn door_switches(draft: &mut Draft, rng: &mut ChaCha8Rng) {
    let (splice, table) = draft.part("splice", "S", rng);
    draft.others.push(table);
    draft.lead(Open::Rear, Open::at(&splice), rng);
    for _ in 0..2 {
        let (diode, table) = draft.part("diode", "D", rng);
        draft.others.push(table);
        draft.lead(Open::at(&splice), Open::at(format!("{diode}:A")), rng);
        let tap = draft.tap();
        draft.lead(Open::at(format!("{diode}:K")), tap, rng);
    }
}

/// Battery plus through a fuse.
fn battery_feed(draft: &mut Draft, rng: &mut ChaCha8Rng) {
    let (ring, table) = draft.part("ring", "B", rng);
    draft.others.push(table.text("on", "battery plus"));
    let fuse = fuse(draft, rng);
    draft.lead(Open::at(ring), Open::at(format!("{fuse}:1")), rng);
    draft.lead(Open::at(format!("{fuse}:2")), Open::Rear, rng);
}
