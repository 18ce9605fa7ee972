//! What loomproof is held against and did not compute itself: one file a
//! source, its values and their tests together.
//!
//! Every value is one [`check::Check`]: its test and its row of
//! `docs/outside-checks.md` are made of it ([`page`]). Programs from outside,
//! which compute anew with every run of the tests, are in [`programs`].

pub mod check;
pub mod ours;
pub mod page;
pub mod programs;

mod networks;
mod textbook;

use check::Check;

macro_rules! sources {
    ($($(#[$about:meta])* $name:ident: $title:literal),+ $(,)?) => {
        $($(#[$about])* pub mod $name;)+

        /// Every source: its file, what it is about, its checks.
        #[must_use]
        pub fn sources() -> Vec<(&'static str, &'static str, Vec<Check>)> {
            vec![$((stringify!($name), $title, $name::checks())),+]
        }
    };
}

sources! {
    astm_b258: "American wire gauge",
    solid_copper: "Solid copper",
    iec_60228: "Metric sizes",
    neets_4: "Length and temperature",
    faa_ac_43_13: "Voltage drop, strands, protection",
    parts: "Relay and filament",
    iso_8820: "Fuses",
    flashing: "Flashing",
    iec_60757: "Colours",
    iso_11446: "Trailer socket",
    polyhedra: "Polyhedra of resistors",
    graph_theory: "Graphs, ladders, star and delta",
    electric_circuits_1: "Bridge",
    networkx_docs: "A graph library's example",
    shockley: "Diode",
    interconnect: "Interconnect tests",
    de_kleer_williams: "Model-based diagnosis",
    reiter: "Diagnosis from first principles",
}
