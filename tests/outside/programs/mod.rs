//! Programs from outside that compute the same anew, with every run of the tests.
//!
//! ngspice is Debian's. The others are packages of another language's registry,
//! pinned with their digests in `requirements.txt` and installed into
//! `target/outside/python` by `tools/outside-programs.sh`; each is driven by a
//! short script beside this file, which takes and gives JSON. A test whose
//! program is not there is skipped and says so.

use std::fmt::Write as _;

#[cfg(test)]
mod link;
#[cfg(test)]
mod ngspice;
#[cfg(test)]
mod plans;
#[cfg(test)]
mod python;
#[cfg(test)]
mod resistances;
#[cfg(test)]
mod schemas;

/// What is asked of a program, and how far ours may be off.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Row {
    /// What is compared.
    pub what: &'static str,
    /// How many cases at least; exactly so many where they are drawn by chance.
    pub cases: usize,
    /// How far the worst may be off, as a share; 0 where nothing may differ.
    pub limit: f64,
}

/// Random circuits for ngspice.
pub const CIRCUITS: usize = 1000;

/// Steps of the demo circuit's first pass, as ngspice sees them.
pub const DEMO: Row = Row {
    what: "operating points of the bakery van's first pass",
    cases: 200,
    limit: 1e-5,
};

/// Random circuits of 2 to 60 nodes, 1 mΩ to 10 MΩ, by what is in them.
pub const RANDOM: [Row; 3] = [
    Row {
        what: "random circuits of resistors",
        cases: 85,
        limit: 1e-7,
    },
    Row {
        what: "random circuits with diodes",
        cases: 115,
        limit: 1e-5,
    },
    Row {
        what: "random circuits with relays, each with a diode across its coil",
        cases: 800,
        limit: 1e-4,
    },
];

/// Random resistor networks.
pub const NETWORKS: Row = Row {
    what: "resistances between pairs of points in 200 random networks of 3 to 40 points, 1 Ω to 10 kΩ",
    cases: 1000,
    limit: 1e-10,
};

/// The link's traffic.
pub const FRAMES: Row = Row {
    what: "frames of a ring-out's traffic: stuffing, check sum, every value of every message, and back to the same bytes",
    cases: 700,
    limit: 0.0,
};

/// Frames with a byte changed.
pub const SPOILED: Row = Row {
    what: "the same frames, one byte of each changed: both sides refuse them",
    cases: 700,
    limit: 0.0,
};

/// Every fixture as TOML.
pub const FILES: Row = Row {
    what: "fixtures as TOML: the same values, and the same file refused",
    cases: 70,
    limit: 0.0,
};

/// What the plan reader keeps.
pub const KEPT: Row = Row {
    what: "values of the plans as the reader keeps them, quantities in their units",
    cases: 1900,
    limit: 1e-12,
};

/// What is printed as JSON.
pub const DOCUMENTS: Row = Row {
    what: "reports, reviews, records and plans against their schemas, as printed and spoiled: the same verdict",
    cases: 1000,
    limit: 0.0,
};

/// Program, test, rows.
type Program = (&'static str, &'static str, &'static [Row]);

const PROGRAMS: [Program; 8] = [
    (
        "ngspice 39",
        "ngspice::the_demo_circuit_reads_as_ngspice_says",
        &[DEMO],
    ),
    (
        "ngspice 39",
        "ngspice::random_circuits_read_as_ngspice_says",
        &RANDOM,
    ),
    (
        "networkx 3.6.1 `resistance_distance`, scipy 1.17.1 `linalg.pinvh` of the Laplacian",
        "resistances::random_networks",
        &[NETWORKS],
    ),
    (
        "cobs 1.2.0, Python's zlib.crc32, a reader of the varints written from docs/wire-format.md",
        "link::traffic_is_read_by_another_hand",
        &[FRAMES],
    ),
    (
        "the same",
        "link::spoiled_frames_are_refused_by_both",
        &[SPOILED],
    ),
    (
        "Python's tomllib",
        "plans::files_have_the_same_values",
        &[FILES],
    ),
    (
        "Python's tomllib, units read by the script",
        "plans::the_reader_keeps_what_is_written",
        &[KEPT],
    ),
    (
        "jsonschema 4.26.0",
        "schemas::documents_fit_or_do_not_for_both",
        &[DOCUMENTS],
    ),
];

/// The page's section.
#[must_use]
pub fn section() -> String {
    let mut text = "\n## Programs\n\nThey compute anew with every run of the tests; what may be off at most is held there, and printed with `--nocapture`. `tools/outside-programs.sh` installs them.\n\n| program | what | cases | off at most | test |\n| --- | --- | --- | --- | --- |\n".to_owned();
    for (program, test, rows) in PROGRAMS {
        for row in rows {
            let limit = if row.limit == 0.0 {
                "nothing".to_owned()
            } else {
                format!("{:e}", row.limit)
            };
            let _ = writeln!(
                text,
                "| {program} | {} | {} | {limit} | `programs::{test}` |",
                row.what, row.cases
            );
        }
    }
    text
}
