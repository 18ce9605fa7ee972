//! From a plan to the image that a probe carries.

use std::collections::BTreeMap;

use loomproof_core::expect::quantities;
use loomproof_core::image::{
    COLUMNS, LONG, MAX_IMAGE, MAX_OPTIONS, MAX_READINGS, MAX_VARIANTS, NOT_ASKED,
};
use loomproof_core::judge::Limits;
use loomproof_core::null::clips_check;
use loomproof_core::scan::{Planned, first_pass};
use loomproof_core::wire::{ClipOhms, LeadId, Place};

use super::encode::{About, Tables, TooMany};
use super::words::{fitted, plain, spot};
use crate::circuit::{BuildError, Model, build};
use crate::diagnosis::predict::{Healthy, Predictor};
use crate::hookup::{Hookup, HookupError, propose};
use crate::plan::model::Job;
use crate::plan::{Plan, Problem};

use crate::probe::nulls::{Clips, apply};

/// Why a plan cannot be carried by a probe.
#[derive(Debug, thiserror::Error)]
pub enum CompileError {
    /// Something is wrong with a variant.
    #[error("a variant of the plan is at fault")]
    Plan(Vec<Problem>),
    /// Not every variant fits.
    #[error(
        "this plan has more than {MAX_VARIANTS} variants, and a probe carries no more; fix what you know of \
         the vehicle with --answer option=value"
    )]
    TooManyVariants,
    /// A variant cannot be hooked up at once.
    #[error(
        "{0} (in the variant {1}); a probe by itself rings out one hook-up, not several rounds"
    )]
    Hookup(HookupError, String),
    /// The expected circuit could not be made.
    #[error("{0}")]
    Build(#[from] BuildError),
    /// A limit could not be computed.
    #[error("the expected circuit cannot be computed: {0}")]
    Model(String),
    /// More readings than the probe can keep of a run.
    #[error(
        "the variant {variant} takes {readings} readings, and a probe keeps at most {MAX_READINGS} of a run; \
         split the plan into two jobs"
    )]
    TooManyReadings {
        /// The answers.
        variant: String,
        /// How many.
        readings: usize,
    },
    /// More of something than an image can number.
    #[error("this plan has too many {0} for a probe; fix some options with --answer option=value")]
    TooMany(&'static str),
    /// The image is too long.
    #[error(
        "the compiled plan is {bytes} bytes, and the probe has room for {room}; fix some options with \
         --answer option=value, or split the plan"
    )]
    TooLong {
        /// Bytes of the image.
        bytes: usize,
        /// Room in the probe.
        room: u32,
    },
}

impl From<TooMany> for CompileError {
    fn from(TooMany(what): TooMany) -> Self {
        Self::TooMany(what)
    }
}

/// The probe that is to carry a plan.
#[derive(Debug, Clone, Copy)]
pub struct Carrying<'c> {
    /// How many leads it has.
    pub leads: u8,
    /// What its clips were nulled to.
    pub clips: &'c Clips,
}

/// Compiles a plan, with some of its answers fixed, for a probe.
///
/// # Errors
/// [`CompileError`].
pub fn compile(
    plan: &Plan,
    fixed: &BTreeMap<String, String>,
    place: Place,
    probe: Carrying<'_>,
) -> Result<Vec<u8>, CompileError> {
    let variants = plan.variants(fixed, MAX_VARIANTS + 1);
    if variants.len() > MAX_VARIANTS {
        return Err(CompileError::TooManyVariants);
    }
    if plan.options().len() > usize::from(MAX_OPTIONS) {
        return Err(CompileError::TooMany("options"));
    }
    let mut tables = Tables::default();
    for option in plan.options() {
        let choices: Vec<String> = option
            .choices
            .iter()
            .map(|choice| fitted(choice, COLUMNS))
            .collect();
        tables.option(&two_lines(&option.ask), &choices)?;
    }
    let mut leads = 0;
    for answers in variants {
        let job = plan.resolve(&answers).map_err(CompileError::Plan)?;
        let hookup = propose(&job, place, usize::from(probe.leads))
            .map_err(|error| CompileError::Hookup(error, told(&job)))?;
        let mut model = build(&job, &hookup)?;
        apply(&mut model, probe.clips);
        let steps = steps(&model)?;
        let readings = steps.iter().map(|(_, limits)| limits.len()).sum();
        if readings > usize::from(MAX_READINGS) {
            let variant = told(&job);
            return Err(CompileError::TooManyReadings { variant, readings });
        }
        leads = leads.max(needed(&hookup));
        tables.variant(&numbered(plan, &job), &spots(&job, &hookup), &steps)?;
    }
    let clips = (0..leads).map(|lead| {
        let clip = probe.clips.get(usize::from(lead)).copied().flatten();
        clip.map_or(ClipOhms::NONE, ClipOhms::of)
    });
    let image = tables.image(&About {
        place,
        nulls: clips_check(clips),
        digest: digest(plan.digest()),
        title: &two_lines(plan.title()),
    });
    if image.len() > MAX_IMAGE as usize {
        return Err(CompileError::TooLong {
            bytes: image.len(),
            room: MAX_IMAGE,
        });
    }
    Ok(image)
}

