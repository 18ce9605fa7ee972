//! The variants that a plan's options make.

use std::collections::{BTreeMap, BTreeSet};

use super::plan_type::Plan;
use super::problem::Problem;

impl Plan {
    /// Every variant of the plan that answering its options can give, at most
    /// `most` of them, resolved; what is wrong with any is reported once.
    ///
    /// # Errors
    /// Everything that is wrong with some variant; each message names the
    /// answers that lead there.
    pub fn check_variants(&self, most: usize) -> Result<usize, Vec<Problem>> {
        let mut tried = BTreeSet::new();
        let mut found: Vec<Problem> = Vec::new();
        let mut places = vec![0_usize; self.options.len()];
        loop {
            let pairs = self.options.iter().zip(&places);
            let answers: BTreeMap<String, String> = pairs
                .filter_map(|(o, &i)| Some((o.name.clone(), o.choices.get(i)?.clone())))
                .collect();
            if tried.len() >= most {
                break;
            }
            if tried.insert(self.known_values(&answers)) {
                for problem in self.resolve(&answers).err().unwrap_or_default() {
                    let same = |p: &Problem| p.at.is_some() && p.at == problem.at;
                    if !found.iter().any(same) {
                        found.push(problem);
                    }
                }
            }
            // Count the places up like the digits of a number.
            let mut digits = places.iter_mut().zip(&self.options);
            let carried = digits.all(|(place, option)| {
                *place += 1;
                let over = *place >= option.choices.len();
                if over {
                    *place = 0;
                }
                over
            });
            if carried {
                break;
            }
        }
        if found.is_empty() {
            Ok(tried.len())
        } else {
            Err(found)
        }
    }
}
