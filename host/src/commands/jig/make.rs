//! `jig make`: a new jig for a plan.

use std::io::IsTerminal as _;
use std::path::{Path, PathBuf};

use serde::Serialize;

use super::{Failure, Format, Status, note, print, print_json};
use crate::commands::job::given;
use crate::jig::make::{Made, MakeError, make};
use crate::jig::{Code, Folder, code, file, text};
use crate::plan::{Plan, only_unsafe};

/// Arguments of `jig make`.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Example: loomproof jig make fixtures/plans/bench-64.toml --number 17 --to \
                  bench-64.jig.toml --matings 500"
)]
pub struct Args {
    /// The plan file.
    plan: PathBuf,
    /// The jig is only for harnesses with this answer; may be repeated.
    #[arg(long = "answer", value_name = "OPTION=VALUE")]
    answers: Vec<String>,
    /// The jig's number, which no other jig of the shop has: 1 to 133.
    #[arg(long, value_name = "N", value_parser = number)]
    number: Code,
    /// The file, whose name ends in .jig.toml.
    #[arg(long, value_name = "FILE")]
    to: PathBuf,
    /// What the jig is called; otherwise as the plan.
    #[arg(long, value_name = "TEXT")]
    title: Option<String>,
    /// How often the halves can be mated, by their maker.
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u32).range(1..))]
    matings: Option<u32>,
    /// After how many matings the jig is to be checked again.
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u32).range(1..))]
    check_every: Option<u32>,
    /// Leads also for the terminals of relays, fuses and other parts, by spring contacts
    /// on the back of their sockets: what ends there is proved by nothing else.
    #[arg(long)]
    parts: bool,
    /// What to print.
    #[arg(long, default_value = "text")]
    format: Format,
}

fn number(text: &str) -> Result<Code, String> {
    let number = text.parse().ok().and_then(Code::new);
    number.ok_or_else(|| format!("give a number from 1 to {}", code::MOST))
}

#[derive(Serialize)]
struct Printed {
    file: String,
    number: u16,
    resistors: Vec<Wire<f64>>,
    wires: Vec<Wire<String>>,
    /// Terminals of parts that have no lead.
    left_out: Vec<String>,
}

#[derive(Serialize)]
struct Wire<T> {
    lead: String,
    to: T,
}

/// Writes the file and prints the wiring.
///
/// # Errors
/// [`Failure`] for a plan that is wrong or too large, or a file that cannot be written.
pub fn run(args: &Args) -> Result<Status, Failure> {
    let plan = Plan::load(&args.plan)?;
    let fixed = given(&args.answers)?;
    let title = args
        .title
        .clone()
        .unwrap_or_else(|| plan.title().to_owned());
    let made = make(
        &plan,
        &fixed,
        (args.to.clone(), title),
        (args.number, args.parts),
    );
    let Made { mut jig, left_out } = made.map_err(|error| match error {
        MakeError::Plan(problems) => {
            let colour = std::io::stderr().is_terminal();
            Failure::plan(plan.render(&problems, colour), only_unsafe(&problems))
        }
        other => Failure::usage(other.to_string()),
    })?;
    jig.matings = args.matings;
    jig.check_every = args.check_every;
    let folder = jig.path.parent().filter(|it| !it.as_os_str().is_empty());
    let others = Folder::load(folder.unwrap_or(Path::new(".")));
    let mut others = others.unwrap_or_default().jigs.into_iter();
    if let Some(other) = others.find(|other| other.code == jig.code) {
        return Err(Failure::usage(format!(
            "{} is {} already; give another number",
            other.path.display(),
            jig.code
        )));
    }
    // What a title may be is decided in one place.
    let again = file::read(&jig.path, &file::text(&jig), false);
    again.map_err(|text| Failure::plan(text, false))?;
    file::write(&jig).map_err(Failure::usage)?;
    match args.format {
        Format::Text => print(&text::wiring(&jig, &left_out))?,
        Format::Json => print_json(&Printed {
            file: jig.path.display().to_string(),
            number: jig.code.number(),
            resistors: jig
                .code
                .resistors()
                .map(|(lead, ohms)| Wire {
                    lead: lead.to_string(),
                    to: ohms.0,
                })
                .into(),
            wires: jig
                .wires
                .iter()
                .map(|(lead, at)| Wire {
                    lead: lead.to_string(),
                    to: at.clone(),
                })
                .collect(),
            left_out,
        })?,
    }
    note(&format!("Written to {}.", jig.path.display()));
    Ok(Status::Pass)
}
