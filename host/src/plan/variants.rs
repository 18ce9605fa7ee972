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
        let variants = self.variants(&BTreeMap::new(), most);
        let mut found: Vec<Problem> = Vec::new();
        for answers in &variants {
            for problem in self.resolve(answers).err().unwrap_or_default() {
                let same = |p: &Problem| p.at.is_some() && p.at == problem.at;
                if !found.iter().any(same) {
                    found.push(problem);
                }
            }
        }
        if found.is_empty() {
            Ok(variants.len())
        } else {
            Err(found)
        }
    }

    /// Answers that lead to every variant there is with some answers fixed, at
    /// most `most` of them.
    #[must_use]
    pub fn variants(
        &self,
        fixed: &BTreeMap<String, String>,
        most: usize,
    ) -> Vec<BTreeMap<String, String>> {
        let choices = |at: usize| -> &[String] {
            let option = self.options.get(at);
            let given = option.and_then(|option| fixed.get(&option.name));
            given.map_or_else(
                || option.map_or(&[][..], |option| &option.choices),
                std::slice::from_ref,
            )
        };
        let mut tried = BTreeSet::new();
        let mut variants = Vec::new();
        let mut places = vec![0_usize; self.options.len()];
        loop {
            let pairs = self.options.iter().zip(&places).enumerate();
            let chosen = pairs
                .filter_map(|(at, (o, &i))| Some((o.name.clone(), choices(at).get(i)?.clone())));
            let answers: BTreeMap<String, String> =
                fixed.clone().into_iter().chain(chosen).collect();
            if variants.len() >= most {
                break;
            }
            if tried.insert(self.known_values(&answers)) {
                variants.push(answers);
            }
            // Count the places up like the digits of a number.
            let mut digits = places.iter_mut().enumerate();
            let carried = digits.all(|(at, place)| {
                *place += 1;
                let over = *place >= choices(at).len();
                if over {
                    *place = 0;
                }
                over
            });
            if carried {
                break;
            }
        }
        variants
    }
}
