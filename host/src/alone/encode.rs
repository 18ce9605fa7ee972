//! The bytes of an image (`docs/plan-image.md`).

use std::collections::HashMap;

use loomproof_core::check::CRC;
use loomproof_core::image::{COLUMNS, FORMAT, HEAD, LONG, MAGIC, NOT_ASKED};
use loomproof_core::judge::Limits;
use loomproof_core::scan::{Planned, Purpose};
use loomproof_core::wire::{LeadId, LeadSet, Place, SenseMode};

/// A lead set of up to so many leads is written lead by lead.
const FEW: usize = 15;

/// The tables of an image, filled one after the other.
#[derive(Debug, Default)]
pub(super) struct Tables {
    options: Vec<u8>,
    choices: Vec<u8>,
    variants: Vec<u8>,
    answers: Vec<u8>,
    points: Vec<u8>,
    clips: Vec<u8>,
    picks: Vec<u8>,
    steps: Vec<Vec<u8>>,
    counts: Counts,
    known_points: HashMap<Vec<u8>, u16>,
    known_steps: HashMap<Vec<u8>, u16>,
}

#[derive(Debug, Default, Clone, Copy)]
struct Counts {
    options: u16,
    choices: u16,
    variants: u16,
    points: u16,
    clips: u32,
    picks: u32,
    leads: u8,
}

/// What the head says beside the tables.
#[derive(Debug, Clone, Copy)]
pub(super) struct About<'a> {
    pub(super) place: Place,
    pub(super) nulls: u32,
    pub(super) digest: [u8; 32],
    pub(super) title: &'a str,
}

/// There are more of these than an image can number.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct TooMany(pub(super) &'static str);

fn filled<const N: usize>(text: &str) -> [u8; N] {
    let mut bytes = [0; N];
    for (place, byte) in bytes.iter_mut().zip(text.bytes()) {
        *place = byte;
    }
    bytes
}

fn one_more(count: &mut u16, what: &'static str) -> Result<u16, TooMany> {
    let number = *count;
    *count = number.checked_add(1).ok_or(TooMany(what))?;
    Ok(number)
}

impl Tables {
    /// An option: two lines of question, a line for each choice.
    pub(super) fn option(&mut self, ask: &str, choices: &[String]) -> Result<(), TooMany> {
        let too_many = TooMany("choices of an option");
        one_more(&mut self.counts.options, "options")?;
        let count = u8::try_from(choices.len()).map_err(|_| too_many)?;
        if count == NOT_ASKED {
            return Err(too_many);
        }
        self.options.extend(filled::<LONG>(ask));
        self.options.extend(self.counts.choices.to_le_bytes());
        self.options.extend(u16::from(count).to_le_bytes());
        for choice in choices {
            one_more(&mut self.counts.choices, "choices")?;
            self.choices.extend(filled::<COLUMNS>(choice));
        }
        Ok(())
    }

    /// A variant: its answers, clips and steps with the limits of each reading.
    pub(super) fn variant(
        &mut self,
        answers: &[u8],
        clips: &[(LeadId, [String; 3])],
        steps: &[(Planned, Vec<Limits>)],
    ) -> Result<(), TooMany> {
        one_more(&mut self.counts.variants, "variants")?;
        self.answers.extend(answers);
        let (first_clip, first_pick) = (self.counts.clips, self.counts.picks);
        for (lead, spot) in clips {
            let point = self.point(spot)?;
            self.clips.extend([lead.0, 0]);
            self.clips.extend(point.to_le_bytes());
            self.counts.clips += 1;
            self.counts.leads = self.counts.leads.max(lead.0 + 1);
        }
        for (planned, limits) in steps {
            let step = self.step(planned, limits)?;
            self.picks.extend(step.to_le_bytes());
            self.counts.picks += 1;
        }
        let count = |n: usize, what| u16::try_from(n).map_err(|_| TooMany(what));
        self.variants.extend(first_clip.to_le_bytes());
        self.variants
            .extend(count(clips.len(), "probe leads")?.to_le_bytes());
        self.variants.extend(first_pick.to_le_bytes());
        self.variants
            .extend(count(steps.len(), "steps")?.to_le_bytes());
        Ok(())
    }

