//! The ring-out: scan a harness through a probe, keep what was read.

mod because;
mod charge;
pub mod findings;
pub mod hand_checks;
pub mod learned;
pub mod learning;
mod next_step;
pub mod other_answers;
pub mod readings;
pub mod recording;
mod refusal;
pub mod report;
pub mod run;
pub mod text;
pub mod verdict;
mod whole;

use loomproof_core::expect::{Quantity, quantities};
use loomproof_core::judge::Value;
use loomproof_core::scan::{Planned, first_pass};
use loomproof_core::wire::{LeadId, Reading, Refusal};

use crate::circuit::Model;
use crate::hookup::{Clip, Hookup, Point};
use crate::probe::nulls::Clips;

/// A step that was carried out, with its readings in the order of its senses.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Taken {
    /// The step and what it was for.
    pub planned: Planned,
    /// One reading per sense.
    pub readings: Vec<Reading>,
}

impl Taken {
    /// What the readings are judged by, with their values.
    pub fn values(&self) -> impl Iterator<Item = (Quantity, Value)> + '_ {
        quantities(&self.planned.step)
            .enumerate()
            .map(|(at, quantity)| {
                let reading = |at: usize| self.readings.get(at).copied();
                let minus = quantity.minus.and_then(|lead| {
                    let senses = &self.planned.step.senses;
                    reading(senses.iter().position(|sense| sense.lead == lead)?)
                });
                let value = match reading(at) {
                    Some(plus) => Value::of(plus, minus),
                    None => Value::Unsettled,
                };
                (quantity, value)
            })
    }
}

/// One round of a ring-out: where the clips sat, the expected circuit with
/// them, and what was read.
#[derive(Debug, Clone, Copy)]
pub struct Round<'r> {
    /// The clips.
    pub hookup: &'r Hookup,
    /// The expected circuit.
    pub model: &'r Model,
    /// Steps with their readings.
    pub taken: &'r [Taken],
}

/// A round that was rung out.
#[derive(Debug, Clone)]
pub struct Rung {
    /// The clips.
    pub hookup: Hookup,
    /// The expected circuit with them.
    pub model: Model,
    /// Steps with their readings.
    pub taken: Vec<Taken>,
    /// What the clips were nulled to; the circuit has it already.
    pub clips: Clips,
    /// The clips were looked at and set anew, and the round rung out again, or the harness
    /// is in a jig that was proved: what is still off is not theirs.
    pub set_anew: bool,
}

impl Rung {
    /// Whether another round has every point of this one that the job needs, with the
    /// same connectors open and plugged: then its readings stand in the place of these.
    #[must_use]
    pub fn is_replaced_by(&self, other: &Self, needed: &[Point]) -> bool {
        let there = |clip: &Clip| {
            let mut clips = other.hookup.clips.iter();
            !needed.contains(&clip.point) || clips.any(|it| it.point == clip.point)
        };
        self.hookup.place == other.hookup.place
            && self.hookup.mated == other.hookup.mated
            && self.hookup.clips.iter().all(there)
    }

    /// To be judged.
    #[must_use]
    pub fn round(&self) -> Round<'_> {
        Round {
            hookup: &self.hookup,
            model: &self.model,
            taken: &self.taken,
        }
    }

    /// Whether it holds every step of its first pass, in order, and no more
    /// behind them than a scan takes to find out what is wrong.
    #[must_use]
    pub fn is_whole(&self) -> bool {
        let layout = self.model.layout();
        let mut wanted = 0;
        for (at, planned) in first_pass(&layout).enumerate() {
            if self.taken.get(at).is_none_or(|taken| {
                !is_as_planned(&taken.planned, &planned)
                    || taken.readings.len() != planned.step.senses.len()
            }) {
                return false;
            }
            wanted += 1;
        }
        wanted > 0 && self.taken.len() - wanted <= run::MOST_FURTHER_STEPS
    }
}

/// Whether a step is this one of the first pass. How many conversions were averaged is its
/// own: a scan that was kept is as good as it was.
fn is_as_planned(taken: &Planned, planned: &Planned) -> bool {
    let mut step = planned.step.clone();
    step.samples = taken.step.samples.max(1);
    taken.purpose == planned.purpose && taken.step == step
}

/// How a scan ended.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Outcome {
    /// Every step was carried out.
    Complete(Vec<Taken>),
    /// The probe would not drive, or let go.
    Refused(Stop),
}

/// Why a scan was not finished, and what is known all the same.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Stop {
    /// What the probe said.
    pub refusal: Refusal,
    /// Every lead that was live when it was looked at right afterwards, in
    /// millivolts; only after a [`Refusal::Live`].
    pub live: Vec<(LeadId, i32)>,
    /// What had been read until then.
    pub taken: Vec<Taken>,
}

/// `Round 2: `, where there are several.
fn in_round(rounds: usize, round: usize) -> String {
    if rounds > 1 {
        format!("Round {}: ", round + 1)
    } else {
        String::new()
    }
}
