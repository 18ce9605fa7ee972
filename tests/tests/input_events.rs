//! What the events of the electrical environment do to the probe's inputs, by
//! ngspice: voltages at the chips, currents, energies, and the error that they
//! make on another lead. Held against the limits of `docs/build-the-probe.md`,
//! whose table is printed here (`LOOMPROOF_BLESS=1` writes it).

use loomproof_core::instrument::{LEAKAGE, PROTECTION};
use loomproof_tests::skip;
use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::path::Path;
use std::process::Command;

const DOCUMENT: &str = "docs/build-the-probe.md";
const DECK: &str = "docs/probe/lead.cir";
const BEGIN: &str = "<!-- events: written by tests/tests/input_events.rs -->\n";
const END: &str = "<!-- end of events -->\n";

/// Sources of events: fixtures/reference/README.md, electrical environment.
struct Event {
    name: &'static str,
    /// The source as ngspice has it, and its internal resistance in ohms.
    source: &'static str,
    ohms: f64,
    /// Length of the simulation and its step in seconds; at its end the event
    /// is over, unless it stands.
    span: f64,
    step: f64,
    stands: bool,
}

const fn standing(name: &'static str, source: &'static str) -> Event {
    Event {
        name,
        source,
        ohms: 0.01,
        span: 0.1,
        step: 1e-4,
        stands: true,
    }
}

/// Exponential edges: a pulse that falls to a tenth in t has t / 2.3 as time
/// constant.
const EVENTS: [Event; 9] = [
    standing("24 V jump start", "24"),
    standing("36 V standing", "36"),
    standing("−16 V standing", "-16"),
    standing("−36 V standing (C1 on the plus of 24 V)", "-36"),
    Event {
        name: "load dump 101 V, 0.5 Ω, 400 ms",
        source: "exp(14 101 1m 3.3m 11m 174m)",
        ohms: 0.5,
        span: 1.0,
        step: 1e-4,
        stands: false,
    },
    Event {
        name: "pulse 1, −150 V, 10 Ω, 2 ms",
        source: "exp(0 -150 10u 0.4u 12u 0.87m)",
        ohms: 10.0,
        span: 6e-3,
        step: 1e-6,
        stands: false,
    },
    Event {
        name: "pulse 2a, 112 V on 12 V, 2 Ω, 50 µs",
        source: "exp(12 124 10u 0.4u 12u 22u)",
        ohms: 2.0,
        span: 300e-6,
        step: 1e-7,
        stands: false,
    },
    Event {
        name: "pulse 3a, −220 V, 50 Ω, 150 ns",
        source: "exp(0 -220 100n 2n 106n 65n)",
        ohms: 50.0,
        span: 300e-6,
        step: 20e-9,
        stands: false,
    },
    Event {
        name: "pulse 3b, 150 V, 50 Ω, 150 ns",
        source: "exp(0 150 100n 2n 106n 65n)",
        ohms: 50.0,
        span: 300e-6,
        step: 20e-9,
        stands: false,
    },
];

/// A figure of the table: its unit, and most that it may be.
struct Limit {
    what: &'static str,
    unit: &'static str,
    scale: f64,
    /// For an event that stands.
    standing: Option<f64>,
    /// For one that passes.
    passing: Option<f64>,
    why: &'static str,
}