    /// The number of a point; the same one for the same words.
    fn point(&mut self, spot: &[String; 3]) -> Result<u16, TooMany> {
        let bytes: Vec<u8> = spot
            .iter()
            .flat_map(|line| filled::<COLUMNS>(line))
            .collect();
        if let Some(number) = self.known_points.get(&bytes) {
            return Ok(*number);
        }
        let number = one_more(&mut self.counts.points, "test points")?;
        self.points.extend(&bytes);
        self.known_points.insert(bytes, number);
        Ok(number)
    }

    /// The number of a step; the same one for the same readings with the same limits.
    fn step(&mut self, planned: &Planned, limits: &[Limits]) -> Result<u16, TooMany> {
        let bytes = step(planned, limits);
        if let Some(number) = self.known_steps.get(&bytes) {
            return Ok(*number);
        }
        let number = u16::try_from(self.steps.len()).ok();
        let number = number.filter(|number| *number < u16::MAX);
        let number = number.ok_or(TooMany("steps"))?;
        self.steps.push(bytes.clone());
        self.known_steps.insert(bytes, number);
        Ok(number)
    }

    /// The image.
    pub(super) fn image(&self, about: &About<'_>) -> Vec<u8> {
        let Counts {
            options,
            choices,
            variants,
            points,
            clips,
            picks,
            leads,
        } = self.counts;
        let tables = [
            &self.options,
            &self.choices,
            &self.variants,
            &self.answers,
            &self.points,
            &self.clips,
            &self.picks,
        ];
        let before = HEAD as usize + tables.iter().map(|table| table.len()).sum::<usize>();
        let first = before + 4 * self.steps.len();
        let length = first + self.steps.iter().map(Vec::len).sum::<usize>() + 4;
        // An image that is too long for these numbers is too long for any probe.
        let word = |n: usize| u32::try_from(n).unwrap_or(u32::MAX).to_le_bytes();
        let mut out = Vec::with_capacity(length);
        out.extend(MAGIC);
        out.extend(FORMAT.to_le_bytes());
        out.push(match about.place {
            Place::Bench => 0,
            Place::Vehicle => 1,
        });
        out.push(leads);
        out.extend(word(length));
        out.extend(about.nulls.to_le_bytes());
        let steps = self.steps.len() as u16;
        for count in [options, choices, variants, points, steps, 0] {
            out.extend(count.to_le_bytes());
        }
        out.extend(clips.to_le_bytes());
        out.extend(picks.to_le_bytes());
        out.extend(about.digest);
        out.extend(filled::<LONG>(about.title));
        out.resize(HEAD as usize, 0);
        for table in tables {
            out.extend(table);
        }
        let mut at = first;
        for step in &self.steps {
            out.extend(word(at));
            at += step.len();
        }
        for step in &self.steps {
            out.extend(step);
        }
        out.extend(CRC.checksum(&out).to_le_bytes());
        out
    }
}

fn step(planned: &Planned, limits: &[Limits]) -> Vec<u8> {
    const NONE: u8 = u8::MAX;
    let Planned { step, purpose } = planned;
    let head = match *purpose {
        Purpose::Continuity(a, b) => [0, a.0, b.map_or(NONE, |b| b.0)],
        Purpose::Isolation(a) => [1, a.0, NONE],
        Purpose::Across(a, b) => [2, a.0, b.0],
        // No first pass has one.
        Purpose::Walk(a) => [NONE, a.0, NONE],
        Purpose::Pair(a, b) => [NONE, a.0, b.0],
    };
    let mut out = head.to_vec();
    out.push(step.samples);
    out.extend(step.settle.0.to_le_bytes());
    out.extend(step.pulled.0.to_le_bytes());
    for set in [&step.high, &step.low] {
        leads(set, &mut out);
    }
    out.push(step.senses.len() as u8);
    for (sense, limits) in step.senses.iter().zip(limits) {
        let mode = match sense.mode {
            SenseMode::Plain => 0,
            SenseMode::PullDown => 1,
            SenseMode::PullUp => 2,
        };
        out.extend([sense.lead.0, mode]);
        out.extend(limits.least.0.to_le_bytes());
        out.extend(limits.most.0.to_le_bytes());
    }
    out
}

fn leads(set: &LeadSet, out: &mut Vec<u8>) {
    if set.len() > FEW {
        out.push(u8::MAX);
        out.extend(set.0);
    } else {
        out.push(set.len() as u8);
        out.extend(set.iter().map(|lead| lead.0));
    }
}
