//! `hookup`: which probe lead goes on which test point.

use serde::Serialize;

use super::exit::Status;
use super::job::JobArgs;
use super::{Failure, Format, print, print_json};
use crate::circuit::build;
use crate::diagnosis::coverage::{alike, coverage, extra_points};
use crate::diagnosis::words::{Speaker, capital};
use crate::fault::catalogue;
use crate::hookup::{Hookup, propose};
use crate::plan::model::Job;

/// Arguments of `hookup`.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example: loomproof hookup fixtures/plans/bakery-van.toml --defaults")]
pub struct Args {
    #[command(flatten)]
    job: JobArgs,
    /// Probe leads of the probe.
    #[arg(long, value_name = "N", default_value_t = 64)]
    leads: u8,
    /// What to print.
    #[arg(long, default_value = "text")]
    format: Format,
}

#[derive(Serialize)]
struct Listing {
    place: &'static str,
    clips: Vec<ClipLine>,
    faults: usize,
    covered: usize,
    /// Covered faults that no other looks like.
    isolated: usize,
    not_covered: Vec<String>,
    /// Further test points, and what each would show beyond those before it.
    extra_points: Vec<ExtraLine>,
}

#[derive(Serialize)]
struct ExtraLine {
    point: String,
    say: String,
    shows: Vec<String>,
}

/// How many further test points are named.
const EXTRAS: usize = 3;

#[derive(Serialize)]
struct ClipLine {
    lead: String,
    point: String,
    say: String,
    #[serde(skip)]
    heading: String,
    #[serde(skip)]
    where_there: String,
}

/// Prints the hook-up and its fault coverage.
///
/// # Errors
/// [`Failure`] for a plan that is wrong or does not fit the probe.
pub fn run(args: &Args) -> Result<Status, Failure> {
    let job = args.job.job()?;
    let hookup = propose(
        &job,
        args.job.place.into(),
        usize::from(args.leads.min(128)),
    )?;
    let listing = listing(&job, &hookup)?;
    match args.format {
        Format::Json => print_json(&listing)?,
        Format::Text => print(&text(&job, &listing))?,
    }
    Ok(Status::Pass)
}

fn listing(job: &Job, hookup: &Hookup) -> Result<Listing, Failure> {
    let model = build(job, hookup)?;
    let covered = coverage(&model, &catalogue::all(job, hookup)).map_err(Failure::usage)?;
    let speaker = Speaker::new(job);
    let isolated = alike(&[&model], &covered).map_err(Failure::usage)?;
    let extra_points = extra_points(&model, &covered, EXTRAS)
        .map_err(Failure::usage)?
        .into_iter()
        .map(|extra| ExtraLine {
            point: extra.point.to_string(),
            say: capital(&speaker.point(&extra.point)),
            shows: extra.shows.iter().map(ToString::to_string).collect(),
        })
        .collect();
    Ok(Listing {
        place: crate::ringout::verdict::place_word(hookup.place),
        clips: hookup
            .clips
            .iter()
            .map(|clip| ClipLine {
                lead: clip.lead.to_string(),
                point: clip.point.to_string(),
                say: capital(&speaker.point(&clip.point)),
                heading: speaker.heading(&clip.point),
                where_there: speaker.where_there(&clip.point),
            })
            .collect(),
        faults: covered.len(),
        covered: covered.iter().filter(|c| c.covered).count(),
        isolated: isolated.iter().filter(|alike| **alike == 1).count(),
        extra_points,
        not_covered: covered
            .iter()
            .filter(|c| !c.covered)
            .map(|c| c.fault.to_string())
            .collect(),
    })
}

fn text(job: &Job, listing: &Listing) -> String {
    let mut out = format!("Hook-up, {}: {}\n\n", job.title, listing.place);
    out.push_str(if listing.place == "vehicle" {
        "C1 and C2  bare chassis metal, two separate places\n"
    } else {
        "C1 and C2  clipped to each other\n"
    });
    if !job.answers.is_empty() {
        let answers: Vec<String> = job
            .answers
            .iter()
            .map(|(option, value)| format!("{option} = {value}"))
            .collect();
        out.push_str(&format!("Variant: {}\n", answers.join(", ")));
    }
    let mut heading = String::new();
    for clip in &listing.clips {
        if clip.heading != heading {
            heading.clone_from(&clip.heading);
            out.push_str(&format!("\n{heading}\n"));
        }
        out.push_str(&format!(
            "  {:<5} {:<9} {}\n",
            clip.lead, clip.point, clip.where_there
        ));
    }
    out.push_str(&format!(
        "\nThis shows {} of the {} single faults that the plan allows; {} of them no other looks \
         like.\n",
        listing.covered, listing.faults, listing.isolated
    ));
    if !listing.not_covered.is_empty() {
        let shown: Vec<&str> = listing
            .not_covered
            .iter()
            .take(12)
            .map(String::as_str)
            .collect();
        let rest = listing.not_covered.len() - shown.len();
        out.push_str(&format!("It cannot see: {}", shown.join("  ")));
        if rest > 0 {
            out.push_str(&format!("  and {rest} more (--format json lists them)"));
        }
        out.push('\n');
    }
    for extra in &listing.extra_points {
        out.push_str(&format!(
            "One more probe lead on {}\n  would show {} more of them: {}{}\n",
            extra.say,
            extra.shows.len(),
            extra
                .shows
                .iter()
                .take(4)
                .cloned()
                .collect::<Vec<_>>()
                .join("  "),
            if extra.shows.len() > 4 { "  …" } else { "" }
        ));
    }
    out
}
