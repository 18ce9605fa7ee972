//! `hookup`: which probe lead goes on which test point.

use loomproof_core::wire::Place;
use serde::Serialize;

use super::exit::Status;
use super::job::{JobArgs, ReachArgs};
use super::{Failure, Format, print, print_json};
use crate::circuit::{Model, build};
use crate::diagnosis::coverage::{alike, coverage_of_rounds, extra_points};
use crate::diagnosis::words::{Speaker, capital};
use crate::fault::catalogue;
use crate::hookup::rounds::{Rounds, rounds};
use crate::hookup::{Clip, Hookup};
use crate::plan::model::Job;

/// Arguments of `hookup`.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example: loomproof hookup fixtures/plans/bakery-van.toml --defaults")]
pub struct Args {
    #[command(flatten)]
    job: JobArgs,
    #[command(flatten)]
    reach: ReachArgs,
    /// Probe leads of the probe; where they are fewer than the points, the
    /// hook-up comes in rounds.
    #[arg(long, value_name = "N", default_value_t = 64, value_parser = clap::value_parser!(u8).range(2..=128))]
    leads: u8,
    /// What to print.
    #[arg(long, default_value = "text")]
    format: Format,
}

#[derive(Serialize)]
struct Listing {
    place: &'static str,
    /// Connectors of the vehicle that have to be open, and plugged, for the test.
    open: Vec<String>,
    plugged: Vec<String>,
    #[serde(skip)]
    before: Vec<String>,
    /// The clips, round by round.
    rounds: Vec<Vec<ClipLine>>,
    /// A number of rounds that no hook-up with these leads can beat.
    least_rounds: usize,
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
    /// Whether the clip sits there from the round before.
    stays: bool,
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
    let within = args.reach.within(&job)?;
    let rounds = rounds(
        &job,
        args.job.place.into(),
        usize::from(args.leads),
        &within,
    )?;
    let listing = listing(&job, &rounds)?;
    match args.format {
        Format::Json => print_json(&listing)?,
        Format::Text => print(&text(&job, &listing))?,
    }
    Ok(Status::Pass)
}

fn listing(job: &Job, rounds: &Rounds) -> Result<Listing, Failure> {
    let hookups = &rounds.hookups;
    let models = hookups.iter().map(|hookup| build(job, hookup));
    let models = models.collect::<Result<Vec<_>, _>>()?;
    let models: Vec<&Model> = models.iter().collect();
    let covered = coverage_of_rounds(&models, &catalogue::of_rounds(job, hookups));
    let covered = covered.map_err(Failure::usage)?;
    let speaker = Speaker::new(job);
    let isolated = alike(&models, &covered).map_err(Failure::usage)?;
    let extras = match models.as_slice() {
        [model] => extra_points(model, &covered, EXTRAS).map_err(Failure::usage)?,
        // The points are not all clipped as it is.
        _ => Vec::new(),
    };
    let extra_points = extras
        .into_iter()
        .map(|extra| ExtraLine {
            point: extra.point.to_string(),
            say: capital(&speaker.point(&extra.point)),
            shows: extra.shows.iter().map(ToString::to_string).collect(),
        })
        .collect();
    let line = |clip: &Clip, before: Option<&Hookup>| ClipLine {
        lead: clip.lead.to_string(),
        stays: before.and_then(|before| before.point(clip.lead)) == Some(&clip.point),
        point: clip.point.to_string(),
        say: capital(&speaker.point(&clip.point)),
        heading: speaker.heading(&clip.point),
        where_there: speaker.where_there(&clip.point),
    };
    let befores = std::iter::once(None).chain(hookups.iter().map(Some));
    let lines = hookups.iter().zip(befores).map(|(hookup, before)| {
        let mut clips: Vec<ClipLine> = hookup.clips.iter().map(|c| line(c, before)).collect();
        if hookups.len() > 1 {
            // By place: leads are handed on from round to round.
            let order = |heading: &str| {
                hookup
                    .clips
                    .iter()
                    .position(|c| speaker.heading(&c.point) == heading)
            };
            clips.sort_by_cached_key(|clip| order(&clip.heading));
        }
        clips
    });
    let place = hookups.first().map_or(Place::Bench, |hookup| hookup.place);
    let mated = hookups.first().map(|hookup| hookup.mated.clone());
    let mated = mated.unwrap_or_default();
    Ok(Listing {
        before: mated.to_do(job),
        open: mated.open.into_iter().collect(),
        plugged: mated.plugged.into_iter().collect(),
        place: crate::ringout::verdict::place_word(place),
        rounds: lines.collect(),
        least_rounds: rounds.least,
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
    for say in &listing.before {
        out.push_str(&format!("{say}\n"));
    }
    if !job.answers.is_empty() {
        let answers: Vec<String> = job
            .answers
            .iter()
            .map(|(option, value)| format!("{option} = {value}"))
            .collect();
        out.push_str(&format!("Variant: {}\n", answers.join(", ")));
    }
    let several = listing.rounds.len() > 1;
    if several {
        let clips: usize = listing.rounds.iter().map(Vec::len).sum();
        let moved = listing.rounds.iter().flatten().filter(|clip| !clip.stays);
        out.push_str(&format!(
            "\n{} rounds of clips; no hook-up with so few probe leads needs fewer than {}. {} clips \
             to put on in all, {} stay from one round to the next.\n",
            listing.rounds.len(),
            listing.least_rounds,
            moved.clone().count(),
            clips - moved.count(),
        ));
    }
    for (at, round) in listing.rounds.iter().enumerate() {
        if several {
            out.push_str(&format!("\nRound {}\n", at + 1));
        }
        let mut heading = String::new();
        for clip in round {
            if clip.heading != heading {
                heading.clone_from(&clip.heading);
                out.push_str(&format!("\n{heading}\n"));
            }
            let stays = if clip.stays { "  (stays)" } else { "" };
            let line = format!(
                "  {:<5} {:<9} {}{stays}",
                clip.lead, clip.point, clip.where_there
            );
            out.push_str(&format!("{}\n", line.trim_end()));
        }
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