/// The steps of the first pass with the limits of everything that they read.
fn steps(model: &Model) -> Result<Vec<(Planned, Vec<Limits>)>, CompileError> {
    let predictor = Predictor::new(model);
    let mut healthy = Healthy::of(&predictor);
    let layout = model.layout();
    first_pass(&layout)
        .map(|planned| {
            let mut limits = Vec::new();
            for quantity in quantities(&planned.step) {
                let band = healthy.band(&planned.step, quantity);
                let (band, _) = band.map_err(CompileError::Model)?;
                limits.push(Limits::of(&band).ok_or_else(|| {
                    let lead = quantity.plus.lead;
                    CompileError::Model(format!("{lead} has no limits ({band:?})"))
                })?);
            }
            Ok((planned, limits))
        })
        .collect()
}

fn spots(job: &Job, hookup: &Hookup) -> Vec<(LeadId, [String; 3])> {
    let clips = hookup.clips.iter();
    clips
        .map(|clip| (clip.lead, spot(job, &clip.point)))
        .collect()
}

/// How many probe leads a hook-up takes.
fn needed(hookup: &Hookup) -> u8 {
    let leads = hookup.clips.iter().map(|clip| clip.lead.0 + 1);
    leads.max().unwrap_or(0)
}

/// The numbers of a variant's answers.
fn numbered(plan: &Plan, job: &Job) -> Vec<u8> {
    let number = |option: &crate::plan::OptionQuestion| {
        let answer = job.answers.get(&option.name)?;
        let at = option.choices.iter().position(|choice| choice == answer)?;
        u8::try_from(at).ok()
    };
    let options = plan.options().iter();
    options
        .map(|option| number(option).unwrap_or(NOT_ASKED))
        .collect()
}

/// A variant in words.
fn told(job: &Job) -> String {
    let answers: Vec<String> = job
        .answers
        .iter()
        .map(|(option, value)| format!("{option}={value}"))
        .collect();
    match answers.is_empty() {
        true => "without options".to_owned(),
        false => answers.join(", "),
    }
}

/// A text in two lines, broken between words where that is possible.
fn two_lines(text: &str) -> String {
    let text = plain(text);
    let mut first = String::new();
    let mut rest = String::new();
    for word in text.split_whitespace() {
        let gap = usize::from(!first.is_empty());
        if rest.is_empty() && first.len() + gap + word.len() <= COLUMNS {
            if gap == 1 {
                first.push(' ');
            }
            first.push_str(word);
        } else {
            if !rest.is_empty() {
                rest.push(' ');
            }
            rest.push_str(word);
        }
    }
    if first.is_empty() {
        return fitted(&rest, LONG);
    }
    if rest.is_empty() {
        return first;
    }
    format!("{first:<COLUMNS$}{}", fitted(&rest, COLUMNS))
}

/// The bytes of a digest in hexadecimal.
fn digest(text: &str) -> [u8; 32] {
    let mut bytes = [0; 32];
    for (at, byte) in bytes.iter_mut().enumerate() {
        let pair = text.get(2 * at..2 * at + 2);
        *byte = pair
            .and_then(|pair| u8::from_str_radix(pair, 16).ok())
            .unwrap_or(0);
    }
    bytes
}

#[cfg(test)]
mod tests {
    use super::two_lines;

    #[test]
    fn questions_take_two_lines() {
        assert_eq!(two_lines("Which rear door?"), "Which rear door?");
        assert_eq!(
            two_lines("Is there a second battery on board?"),
            "Is there a second   battery on board?"
        );
        assert!(two_lines(&"very long words ".repeat(20)).len() <= 40);
        assert_eq!(two_lines(&"x".repeat(50)).len(), 40);
    }
}
