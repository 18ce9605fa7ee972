//! Combinations of a plan's options, and how a finding tells its variants.

use std::collections::{BTreeMap, BTreeSet};

use super::covering::{all, pairwise};
use crate::plan::Plan;
use crate::plan::when::Condition;

/// Past this many combinations of a part's options a covering set is taken.
pub const MOST_COMBINATIONS: usize = 4096;

/// The combinations of some options that are to be looked at.
#[derive(Debug, Clone, Default)]
pub struct Combinations {
    /// Answers to every option of the plan, one set a combination.
    pub answers: Vec<BTreeMap<String, String>>,
    /// The same without what does not matter or is not asked then.
    pub told: Vec<BTreeMap<String, String>>,
    /// Whether they are all there are.
    pub complete: bool,
}

/// Options that these conditions depend on, with the options that decide
/// whether those are asked.
pub(super) fn concerned<'c>(
    plan: &Plan,
    conditions: impl Iterator<Item = &'c Condition>,
) -> Vec<usize> {
    let mut found = Vec::new();
    conditions.for_each(|condition| condition.expression.options(&mut found));
    let mut at = 0;
    while at < found.len() {
        if let Some(when) = plan
            .options
            .get(found[at])
            .and_then(|option| option.when.as_ref())
        {
            when.expression.options(&mut found);
        }
        at += 1;
        let unique: BTreeSet<usize> = found[at..]
            .iter()
            .copied()
            .filter(|it| !found[..at].contains(it))
            .collect();
        found.truncate(at);
        found.extend(unique);
    }
    found.sort_unstable();
    found.dedup();
    found
}

/// The combinations of some of a plan's options.
pub(super) fn combinations(
    plan: &Plan,
    options: &[usize],
    fixed: &BTreeMap<String, String>,
) -> Combinations {
    let free: Vec<usize> = options
        .iter()
        .copied()
        .filter(|&at| !fixed.contains_key(&plan.options[at].name))
        .collect();
    let levels: Vec<usize> = free
        .iter()
        .map(|&at| plan.options[at].choices.len())
        .collect();
    let rows = all(&levels, MOST_COMBINATIONS);
    let mut found = Combinations {
        complete: rows.is_some(),
        ..Combinations::default()
    };
    let usual: BTreeMap<String, String> = plan
        .options
        .iter()
        .filter_map(|option| {
            let value = option.default.as_ref().or(option.choices.first())?;
            Some((option.name.clone(), value.clone()))
        })
        .chain(fixed.iter().map(|(k, v)| (k.clone(), v.clone())))
        .collect();
    let mut seen = BTreeSet::new();
    for row in rows.unwrap_or_else(|| pairwise(&levels)) {
        let mut answers = usual.clone();
        for (&option, &choice) in free.iter().zip(&row) {
            let option = &plan.options[option];
            answers.insert(option.name.clone(), option.choices[choice].clone());
        }
        let values = plan.known_values(&answers);
        let told: BTreeMap<String, String> = options
            .iter()
            .filter_map(|&at| Some((plan.options[at].name.clone(), values[at].clone()?)))
            .collect();
        if seen.insert(told.clone()) {
            found.answers.push(answers);
            found.told.push(told);
        }
    }
    found
}

/// How many variants a plan has with these answers fixed; exact up to 65,536
/// combinations of answers, past that the number of combinations.
#[must_use]
pub fn count(plan: &Plan, fixed: &BTreeMap<String, String>) -> u128 {
    let free = plan
        .options
        .iter()
        .filter(|option| !fixed.contains_key(&option.name));
    let levels: Vec<usize> = free.clone().map(|option| option.choices.len()).collect();
    let product = levels
        .iter()
        .fold(1_u128, |all, &level| all.saturating_mul(level as u128));
    if plan.options.iter().all(|option| option.when.is_none()) {
        return product;
    }
    let Some(rows) = all(&levels, 1 << 16) else {
        return product;
    };
    let names: Vec<&String> = free.map(|option| &option.name).collect();
    let different: BTreeSet<Vec<Option<String>>> = rows
        .iter()
        .map(|row| {
            let mut answers = fixed.clone();
            for (name, &choice) in names.iter().zip(row) {
                let option = plan.options.iter().find(|option| option.name == **name);
                let value = option.map(|option| option.choices[choice].clone());
                answers.insert((*name).clone(), value.unwrap_or_default());
            }
            plan.known_values(&answers)
        })
        .collect();
    different.len() as u128
}

/// The variants in which all of these conditions hold, as a finding tells
/// them; empty where they never do.
pub(crate) fn together(
    plan: &Plan,
    fixed: &BTreeMap<String, String>,
    conditions: &[&Option<Condition>],
) -> Vec<BTreeMap<String, String>> {
    let conditions: Vec<&Condition> = conditions.iter().filter_map(|it| it.as_ref()).collect();
    let options = concerned(plan, conditions.iter().copied());
    let universe = combinations(plan, &options, fixed);
    let holds = universe
        .answers
        .iter()
        .zip(&universe.told)
        .filter(|(answers, _)| {
            let values = plan.known_values(answers);
            conditions
                .iter()
                .all(|condition| condition.expression.holds(&values))
        });
    let told = holds.map(|(_, told)| told.clone()).collect();
    simplest(told, &universe.told)
}

/// Leaves out of some variants the options that do not matter: those that may
/// take any value without leaving the set.
#[must_use]
pub fn simplest(
    mut some: Vec<BTreeMap<String, String>>,
    universe: &[BTreeMap<String, String>],
) -> Vec<BTreeMap<String, String>> {
    let mut universe = universe.to_vec();
    let names: BTreeSet<String> = universe.iter().flat_map(|it| it.keys().cloned()).collect();
    let without = |all: &[BTreeMap<String, String>], name: &str| {
        let rest = all.iter().map(|it| {
            let mut it = it.clone();
            it.remove(name);
            it
        });
        rest.collect::<Vec<_>>()
    };
    for name in names {
        let (short, whole) = (without(&some, &name), without(&universe, &name));
        let in_some = |it: &BTreeMap<String, String>| short.iter().filter(|s| *s == it).count();
        let in_all = |it: &BTreeMap<String, String>| whole.iter().filter(|s| *s == it).count();
        if short.iter().all(|it| in_some(it) == in_all(it)) {
            some = short
                .into_iter()
                .collect::<BTreeSet<_>>()
                .into_iter()
                .collect();
            universe = whole
                .into_iter()
                .collect::<BTreeSet<_>>()
                .into_iter()
                .collect();
        }
    }
    some
}

/// The combinations of the options that some conditions depend on.
pub(crate) fn concerning(
    plan: &Plan,
    conditions: &[&Condition],
    fixed: &BTreeMap<String, String>,
) -> Combinations {
    let options = concerned(plan, conditions.iter().copied());
    combinations(plan, &options, fixed)
}
