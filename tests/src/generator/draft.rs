//! A harness while it is being drawn.

/// Where a lead ends.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Open {
    /// In a cavity at the front of the vehicle or the bench, not given yet.
    Front,
    /// In a cavity at the rear, not given yet.
    Rear,
    /// At something that has a name: `S1`, `R1:86`, `P1-A:2`, `cap`, a cavity.
    At(String),
}

impl Open {
    /// An end as spelled in a plan.
    pub(super) fn at(end: impl Into<String>) -> Self {
        Self::At(end.into())
    }
}

/// A lead.
#[derive(Debug, Clone)]
pub(super) struct Lead {
    /// Colour code.
    pub(super) colour: String,
    /// As written: `0.5 mm2`.
    pub(super) size: &'static str,
    /// Centimetres.
    pub(super) length: u32,
    /// Both ends.
    pub(super) ends: [Open; 2],
}

/// A table with a few keys, written as it stands.
#[derive(Debug, Clone)]
pub(super) struct Table {
    /// Table and name: `relay.R1`.
    pub(super) head: String,
    /// Keys with their values, in TOML.
    pub(super) keys: Vec<(&'static str, String)>,
}

impl Table {
    pub(super) fn new(kind: &str, name: &str) -> Self {
        Self {
            head: format!("{kind}.{name}"),
            keys: Vec::new(),
        }
    }

    pub(super) fn text(mut self, key: &'static str, value: impl AsRef<str>) -> Self {
        self.keys.push((key, format!("{:?}", value.as_ref())));
        self
    }

    pub(super) fn raw(mut self, key: &'static str, value: impl ToString) -> Self {
        self.keys.push((key, value.to_string()));
        self
    }
}

/// The harness so far.
#[derive(Debug, Default)]
pub(super) struct Draft {
    /// Leads, in the order they were drawn.
    pub(super) leads: Vec<Lead>,
    /// Connectors.
    pub(super) connectors: Vec<Table>,
    /// Conductors of the vehicle.
    pub(super) conductors: Vec<Table>,
    /// Splices, rings, plugs and parts.
    pub(super) others: Vec<Table>,
    /// Taps, in order: T1, T2 …
    pub(super) taps: usize,
    /// Conductor of each tap.
    pub(super) bitten: Vec<String>,
    /// The ground splice that still takes leads, and how many it has.
    pub(super) ground: Option<(String, usize)>,
    /// Names given so far, by their letter.
    pub(super) counts: std::collections::BTreeMap<&'static str, usize>,
}

impl Draft {
    /// The next name with this letter.
    pub(super) fn name(&mut self, letter: &'static str) -> String {
        let count = self.counts.entry(letter).or_default();
        *count += 1;
        format!("{letter}{count}")
    }
}
