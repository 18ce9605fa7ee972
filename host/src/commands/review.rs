//! `review`: checks the plan itself, before anyone crimps.

use std::collections::BTreeMap;
use std::io::IsTerminal as _;
use std::path::PathBuf;

use super::exit::Status;
use super::{Failure, Format, note, print, print_json};
use crate::plan::{Plan, only_unsafe};
use crate::review::report::Outcome;
use crate::review::{MOST_STATES, Settings, review, text};

/// Arguments of `review`.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Example: loomproof review fixtures/plans/bakery-van.toml\n\n\
    Every variant that the plan's options make is looked at, unless answers are given."
)]
pub struct Args {
    /// The plan file.
    plan: PathBuf,
    /// Looks only at variants with this answer; may be repeated.
    #[arg(long = "answer", value_name = "OPTION=VALUE")]
    answers: Vec<String>,
    /// Looks only at the variant in which every other option has its default.
    #[arg(long)]
    defaults: bool,
    /// Combinations of switches that are all looked at; past that a covering set.
    #[arg(long, value_name = "N", default_value_t = MOST_STATES)]
    states: usize,
    /// What to print.
    #[arg(long, default_value = "text")]
    format: Format,
}

/// What goes with every refusal.
const CAUTION: &str = "\
Keep off restraint circuits (airbag, pretensioner) and high-voltage wiring: no probe, no meter, no \
tap. The vehicle maker's service information, local codes and licensed practice come first.";

/// Reviews the plan and prints what is found.
///
/// # Errors
/// [`Failure`] for a plan that is wrong in some variant, or refused.
pub fn run(args: &Args) -> Result<Status, Failure> {
    let plan = Plan::load(&args.plan).map_err(|rejected| {
        if rejected.is_unsafe() {
            note(CAUTION);
        }
        Failure::from(rejected)
    })?;
    let mut fixed = BTreeMap::new();
    for answer in &args.answers {
        let Some((option, value)) = answer.split_once('=') else {
            let text = format!("--answer {answer}: write it as --answer option=value");
            return Err(Failure::usage(text));
        };
        if let Some(earlier) = fixed.insert(option.to_owned(), value.to_owned())
            && earlier != value
        {
            let text = format!("option {option} is answered twice: {earlier} and {value}");
            return Err(Failure::usage(text));
        }
    }
    if args.defaults {
        for option in plan.options() {
            if let Some(default) = &option.default {
                fixed
                    .entry(option.name.clone())
                    .or_insert_with(|| default.clone());
            }
        }
    }
    let settings = Settings {
        fixed,
        most_states: args.states,
    };
    let review = review(&plan, &settings).map_err(|problems| {
        let colour = std::io::stderr().is_terminal();
        Failure::plan(plan.render(&problems, colour), only_unsafe(&problems))
    })?;
    match args.format {
        Format::Json => print_json(&review)?,
        Format::Text => print(&text::text(&review))?,
    }
    Ok(match review.verdict {
        Outcome::Pass => Status::Pass,
        Outcome::Findings => Status::Faults,
    })
}
