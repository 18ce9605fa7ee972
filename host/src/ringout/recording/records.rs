//! Rounds, steps and readings as they stand in the file.

use loomproof_core::scan::{Planned, Purpose};
use loomproof_core::units::{MicroVolts, Micros};
use loomproof_core::wire::{
    LeadId, LeadSet, MAX_LEADS, Place, Reading, Sense, SenseMode, Senses, Step,
};
use serde::{Deserialize, Serialize};
use std::collections::BTreeSet;

use crate::hookup::{Clip, Hookup, Mated, Point};
use crate::plan::model::Job;
use crate::ringout::{Round, Taken};

/// One round: its clips and its steps.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct RoundRecord {
    pub(super) hookup: Vec<ClipRecord>,
    /// Ohms of each probe lead's clip that was nulled.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub(super) nulls: Vec<Option<f64>>,
    /// Which connectors were open and which plugged, where the plan says so.
    #[serde(default, skip_serializing_if = "MatedRecord::is_empty")]
    pub(super) mated: MatedRecord,
    /// The clips were looked at and set anew before these readings.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub(super) set_anew: bool,
    pub(super) steps: Vec<StepRecord>,
}

/// Connectors of the vehicle while a round was rung out.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct MatedRecord {
    #[serde(default)]
    open: BTreeSet<String>,
    #[serde(default)]
    plugged: BTreeSet<String>,
}

impl MatedRecord {
    pub(super) fn is_empty(&self) -> bool {
        self.open.is_empty() && self.plugged.is_empty()
    }
}

/// A clip: the lead, counted from 0, and the full name of its point.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ClipRecord {
    lead: u8,
    point: String,
}

impl From<&Clip> for ClipRecord {
    fn from(clip: &Clip) -> Self {
        Self {
            lead: clip.lead.0,
            point: clip.point.full_name(),
        }
    }
}

impl ClipRecord {
    /// The clip of a job.
    ///
    /// # Errors
    /// The name of a point that this job does not have.
    pub fn clip(&self, job: &Job) -> Result<Clip, String> {
        let point = Point::of_full_name(job, &self.point);
        Ok(Clip {
            lead: LeadId(self.lead),
            point: point.ok_or_else(|| self.point.clone())?,
        })
    }
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct StepRecord {
    purpose: PurposeRecord,
    high: Vec<u8>,
    low: Vec<u8>,
    settle_us: u32,
    pulled_us: u32,
    samples: u8,
    readings: Vec<SenseRecord>,
}

#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
enum PurposeRecord {
    Continuity(u8, Option<u8>),
    Isolation(u8),
    Across(u8, u8),
    Walk(u8),
    Pair(u8, u8),
}

#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct SenseRecord {
    lead: u8,
    mode: ModeRecord,
    value: ValueRecord,
}

#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
enum ModeRecord {
    Plain,
    PullDown,
    PullUp,
}

#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
enum ValueRecord {
    Uv(i32),
    NotSettledUv(i32),
    Beyond(Beyond),
}

#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
enum Beyond {
    Above,
    Below,
}

impl From<&Round<'_>> for RoundRecord {
    fn from(round: &Round<'_>) -> Self {
        Self {
            hookup: round.hookup.clips.iter().map(ClipRecord::from).collect(),
            nulls: Vec::new(),
            mated: MatedRecord {
                open: round.hookup.mated.open.clone(),
                plugged: round.hookup.mated.plugged.clone(),
            },
            set_anew: false,
            steps: round.taken.iter().map(StepRecord::from).collect(),
        }
    }
}

/// Where the clips sat.
///
/// # Errors
/// The name of a point that this job does not have.
pub(super) fn hookup(
    job: &Job,
    place: Place,
    (clips, mated): (&[ClipRecord], &MatedRecord),
) -> Result<Hookup, String> {
    let clips = clips.iter().map(|record| record.clip(job));
    let clips = clips.collect::<Result<_, String>>()?;
    let mated = Mated {
        open: mated.open.clone(),
        plugged: mated.plugged.clone(),
    };
    Ok(Hookup {
        place,
        clips,
        mated,
    })
}

/// Steps with their readings.
///
/// # Errors
/// What is wrong with them.
pub(super) fn taken(hookup: &Hookup, steps: &[StepRecord]) -> Result<Vec<Taken>, String> {
    steps.iter().map(|step| step.taken(hookup)).collect()
}