const fn limit(
    what: &'static str,
    (unit, scale): (&'static str, f64),
    standing: Option<f64>,
    passing: Option<f64>,
    why: &'static str,
) -> Limit {
    Limit {
        what,
        unit,
        scale,
        standing,
        passing,
        why,
    }
}

const LIMITS: [Limit; 10] = [
    limit(
        "disconnect",
        ("V", 1.0),
        Some(60.0),
        Some(60.0),
        "TMUX7412F, lead side to 0 V, either sign (source B)",
    ),
    limit(
        "multiplexer",
        ("V", 1.0),
        Some(60.0),
        Some(60.0),
        "TMUX7308F, source pin to 0 V, either sign (source C)",
    ),
    limit(
        "multiplexer to +37 V",
        ("V", 1.0),
        Some(85.0),
        Some(85.0),
        "TMUX7308F, source pin to supply (source B, sister part)",
    ),
    limit(
        "current of a clamp diode",
        ("mA", 1e3),
        Some(0.16),
        Some(0.5),
        "BAV199: 160 mA standing, 0.5 A for a second (M)",
    ),
    limit(
        "power in 680 Ω",
        ("mW", 1e3),
        Some(0.25),
        None,
        "size 1206, 0.25 W standing (P)",
    ),
    limit(
        "energy in 680 Ω",
        ("mJ", 1e3),
        None,
        Some(0.5),
        "pulse-proof 1206, 5 W for 100 ms (M)",
    ),
    limit(
        "power in 22 kΩ",
        ("mW", 1e3),
        Some(0.25),
        None,
        "size 1206, 0.25 W standing (P)",
    ),
    limit(
        "energy in 22 kΩ",
        ("mJ", 1e3),
        None,
        Some(0.05),
        "size 1206, six times its power for a short time (P), 1.5 W for 33 ms",
    ),
    limit(
        "energy in the suppressors",
        ("J", 1.0),
        None,
        Some(50.0),
        "SM8S36A, a load dump of its class (M)",
    ),
    limit(
        "error of another lead",
        ("µV", 1e6),
        Some(LEAKAGE_ERROR),
        Some(LEAKAGE_ERROR),
        "10 nA in 22 kΩ, as S52 of the error budget; of an event that passes, when it is over: \
         while it lasts the reading is worth nothing (last column: the most)",
    ),
];

/// Volts at the converter that the error budget allows for leakage.
const LEAKAGE_ERROR: f64 = LEAKAGE * PROTECTION.0;

/// Voltage of the lead that is read meanwhile.
const READ: f64 = 1.0;

fn deck(event: &Event, leads: u32, tvs: f64) -> String {
    let lead = std::fs::read_to_string(skip::top().join(DECK)).expect(DECK);
    let lead = lead.replace(".param tvs=44.2", &format!(".param tvs={tvs}"));
    let (source, ohms) = (event.source, event.ohms);
    format!(
        "{lead}
vev ev 0 {source}
rev ev live {ohms}
xhit live d s ov uv cp cn input m={leads}
xlines ov uv cp cn lines
* another lead, read meanwhile
vread tip 0 {READ}
rtip tip quiet 725
xread quiet dq bus ov uv cp cn input
cbus bus 0 140p
* currents of one lead, and what is turned to heat
bpr1 pr1 0 v=(v(live)-v(d))*(v(live)-v(d))/680
bpr3 pr3 0 v=(v(live)-v(s))*(v(live)-v(s))/21800
bcl cl 0 v=abs(v(live)-v(d))/680
btv tv 0 v=abs(v(cp)*i(v.xlines.vcp))+abs(v(cn)*i(v.xlines.vcn))
bvd vd 0 v=abs(v(d))
bvs vs 0 v=abs(v(s))
bvx vx 0 v=37.74-v(s)
ber er 0 v=abs(v(bus)-{READ})
.options reltol=1e-4 abstol=1e-13 vntol=1e-8 method=gear
.tran {step} {span} 0 {step}
.meas tran switch max v(vd)
.meas tran mux max v(vs)
.meas tran supply max v(vx)
.meas tran diode max v(cl)
.meas tran watt1 max v(pr1)
.meas tran joule1 integ v(pr1)
.meas tran watt3 max v(pr3)
.meas tran joule3 integ v(pr3)
.meas tran joule5 integ v(tv)
.meas tran last find v(er) at={late}
.meas tran most max v(er)
.end
",
        step = event.step,
        span = event.span,
        late = 0.999 * event.span,
    )
}

/// The measured values in the order of [`LIMITS`], and the most of the error.
fn measure(ngspice: &Path, folder: &Path, deck: &str) -> [f64; 11] {
    let file = folder.join("event.cir");
    std::fs::write(&file, deck).expect("a deck");
    let output = Command::new(ngspice)
        .arg("-b")
        .arg(&file)
        .output()
        .expect("ngspice runs");
    let said = String::from_utf8_lossy(&output.stdout).into_owned();
    let mut found = BTreeMap::new();
    for line in said.lines() {
        if let Some((name, rest)) = line.split_once('=')
            && let Some(value) = rest.split_whitespace().next().and_then(|v| v.parse().ok())
        {
            found.insert(name.trim().to_owned(), value);
        }
    }
    [
        "switch", "mux", "supply", "diode", "watt1", "joule1", "watt3", "joule3", "joule5", "last",
        "most",
    ]
    .map(|name| {
        *found.get(name).unwrap_or_else(|| {
            let complaints = String::from_utf8_lossy(&output.stderr);
            panic!("ngspice measured no {name}:\n{said}{complaints}\n{deck}")
        })
    })
}

/// Two figures; less than a thousandth is 0.
fn figure(value: f64) -> String {
    if value < 1e-3 {
        return "0".to_owned();
    }
    let place = value.log10().floor() as i32 - 1;
    let rounded = (value / 10_f64.powi(place)).round() * 10_f64.powi(place);
    format!("{rounded:.*}", (-place).max(0) as usize)
}

#[test]
fn the_inputs_survive_the_events() {
    let Some(ngspice) = skip::require("ngspice") else {
        return;
    };
    let folder = tempfile::tempdir().expect("a folder");
    let mut table = String::from("| event | leads |");
    for limit in &LIMITS {
        let _ = write!(table, " {}, {} |", limit.what, limit.unit);
    }
    table.push_str(" the most |\n|");
    table.push_str(&" --- |".repeat(LIMITS.len() + 3));
    table.push('\n');
    let mut over = Vec::new();
    for event in &EVENTS {
        for leads in [1, 64] {
            // The suppressors' breakdown at both ends of its tolerance.
            let ends =
                [40.0, 44.2].map(|tvs| measure(&ngspice, folder.path(), &deck(event, leads, tvs)));
            let worst = |at: usize| ends[0][at].max(ends[1][at]);
            let _ = write!(table, "| {} | {leads} |", event.name);
            for (at, limit) in LIMITS.iter().enumerate() {
                let most = if event.stands {
                    limit.standing
                } else {
                    limit.passing
                };
                let Some(most) = most else {
                    table.push_str(" |");
                    continue;
                };
                let worst = worst(at);
                let _ = write!(table, " {} |", figure(worst * limit.scale));
                if worst.is_nan() || worst > most {
                    over.push(format!("{}, {leads}: {} {worst:e}", event.name, limit.what));
                }
            }
            let _ = writeln!(table, " {} |", figure(worst(LIMITS.len()) * 1e6));
        }
    }
    for (name, which) in [
        (
            "standing",
            (|limit| limit.standing) as fn(&Limit) -> Option<f64>,
        ),
        ("passing", |limit| limit.passing),
    ] {
        let _ = write!(table, "| **limit**, {name} | |");
        for limit in &LIMITS {
            let most = which(limit).map_or(String::new(), |most| {
                format!(" {}", figure(most * limit.scale))
            });
            let _ = write!(table, "{most} |");
        }
        table.push_str(" |\n");
    }
    table.push('\n');
    for limit in &LIMITS {
        let _ = writeln!(table, "- {}: {}.", limit.what, limit.why);
    }
    println!("{table}");
    assert!(over.is_empty(), "over the limit:\n{}", over.join("\n"));
    kept(&table);
}

/// Holds the table against the document's.
fn kept(table: &str) {
    let path = skip::top().join(DOCUMENT);
    let text = std::fs::read_to_string(&path).expect(DOCUMENT);
    let (before, rest) = text.split_once(BEGIN).expect("the beginning of the table");
    let (_, after) = rest.split_once(END).expect("the end of the table");
    let wanted = format!("{before}{BEGIN}{table}{END}{after}");
    if std::env::var_os("LOOMPROOF_BLESS").is_some_and(|value| value == "1") {
        std::fs::write(&path, wanted).expect("the document can be written");
    } else {
        assert_eq!(
            text, wanted,
            "run the test with LOOMPROOF_BLESS=1 and read the difference"
        );
    }
}

/// The deck must be able to fail: without the suppressors the switch is lost.
#[test]
fn without_the_suppressors_a_load_dump_is_too_much() {
    let Some(ngspice) = skip::require("ngspice") else {
        return;
    };
    let folder = tempfile::tempdir().expect("a folder");
    let dump = &EVENTS[4];
    let with = deck(dump, 1, 44.2);
    let without = with.replace("dplus 0 cpx shunt", "* none");
    assert_ne!(with, without);
    let [switch, ..] = measure(&ngspice, folder.path(), &without);
    assert!(switch > 90.0, "{switch} V");
}
