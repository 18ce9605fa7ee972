//! What a review finds.

use std::collections::BTreeMap;

use schemars::JsonSchema;
use serde::Serialize;

/// How bad a finding is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum Level {
    /// Has to be put right before anyone crimps.
    Wrong,
    /// To be known or to be stated; nothing is wrong by itself.
    Note,
}

/// A number with its unit.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Value {
    /// What it is.
    pub name: String,
    /// The number.
    pub value: f64,
    /// Its unit.
    pub unit: &'static str,
}

/// One thing that the review has to say.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Finding {
    /// Which rule, by its name in docs/review.md.
    pub rule: &'static str,
    /// How bad it is.
    pub level: Level,
    /// Where the rule or its limit comes from.
    pub source: &'static str,
    /// Where in the plan, as the plan writes it.
    pub place: String,
    /// What is found, in a sentence.
    pub say: String,
    /// The numbers behind it.
    pub values: Vec<Value>,
    /// What would put it right.
    pub fix: String,
    /// Through what current flows, from battery plus to chassis; empty where
    /// the rule is not about a route.
    pub route: Vec<String>,
    /// The switches' states in which it shows; empty where it does not depend
    /// on them or shows with everything at rest.
    pub state: BTreeMap<String, String>,
    /// The variants in which it holds: each the answers that lead there, left
    /// out where they do not matter. One empty entry stands for every variant.
    pub variants: Vec<BTreeMap<String, String>>,
}

impl Finding {
    /// A finding about the whole plan in every variant.
    #[must_use]
    pub fn new(
        rule: &'static str,
        level: Level,
        source: &'static str,
        place: impl Into<String>,
        say: impl Into<String>,
        fix: impl Into<String>,
    ) -> Self {
        Self {
            rule,
            level,
            source,
            place: place.into(),
            say: say.into(),
            values: Vec::new(),
            fix: fix.into(),
            route: Vec::new(),
            state: BTreeMap::new(),
            variants: Vec::new(),
        }
    }

    /// The same with a number.
    #[must_use]
    pub fn value(mut self, name: &str, value: f64, unit: &'static str) -> Self {
        self.values.push(Value {
            name: name.to_owned(),
            // Four digits are more than any of the inputs has.
            value: (value * 1e4).round() / 1e4,
            unit,
        });
        self
    }

    /// The same with a route.
    #[must_use]
    pub fn route(mut self, route: Vec<String>) -> Self {
        self.route = route;
        self
    }

    /// The same with the state in which it shows.
    #[must_use]
    pub fn state(mut self, state: BTreeMap<String, String>) -> Self {
        self.state = state;
        self
    }

    /// What makes two findings of different variants one.
    pub(crate) fn key(&self) -> (&'static str, &str, &str, &str) {
        (self.rule, &self.place, &self.say, &self.fix)
    }
}

/// Where rules come from.
pub mod source {
    /// No published source.
    pub const PRACTICE: &str = "common practice";
    /// Basic physics, computed.
    pub const COMPUTED: &str = "computed from the plan (Ohm, Kirchhoff)";
    /// Fuse against wire. Read at landseaskyspace.com/ac4313/p11-15.html.
    pub const WIRE_FUSE: &str = "FAA AC 43.13-1B, 11-48 and Table 11-3 (p. 11-15)";
    /// Fuse close to the source. Read, as above.
    pub const FUSE_PLACE: &str = "FAA AC 43.13-1B, 11-47 (p. 11-15): fuses as close as possible to the source; 0.3 m is common practice";
    /// Fuse characteristic, through a relay datasheet (read).
    pub const FUSE_CURVE: &str = "ISO 8820-3, as a relay datasheet cites it: 1.35 x for 1800 s";
    /// Inrush, from the same and kfz-tech.de (read).
    pub const INRUSH: &str = "cold filament 1/10 of hot (kfz-tech.de); ISO 8820-3, as a relay datasheet cites it: 6 x for 0.1 s";
    /// Allowed drop; not read.
    pub const DROP: &str =
        "FAA AC 43.13-1B, Table 11-6 (from memory): 0.5 V of 14 V, 1 V of 28 V, continuous";
    /// Coil voltages.
    pub const COIL: &str = "mini ISO relay datasheet, similar to ISO 7588-1: 12 V coil operates at 8 V, releases at 1.5 V";
    /// Coil spikes.
    pub const SPIKE: &str =
        "ISO 7637-2 pulse 1 (-150 V), as a semiconductor maker's article gives it";
    /// Terminal numbers.
    pub const TERMINALS: &str = "DIN 72552 (85 = coil end to negative: from memory)";
    /// What a reading proves.
    pub const READING: &str = "common practice: a reading needs two points that can be touched";
}
