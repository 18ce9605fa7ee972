use std::cell::Cell;

use super::*;

/// So many hypotheses that all bear on each other: a few explain much each, of all others
/// one is as good as many.
struct Crowd {
    size: usize,
    /// Those that explain much.
    true_ones: Vec<usize>,
    work: Cell<u64>,
}

const MUCH: f64 = 100.0;
const LITTLE: f64 = 20.0;

impl Crowd {
    fn new(size: usize, true_ones: &[usize]) -> Self {
        Self {
            size,
            true_ones: true_ones.to_vec(),
            work: Cell::new(0),
        }
    }
}

impl Space for Crowd {
    fn len(&self) -> usize {
        self.size
    }

    fn ln_prior(&self, _one: usize) -> f64 {
        -7.0
    }

    fn compatible(&self, _a: usize, _b: usize) -> bool {
        true
    }

    fn separate(&self, _a: usize, _b: usize) -> bool {
        false
    }

    fn bound(&self, _one: usize) -> f64 {
        1e3
    }

    fn bound_of_two(&self, _a: usize, _b: usize) -> f64 {
        1e3
    }

    fn gain(&self, set: &[usize], floor: f64) -> Result<Option<f64>, String> {
        self.work.set(self.work.get() + 1);
        let much = set
            .iter()
            .filter(|one| self.true_ones.contains(one))
            .count();
        let rest = if much < set.len() { LITTLE } else { 0.0 };
        let gain = MUCH * much as f64 + rest;
        Ok(Some(gain).filter(|gain| *gain >= floor))
    }

    fn work(&self) -> u64 {
        self.work.get()
    }

    fn open_to(&self, set: &[usize]) -> Result<Vec<usize>, String> {
        let known = |one: &usize| set.contains(one);
        if self.true_ones.iter().all(known) {
            return Ok(Vec::new());
        }
        Ok((0..self.size).collect())
    }
}

#[test]
fn two_that_explain_much_are_tried_together_first() {
    let crowd = Crowd::new(500, &[0, 499]);
    let settings = Settings {
        // Not a twentieth of the pairs of either.
        effort: 20,
        beginnings: 0,
        ..Settings::default()
    };
    let outcome = search(&crowd, &settings).unwrap();
    assert_eq!(outcome.proof.size, 1);
    assert_eq!(outcome.found[0].set, [0, 499]);
}

#[test]
fn larger_sets_end_with_their_effort_and_are_found_all_the_same() {
    let crowd = Crowd::new(500, &[0, 250, 499]);
    let settings = Settings {
        effort: 20,
        larger_effort: 50,
        ..Settings::default()
    };
    let outcome = search(&crowd, &settings).unwrap();
    assert_eq!(outcome.found[0].set, [0, 250, 499]);
    // Each single one, the pairs and larger sets as far as they go, and what makes the
    // found ones complete; all additions to a set would be 500 each.
    assert!(crowd.work() < 500 + 3 * 50 + 400, "{}", crowd.work());
}
