//! `probe load`: a plan into the probe, for use without a computer.

use loomproof_core::image::{Head, MAX_IMAGE, MAX_VARIANTS};
use serde::Serialize;

use super::{Bare, Failure, Format, ProbeArgs, Status, VirtualArgs, note, print, print_json};
use crate::alone::{Carrying, CompileError, LoadError, compile, load};
use crate::commands::job::JobArgs;
use crate::hookup::propose;
use crate::link::Link;
use crate::plan::{Plan, only_unsafe};
use crate::probe::nulls::kept;

/// Arguments of `probe load`.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Example: loomproof probe load fixtures/plans/bakery-van.toml --probe virtual\n\n\
                  Every variant of the plan that the answers leave open is loaded; the variant is \
                  chosen at the probe. Null the clips before, not after: the plan is compiled for \
                  them."
)]
pub struct Args {
    #[command(flatten)]
    job: JobArgs,
    #[command(flatten)]
    probe: ProbeArgs,
}

impl Args {
    /// What the virtual probe is like.
    pub(super) fn simulated(&self) -> &VirtualArgs {
        &self.probe.simulated
    }
}

#[derive(Serialize)]
struct Printed {
    title: String,
    place: &'static str,
    variants: u16,
    leads: u8,
    bytes: usize,
    most_bytes: u32,
    /// Whether the very same plan was in the probe already.
    was_there: bool,
    /// Which connectors have to be open and which plugged while it is rung out, by the
    /// plan; the probe itself does not say it.
    before: Vec<String>,
}

/// Compiles the plan for this probe and loads it.
///
/// # Errors
/// [`Failure`] for what is wrong with the plan, the probe or the link.
pub fn run(args: &Args) -> Result<Status, Failure> {
    let plan = args.job.plan()?;
    args.probe.lasting();
    let mut link = args.probe.link(Bare::Free)?;
    let image = compiled(&args.job, &plan, link.as_mut())?;
    let head = Head::open(&mut image.as_slice())
        .map_err(|error| Failure::usage(format!("the compiled plan is not sound: {error}")))?;
    let mut tenth = 0;
    let loaded = load(link.as_mut(), &image, &mut |bytes| {
        let now = 10 * bytes / image.len().max(1);
        if now > tenth {
            tenth = now;
            note(&format!("{bytes} of {} bytes loaded.", image.len()));
        }
    })?;
    let printed = Printed {
        title: plan.title().to_owned(),
        place: crate::ringout::verdict::place_word(head.place()),
        variants: head.variants(),
        leads: head.leads(),
        bytes: image.len(),
        most_bytes: MAX_IMAGE,
        was_there: !loaded,
        before: halves(&args.job, &plan, link.hello().leads)?,
    };
    match args.probe.format {
        Format::Json => print_json(&printed)?,
        Format::Text => print(&text(&printed))?,
    }
    Ok(Status::Pass)
}

/// The plan, compiled for the clips and leads of this probe.
///
/// # Errors
/// [`Failure`].
pub(super) fn compiled(
    args: &JobArgs,
    plan: &Plan,
    link: &mut dyn Link,
) -> Result<Vec<u8>, Failure> {
    let clips = kept(link)?;
    let probe = Carrying {
        leads: link.hello().leads,
        clips: &clips,
    };
    let image = compile(plan, &args.fixed(plan)?, args.place.into(), probe);
    image.map_err(|error| match error {
        CompileError::Plan(problems) => {
            Failure::plan(plan.render(&problems, false), only_unsafe(&problems))
        }
        other => Failure::usage(other.to_string()),
    })
}

/// What has to be open and what plugged while the carried plan is rung out, with the
/// variants where they differ in that.
fn halves(args: &JobArgs, plan: &Plan, leads: u8) -> Result<Vec<String>, Failure> {
    let variants = plan.variants(&args.fixed(plan)?, MAX_VARIANTS);
    let all = variants.len();
    let mut said: Vec<(String, Vec<String>)> = Vec::new();
    for answers in variants {
        let failure =
            |problems: Vec<_>| Failure::plan(plan.render(&problems, false), only_unsafe(&problems));
        let job = plan.resolve(&answers).map_err(failure)?;
        let hookup = propose(&job, args.place.into(), usize::from(leads))
            .map_err(|error| Failure::usage(error.to_string()))?;
        let words = job.answers.iter().map(|(o, v)| format!("{o} = {v}"));
        let variant = words.collect::<Vec<_>>().join(", ");
        for say in hookup.mated.to_do(&job) {
            match said.iter_mut().find(|(known, _)| *known == say) {
                Some((_, variants)) => variants.push(variant.clone()),
                None => said.push((say, vec![variant.clone()])),
            }
        }
    }
    let each = said.into_iter().map(|(say, variants)| {
        if variants.len() == all {
            say
        } else {
            format!("With {}: {say}", variants.join("; or "))
        }
    });
    Ok(each.collect())
}

fn text(printed: &Printed) -> String {
    let Printed {
        title,
        place,
        variants,
        leads,
        bytes,
        most_bytes,
        was_there,
        before,
    } = printed;
    let before = if before.is_empty() {
        String::new()
    } else {
        format!(
            "Before each run (the probe's display does not say it):\n - {}\n",
            before.join("\n - ")
        )
    };
    let what = if *was_there {
        "is in the probe already"
    } else {
        "is in the probe now"
    };
    let variants = match variants {
        1 => "1 variant".to_owned(),
        many => format!("{many} variants"),
    };
    format!(
        "\"{title}\" {what}, for the {place}: {variants}, up to {leads} probe leads, {bytes} of \
         {most_bytes} bytes.\n{before}"
    )
}

impl From<LoadError> for Failure {
    fn from(error: LoadError) -> Self {
        match error {
            LoadError::Compile(error) => Self::usage(error.to_string()),
            other => Self::probe(other.to_string()),
        }
    }
}
