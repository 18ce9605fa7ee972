//! The search that explains readings, on the standard examples of model-based
//! diagnosis: the three-multiplier circuit of de Kleer & Williams 1987
//! (values partly read in lecture slides on it, all computed) and the full
//! adder and the hitting-set family of Reiter 1987 (set-ups `from memory`,
//! answers computed); rows 76 to 80 of the project's reference table.

use std::collections::BTreeSet;

use loomproof::diagnosis::search::{Settings, Space, search};

type Names = BTreeSet<&'static str>;

/// Which components work, by name.
type Works<'w> = &'w dyn Fn(&str) -> bool;

/// Components, and whether observations allow that just these are broken.
struct Device {
    components: Vec<&'static str>,
    /// Given which components work, whether that fits what is observed.
    consistent: Box<dyn Fn(Works<'_>) -> bool>,
    ln_odds: f64,
}

/// Gain of a set that explains everything; any number that no prior outweighs.
const EXPLAINS: f64 = 100.0;

impl Device {
    fn explains(&self, broken: &[usize]) -> bool {
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
struct Family(Vec<Names>, Vec<&'static str>);

impl Family {
    fn new(sets: &[&[&'static str]]) -> Self {
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

fn settings() -> Settings {
    Settings {
        most: 5,
        negligible: f64::INFINITY,
        beam: usize::MAX,
        go_on: true,
        ..Settings::default()
    }
}

/// The sets that explain everything and hold no smaller one that does.
fn minimal(space: &impl Space, names: &[&'static str], whole: f64) -> BTreeSet<Names> {
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

fn hitting_sets(family: &[&[&'static str]]) -> BTreeSet<Names> {
    let space = Family::new(family);
    let names = space.1.clone();
    let whole = 10.0 * space.0.len() as f64;
    minimal(&space, &names, whole)
}

fn family(sets: &[&[&'static str]]) -> BTreeSet<Names> {
    sets.iter().map(|s| s.iter().copied().collect()).collect()
}

/// Conflicts are the minimal hitting sets of the diagnoses (Reiter 1987, theorem
/// 4.4; `from memory`).
fn conflicts(diagnoses: &BTreeSet<Names>) -> BTreeSet<Names> {
    let sets: Vec<Vec<&'static str>> = diagnoses
        .iter()
        .map(|s| s.iter().copied().collect())
        .collect();
    let sets: Vec<&[&'static str]> = sets.iter().map(Vec::as_slice).collect();
    hitting_sets(&sets)
}

/// Three multipliers, two adders; A…E = 3, 2, 2, 3, 3, F = 10, G = 12, and
/// perhaps one more reading of X or Y.
fn polybox(x_read: Option<i32>, y_read: Option<i32>) -> Device {
    let consistent = move |works: Works<'_>| {
        let given = |name: &str, by_inputs: i32| works(name).then_some(by_inputs);
        // Values that x = A·C, y = B·D and z = C·E could have had.
        let tried = -30..=30;
        let fits = |value: i32, forced: Option<i32>| forced.is_none_or(|f| f == value);
        tried.clone().any(|x| {
            tried.clone().any(|y| {
                tried.clone().any(|z| {
                    fits(x, given("M1", 6))
                        && fits(y, given("M2", 6))
                        && fits(z, given("M3", 6))
                        && fits(x, x_read)
                        && fits(y, y_read)
                        && (!works("A1") || x + y == 10)
                        && (!works("A2") || y + z == 12)
                })
            })
        })
    };
    Device {
        components: vec!["A1", "A2", "M1", "M2", "M3"],
        consistent: Box::new(consistent),
        ln_odds: (0.01_f64 / 0.99).ln(),
    }
}

fn diagnoses(x: Option<i32>, y: Option<i32>) -> BTreeSet<Names> {
    let device = polybox(x, y);
    let names = device.components.clone();
    minimal(&device, &names, EXPLAINS)
}

#[test]
fn three_multipliers_and_two_adders() {
    let found = diagnoses(None, None);
    assert_eq!(
        found,
        family(&[&["A1"], &["M1"], &["A2", "M2"], &["M2", "M3"]])
    );
    assert_eq!(
        conflicts(&found),
        family(&[&["A1", "M1", "M2"], &["A1", "A2", "M1", "M3"]])
    );
}

#[test]
fn a_further_reading_leaves_what_the_book_says() {
    let all = diagnoses(None, None);
    let left = |x, y| {
        let still = diagnoses(x, y);
        all.intersection(&still).cloned().collect::<BTreeSet<_>>()
    };
    assert_eq!(left(Some(4), None), family(&[&["M1"]]));
    assert_eq!(
        left(Some(6), None),
        family(&[&["A1"], &["M2", "M3"], &["A2", "M2"]])
    );
    assert_eq!(left(None, Some(6)), family(&[&["M1"], &["A1"]]));
    assert_eq!(left(None, Some(4)), family(&[&["M2", "M3"], &["A2", "M2"]]));
}

#[test]
fn a_single_fault_is_99_times_as_likely_as_a_pair() {
    // Posteriors over all 27 consistent candidates of 32: 0.478026 for each
    // single, 0.0048285 for each minimal pair (computed, not the paper's).
    let found = search(&polybox(None, None), &settings()).unwrap().found;
    let best = &found[0];
    let pair = found
        .iter()
        .find(|f| f.set.len() == 2 && f.gain >= EXPLAINS)
        .unwrap();
    assert_eq!(best.set.len(), 1);
    let ratio = (best.weight - pair.weight).exp();
    assert!((ratio - 0.478_026 / 0.004_828_5).abs() < 0.01, "{ratio}");
    let device = polybox(None, None);
    let consistent = (0..32_u32)
        .filter(|mask| {
            let broken: Vec<usize> = (0..5).filter(|at| mask >> at & 1 == 1).collect();
            device.explains(&broken)
        })
        .count();
    assert_eq!(consistent, 27);
}

#[test]
fn the_full_adder() {
    // X1 = a⊕b, X2 = X1⊕c is the sum; A1 = a∧b, A2 = X1∧c, O1 = A1∨A2 is the
    // carry; inputs 1, 0, 1 give sum 1 and carry 0.
    let consistent = |works: Works<'_>| {
        let free = [false, true];
        free.iter().any(|&x1| {
            free.iter().any(|&a1| {
                free.iter().any(|&a2| {
                    (!works("X1") || x1)
                        && (!works("A1") || !a1)
                        && (!works("A2") || a2 == x1)
                        && (!works("X2") || !x1)
                        && (!works("O1") || !(a1 || a2))
                })
            })
        })
    };
    let device = Device {
        components: vec!["A1", "A2", "O1", "X1", "X2"],
        consistent: Box::new(consistent),
        ln_odds: (0.01_f64 / 0.99).ln(),
    };
    let names = device.components.clone();
    let found = minimal(&device, &names, EXPLAINS);
    assert_eq!(found, family(&[&["X1"], &["A2", "X2"], &["O1", "X2"]]));
    assert_eq!(
        conflicts(&found),
        family(&[&["X1", "X2"], &["A2", "O1", "X1"]])
    );
}

#[test]
fn reiters_family_of_conflicts() {
    let found = hitting_sets(&[
        &["2", "4", "5"],
        &["1", "2", "3"],
        &["1", "3", "5"],
        &["2", "4", "6"],
        &["2", "4"],
        &["2", "3", "5"],
        &["1", "6"],
    ]);
    assert_eq!(
        found,
        family(&[
            &["1", "2"],
            &["1", "3", "4"],
            &["1", "4", "5"],
            &["2", "3", "6"],
            &["2", "5", "6"],
            &["3", "4", "6"],
        ])
    );
}
