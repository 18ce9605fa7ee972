//! The search that explains readings, given devices of a textbook instead of a
//! harness.

use std::collections::BTreeSet;

use loomproof::diagnosis::search::{Settings, Space, search};

/// A set of names.
pub type Names = BTreeSet<&'static str>;

/// Which components work, by name.
pub type Works<'w> = &'w dyn Fn(&str) -> bool;

/// Components, and whether observations allow that just these are broken.
pub struct Device {
    /// Names.
    pub components: Vec<&'static str>,
    /// Given which components work, whether that fits what is observed.
    pub consistent: Box<dyn Fn(Works<'_>) -> bool>,
    /// Logarithm of the odds that a component is broken.
    pub ln_odds: f64,
}

/// Gain of a set that explains everything; any number that no prior outweighs.
pub const EXPLAINS: f64 = 100.0;

impl Device {
    /// Whether just these broken explain what is observed.
    #[must_use]
    pub fn explains(&self, broken: &[usize]) -> bool {
        let works = |name: &str| {
            let at = self.components.iter().position(|c| *c == name).unwrap();
            !broken.contains(&at)
        };
        (self.consistent)(&works)
    }
}

impl Space for Device {
    fn len(&self) -> usize {
        self.components.len()
    }
    fn ln_prior(&self, _: usize) -> f64 {
        self.ln_odds
    }
    fn compatible(&self, a: usize, b: usize) -> bool {
        a != b
    }
    fn separate(&self, _: usize, _: usize) -> bool {
        false
    }
    fn bound(&self, _: usize) -> f64 {
        EXPLAINS
    }
    fn bound_of_two(&self, _: usize, _: usize) -> f64 {
        EXPLAINS
    }
    fn gain(&self, set: &[usize], floor: f64) -> Result<Option<f64>, String> {
        let gain = if self.explains(set) { EXPLAINS } else { 0.0 };
        Ok((gain >= floor).then_some(gain))
    }
    fn open_to(&self, set: &[usize]) -> Result<Vec<usize>, String> {
        let all = if self.explains(set) { 0 } else { self.len() };
        Ok((0..all).collect())
    }
}

/// A family of sets; a hypothesis is an element, and explains the sets it is in.
pub struct Family(pub Vec<Names>, pub Vec<&'static str>);

impl Family {
    /// The family of these sets.
    #[must_use]
    pub fn new(sets: &[&[&'static str]]) -> Self {
        let sets: Vec<Names> = sets.iter().map(|s| s.iter().copied().collect()).collect();
        let all: Names = sets.iter().flatten().copied().collect();
        Self(sets, all.into_iter().collect())
    }

    fn missed(&self, set: &[usize]) -> impl Iterator<Item = &Names> {
        let chosen: Names = set.iter().map(|one| self.1[*one]).collect();
        self.0.iter().filter(move |s| s.is_disjoint(&chosen))
    }
}

impl Space for Family {
    fn len(&self) -> usize {
        self.1.len()
    }
    fn ln_prior(&self, _: usize) -> f64 {
        -1.0
    }
    fn compatible(&self, a: usize, b: usize) -> bool {
        a != b
    }
    fn separate(&self, _: usize, _: usize) -> bool {
        false
    }
    fn bound(&self, one: usize) -> f64 {
        10.0 * self.0.iter().filter(|s| s.contains(self.1[one])).count() as f64
    }
    fn bound_of_two(&self, a: usize, b: usize) -> f64 {
        self.bound(a) + self.bound(b)
    }
    fn gain(&self, set: &[usize], floor: f64) -> Result<Option<f64>, String> {
        let gain = 10.0 * (self.0.len() - self.missed(set).count()) as f64;
        Ok((gain >= floor).then_some(gain))
    }
    fn open_to(&self, set: &[usize]) -> Result<Vec<usize>, String> {
        let open: Names = self.missed(set).flatten().copied().collect();
        Ok((0..self.len())
            .filter(|one| open.contains(self.1[*one]))
            .collect())
    }
}

/// Every set, however unlikely.
#[must_use]
pub fn settings() -> Settings {
    Settings {
        most: 5,
        negligible: f64::INFINITY,
        beam: usize::MAX,
        go_on: true,
        ..Settings::default()
    }
}

/// The sets that explain everything and hold no smaller one that does.
pub fn minimal(space: &impl Space, names: &[&'static str], whole: f64) -> BTreeSet<Names> {
    let found = search(space, &settings()).unwrap().found;
    let sets: Vec<Names> = found
        .iter()
        .filter(|f| f.gain >= whole)
        .map(|f| f.set.iter().map(|one| names[*one]).collect())
        .collect();
    let least = |set: &&Names| {
        !sets
            .iter()
            .any(|other| other != *set && other.is_subset(set))
    };
    sets.iter().filter(least).cloned().collect()
}

/// The minimal sets that meet every set of a family.
#[must_use]
pub fn hitting_sets(family: &[&[&'static str]]) -> BTreeSet<Names> {
    let space = Family::new(family);
    let names = space.1.clone();
    let whole = 10.0 * space.0.len() as f64;
    minimal(&space, &names, whole)
}

/// Conflicts are the minimal hitting sets of the diagnoses (Reiter 1987, theorem
/// 4.4; `from memory`).
#[must_use]
pub fn conflicts(diagnoses: &BTreeSet<Names>) -> BTreeSet<Names> {
    let sets: Vec<Vec<&'static str>> = diagnoses
        .iter()
        .map(|s| s.iter().copied().collect())
        .collect();
    let sets: Vec<&[&'static str]> = sets.iter().map(Vec::as_slice).collect();
    hitting_sets(&sets)
}

/// Sets as the page has them: `{A1} {A2,M2}`.
#[must_use]
pub fn printed(sets: &BTreeSet<Names>) -> String {
    let mut all: Vec<(usize, String)> = Vec::new();
    for set in sets {
        let names: Vec<&str> = set.iter().copied().collect();
        all.push((names.len(), format!("{{{}}}", names.join(","))));
    }
    all.sort();
    let all: Vec<String> = all.into_iter().map(|(_, set)| set).collect();
    all.join(" ")
}