impl From<&Taken> for StepRecord {
    fn from(taken: &Taken) -> Self {
        let step = &taken.planned.step;
        let leads = |set: &LeadSet| set.iter().map(|lead| lead.0).collect();
        let readings = step.senses.iter().zip(&taken.readings);
        Self {
            purpose: taken.planned.purpose.into(),
            high: leads(&step.high),
            low: leads(&step.low),
            settle_us: step.settle.0,
            pulled_us: step.pulled.0,
            samples: step.samples,
            readings: readings
                .map(|(sense, reading)| SenseRecord {
                    lead: sense.lead.0,
                    mode: match sense.mode {
                        SenseMode::Plain => ModeRecord::Plain,
                        SenseMode::PullDown => ModeRecord::PullDown,
                        SenseMode::PullUp => ModeRecord::PullUp,
                    },
                    value: match *reading {
                        Reading::Volts(v) => ValueRecord::Uv(v.0),
                        Reading::NotSettled(v) => ValueRecord::NotSettledUv(v.0),
                        Reading::Above => ValueRecord::Beyond(Beyond::Above),
                        Reading::Below => ValueRecord::Beyond(Beyond::Below),
                    },
                })
                .collect(),
        }
    }
}

impl StepRecord {
    fn taken(&self, hookup: &Hookup) -> Result<Taken, String> {
        let known = |lead: u8| -> Result<LeadId, String> {
            let lead = LeadId(lead);
            match usize::from(lead.0) < MAX_LEADS && hookup.point(lead).is_some() {
                true => Ok(lead),
                false => Err(format!("{lead} is not in its hook-up")),
            }
        };
        let set = |leads: &[u8]| {
            leads
                .iter()
                .map(|l| known(*l))
                .collect::<Result<LeadSet, _>>()
        };
        let mut senses = Senses::new();
        let mut readings = Vec::new();
        for record in &self.readings {
            let mode = match record.mode {
                ModeRecord::Plain => SenseMode::Plain,
                ModeRecord::PullDown => SenseMode::PullDown,
                ModeRecord::PullUp => SenseMode::PullUp,
            };
            let sense = Sense {
                lead: known(record.lead)?,
                mode,
            };
            senses
                .push(sense)
                .map_err(|_| "a step has too many readings".to_owned())?;
            readings.push(match record.value {
                ValueRecord::Uv(uv) => Reading::Volts(MicroVolts(uv)),
                ValueRecord::NotSettledUv(uv) => Reading::NotSettled(MicroVolts(uv)),
                ValueRecord::Beyond(Beyond::Above) => Reading::Above,
                ValueRecord::Beyond(Beyond::Below) => Reading::Below,
            });
        }
        let purpose = Purpose::from(self.purpose);
        let (a, b) = purpose.leads();
        for lead in [Some(a), b].into_iter().flatten() {
            known(lead.0)?;
        }
        if set(&self.high)?.overlaps(&set(&self.low)?) {
            return Err("a step drives one lead both high and low".to_owned());
        }
        let step = Step {
            high: set(&self.high)?,
            low: set(&self.low)?,
            settle: Micros(self.settle_us),
            pulled: Micros(self.pulled_us),
            samples: self.samples,
            senses,
        };
        Ok(Taken {
            planned: Planned { step, purpose },
            readings,
        })
    }
}

impl From<Purpose> for PurposeRecord {
    fn from(purpose: Purpose) -> Self {
        match purpose {
            Purpose::Continuity(a, b) => Self::Continuity(a.0, b.map(|b| b.0)),
            Purpose::Isolation(a) => Self::Isolation(a.0),
            Purpose::Across(a, b) => Self::Across(a.0, b.0),
            Purpose::Walk(a) => Self::Walk(a.0),
            Purpose::Pair(a, b) => Self::Pair(a.0, b.0),
        }
    }
}

impl From<PurposeRecord> for Purpose {
    fn from(purpose: PurposeRecord) -> Self {
        match purpose {
            PurposeRecord::Continuity(a, b) => Self::Continuity(LeadId(a), b.map(LeadId)),
            PurposeRecord::Isolation(a) => Self::Isolation(LeadId(a)),
            PurposeRecord::Across(a, b) => Self::Across(LeadId(a), LeadId(b)),
            PurposeRecord::Walk(a) => Self::Walk(LeadId(a)),
            PurposeRecord::Pair(a, b) => Self::Pair(LeadId(a), LeadId(b)),
        }
    }
}
