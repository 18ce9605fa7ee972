//! The way through the states of the switches that shows every function on,
//! and off again.

use crate::plan::model::Job;
use crate::review::elements::Compiled;

/// One state of the switches, and what it shows.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Step {
    /// State of every switch of the job.
    pub switches: Vec<u8>,
    /// Switches that are moved to come here, and to which state.
    pub moves: Vec<(usize, u8)>,
    /// Functions that this step is made for.
    pub shows: Vec<usize>,
    /// Of each function, whether it is to be on; `None` where the plan does not say.
    pub on: Vec<Option<bool>>,
}

/// More combinations of one function's switches than this are not looked through.
const MOST_COMBINATIONS: usize = 4096;

/// Ways to switch one function on that are shown, at most.
const MOST_WAYS: usize = 6;

/// For one way, states that must switch it off again which are shown, at most.
const MOST_OFF: usize = 3;

/// The steps of a job: at rest first, then function by function in the plan's order.
#[must_use]
pub fn steps(job: &Job) -> Vec<Step> {
    let compiled: Vec<Option<Compiled>> = job
        .functions
        .iter()
        .map(|function| {
            let states = job.electrics.on_when.get(&function.name)?;
            Some(Compiled::new(states, job))
        })
        .collect();
    let rest = vec![0; job.electrics.switches.len()];
    let mut found: Vec<(Vec<u8>, Vec<usize>)> = vec![(rest.clone(), Vec::new())];
    for (function, wish) in compiled.iter().enumerate() {
        let Some(wish) = wish else { continue };
        for setting in ways(job, wish, &rest) {
            match found.iter_mut().find(|(known, _)| *known == setting) {
                Some((_, shows)) => shows.push(function),
                None => found.push((setting, vec![function])),
            }
        }
    }
    let mut before = rest;
    found
        .into_iter()
        .map(|(switches, shows)| {
            let moves = switches.iter().zip(&before).enumerate();
            let moves = moves.filter(|(_, (now, was))| now != was);
            let moves = moves.map(|(at, (now, _))| (at, *now)).collect();
            before.clone_from(&switches);
            let on = compiled.iter().map(|wish| {
                let wish = wish.as_ref()?;
                Some(wish.holds(&|switch| switches.get(switch).copied().unwrap_or(0)))
            });
            Step {
                moves,
                shows,
                on: on.collect(),
                switches: switches.clone(),
            }
        })
        .collect()
}

/// The settings nearest to rest that switch a function on, each followed by those,
/// one move away from it, that must switch it off.
fn ways(job: &Job, wish: &Compiled, rest: &[u8]) -> Vec<Vec<u8>> {
    let mut own = Vec::new();
    wish.switches(&mut own);
    own.sort_unstable();
    own.dedup();
    let levels: Vec<usize> = own
        .iter()
        .map(|at| {
            job.electrics
                .switches
                .get(*at)
                .map_or(1, |it| it.states.len())
        })
        .collect();
    let count = levels.iter().product::<usize>().min(MOST_COMBINATIONS);
    let holds = |setting: &[u8]| wish.holds(&|at| setting.get(at).copied().unwrap_or(0));
    let mut settings: Vec<Vec<u8>> = (0..count)
        .map(|mut number| {
            let mut setting = rest.to_vec();
            for (at, level) in own.iter().zip(&levels) {
                if let Some(state) = setting.get_mut(*at) {
                    *state = u8::try_from(number % level).unwrap_or(0);
                }
                number /= level;
            }
            setting
        })
        .collect();
    let away = |setting: &[u8]| setting.iter().filter(|state| **state != 0).count();
    settings.sort_by_key(|setting| away(setting));
    let mut chosen: Vec<Vec<u8>> = Vec::new();
    for setting in settings.iter().filter(|setting| holds(setting)) {
        // What another way needs, and more, shows nothing new.
        let more = |known: &Vec<u8>| {
            known
                .iter()
                .zip(setting)
                .all(|(known, own)| known == own || *known == 0)
        };
        if !chosen.iter().any(more) && chosen.len() < MOST_WAYS {
            chosen.push(setting.clone());
        }
    }
    let mut all: Vec<Vec<u8>> = Vec::new();
    for (number, on) in chosen.iter().enumerate() {
        all.push(on.clone());
        let mut off = 0;
        for (at, level) in own.iter().zip(&levels) {
            for state in 0..u8::try_from(*level).unwrap_or(u8::MAX) {
                let mut other = on.clone();
                if let Some(own) = other.get_mut(*at) {
                    // A switch that was moved goes back in the first way only.
                    if *own == state || (state == 0 && number > 0) {
                        continue;
                    }
                    *own = state;
                }
                if off < MOST_OFF && !holds(&other) && away(&other) > 0 && !all.contains(&other) {
                    all.push(other);
                    off += 1;
                }
            }
        }
    }
    all
}
