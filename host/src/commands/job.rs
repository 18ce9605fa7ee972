//! The arguments every verb with a plan has, and the job they lead to.

use std::collections::BTreeMap;
use std::io::IsTerminal as _;
use std::path::PathBuf;

use clap::ValueEnum;
use loomproof_core::units::Ohms;
use loomproof_core::wire::{LeadId, Place};

use super::asking::ask;
use super::{Failure, note};
use crate::bench::{Bench, DEFECTS, Defect, Settings, VirtualFlash};
use crate::fault::Fault;
use crate::fault::spell::parse;
use crate::hookup::{Hookup, Within};
use crate::link::VirtualProbe;
use crate::plan::Plan;
use crate::plan::model::Job;
use crate::plan::{only_unsafe, quantity};

/// Where the harness is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum Where {
    /// Alone on the bench.
    Bench,
    /// Fitted to the vehicle.
    Vehicle,
}

impl From<Where> for Place {
    fn from(place: Where) -> Self {
        match place {
            Where::Bench => Self::Bench,
            Where::Vehicle => Self::Vehicle,
        }
    }
}

/// Plan, answers and place.
#[derive(Debug, Clone, clap::Args)]
pub struct JobArgs {
    /// The plan file.
    pub plan: PathBuf,
    /// Answers an option of the plan; may be repeated.
    #[arg(long = "answer", value_name = "OPTION=VALUE")]
    pub answers: Vec<String>,
    /// Answers every other option with its default.
    #[arg(long)]
    pub defaults: bool,
    /// Where the harness is.
    #[arg(long = "where", value_name = "PLACE", default_value = "vehicle")]
    pub place: Where,
}

/// What can be reached.
#[derive(Debug, Clone, clap::Args)]
pub struct ReachArgs {
    /// Only what can be reached at this place of the plan, or the connector, tap,
    /// ring, plug or part of this name; may be repeated.
    #[arg(long, value_name = "PLACE")]
    at: Vec<String>,
}

impl ReachArgs {
    /// What of a job that is.
    ///
    /// # Errors
    /// [`Failure`] for a place that the plan does not have.
    pub fn within(&self, job: &Job) -> Result<Within, Failure> {
        let within = Within::of(job, &self.at).map_err(Failure::usage)?;
        if let Some(names) = within.names() {
            note(&format!("Within reach: {}.", names.join(", ")));
        }
        Ok(within)
    }
}

/// What is wrong on the virtual bench.
#[derive(Debug, Clone, clap::Args)]
pub struct BenchArgs {
    /// Puts a fault on the virtual bench; may be repeated. `help` lists all
    /// that this plan allows.
    #[arg(long = "fault", value_name = "FAULT")]
    pub faults: Vec<String>,
    /// What really hangs on a conductor or pin of the virtual vehicle, whatever the
    /// plan says: "K1=300 kohm"; may be repeated.
    #[arg(long = "hangs", value_name = "NAME=LOAD")]
    pub hangs: Vec<String>,
    #[command(flatten)]
    pub simulated: VirtualArgs,
}

/// What the virtual probe is like.
#[derive(Debug, Clone, clap::Args)]
pub struct VirtualArgs {
    /// Seed of the virtual bench's part tolerances and noise.
    #[arg(long, value_name = "N", default_value_t = 1)]
    pub seed: u64,
    /// Probe leads of the virtual probe: 16 to 128 in steps of 16.
    #[arg(long, value_name = "N", default_value_t = 64, value_parser = leads)]
    pub leads: u8,
    /// Puts a fault into the virtual probe itself; may be repeated. `help` lists
    /// the kinds.
    #[arg(long = "probe-fault", value_name = "FAULT")]
    pub probe_faults: Vec<String>,
    /// Keeps what the virtual probe remembers in this file.
    #[arg(long, value_name = "FILE")]
    pub probe_memory: Option<PathBuf>,
}

impl VirtualArgs {
    /// How the virtual bench is set up.
    ///
    /// # Errors
    /// [`Failure`] for a fault of the probe that is not understood.
    pub fn settings(&self) -> Result<Settings, Failure> {
        let defects = self.probe_faults.iter().map(|text| Defect::parse(text));
        Ok(Settings {
            seed: self.seed,
            leads: self.leads,
            defects: defects.collect::<Result<_, _>>()?,
            ..Settings::default()
        })
    }

    /// The kinds of fault of the probe, where the list is asked for.
    #[must_use]
    pub fn list(&self) -> Option<String> {
        let wanted = self.probe_faults.iter().any(|fault| fault == "help");
        let lines = DEFECTS.map(|(example, meaning)| format!("  {example:<30} {meaning}\n"));
        wanted.then(|| {
            format!(
                "Faults of the virtual probe, an example each:\n{}",
                lines.concat()
            )
        })
    }

    /// What the virtual probe remembers.
    ///
    /// # Errors
    /// [`Failure`] where the file cannot be read or is something else.
    pub fn flash(&self) -> Result<VirtualFlash, Failure> {
        match &self.probe_memory {
            None => Ok(VirtualFlash::default()),
            Some(path) => VirtualFlash::in_file(path)
                .map_err(|error| Failure::usage(format!("{}: {error}", path.display()))),
        }
    }

    /// Refuses what a real probe does not have.
    ///
    /// # Errors
    /// [`Failure`] naming it.
    pub fn only_virtual(&self) -> Result<(), Failure> {
        if self.probe_faults.is_empty() && self.probe_memory.is_none() {
            return Ok(());
        }
        Err(Failure::usage(
            "--probe-fault and --probe-memory are of the virtual probe; leave them away for a \
             real one"
                .to_owned(),
        ))
    }
}

fn leads(text: &str) -> Result<u8, String> {
    match text.parse::<u8>() {
        Ok(n) if n % 16 == 0 && (16..=128).contains(&n) => Ok(n),
        _ => Err("give 16, 32, 48, 64, 80, 96, 112 or 128".to_owned()),
    }
}

impl JobArgs {
    /// Reads the plan, settles its options, asking for what is open.
    ///
    /// # Errors
    /// [`Failure`] with every problem of the plan and the answers.
    pub fn job(&self) -> Result<Job, Failure> {
        self.settle(&self.plan()?, BTreeMap::new())
    }

    /// Reads the plan.
    ///
    /// # Errors
    /// [`Failure`] with every problem of the plan.
    pub fn plan(&self) -> Result<Plan, Failure> {
        Ok(Plan::load(&self.plan)?)
    }

    /// What the command line answers.
    ///
    /// # Errors
    /// [`Failure`] for what is no answer, or one option answered twice.
    pub fn given(&self) -> Result<BTreeMap<String, String>, Failure> {
        given(&self.answers)
    }

    /// What is fixed where everything else is to stay open: what the command line
    /// answers, and with `--defaults` the default of every other option.
    ///
    /// # Errors
    /// As [`Self::given`].
    pub fn fixed(&self, plan: &Plan) -> Result<BTreeMap<String, String>, Failure> {
        let mut fixed = self.given()?;
        if self.defaults {
            for option in plan.options() {
                if let Some(default) = &option.default {
                    let name = option.name.clone();
                    fixed.entry(name).or_insert_with(|| default.clone());
                }
            }
        }
        Ok(fixed)
    }

    /// Settles the options of a plan: what is answered already, what the
    /// command line answers (which counts, where both do), and what is still to
    /// be asked.
    ///
    /// # Errors
    /// [`Failure`] with every problem of the answers.
    pub fn settle(
        &self,
        plan: &Plan,
        mut answers: BTreeMap<String, String>,
    ) -> Result<Job, Failure> {
        answers.extend(self.given()?);
        if !self.defaults && std::io::stdin().is_terminal() {
            ask(plan, &mut answers)?;
        }
        for connector in plan.keep_off() {
            note(&format!(
                "Keep off {connector}: never opened, probed or tapped."
            ));
        }
        plan.resolve(&answers).map_err(|problems| {
            let colour = std::io::stderr().is_terminal();
            Failure::plan(plan.render(&problems, colour), only_unsafe(&problems))
        })
    }
}

/// What `--answer` says.
///
/// # Errors
/// [`Failure`] for what is no answer, or one option answered twice.
pub fn given(answers: &[String]) -> Result<BTreeMap<String, String>, Failure> {
    let mut given: BTreeMap<String, String> = BTreeMap::new();
    for answer in answers {
        let Some((option, value)) = answer.split_once('=') else {
            return Err(Failure::usage(format!(
                "--answer {answer}: write it as --answer option=value"
            )));
        };
        if let Some(earlier) = given.insert(option.to_owned(), value.to_owned())
            && earlier != value
        {
            return Err(Failure::usage(format!(
                "option {option} is answered twice: {earlier} and {value}"
            )));
        }
    }
    Ok(given)
}

impl BenchArgs {
    /// Whether the list of faults is asked for.
    #[must_use]
    pub fn wants_list(&self) -> bool {
        self.faults.iter().any(|fault| fault == "help")
    }

    /// The job as the virtual bench really is: with what `--hangs` says.
    ///
    /// # Errors
    /// [`Failure`] for a name or a load that is not understood.
    pub fn really(&self, job: &Job) -> Result<Job, Failure> {
        let mut really = job.clone();
        for text in &self.hangs {
            let fail = |why: &str| {
                Failure::usage(format!(
                    "--hangs {text}: {why}; write it as \"K1=300 kohm\", with a conductor or pin of \
                     the plan"
                ))
            };
            let (name, load) = text
                .split_once('=')
                .ok_or_else(|| fail("there is no `=`"))?;
            let load = quantity::load(load).map_err(|complaint| fail(&complaint.message))?;
            let mut conductors = really.conductors.iter_mut();
            let mut pins = really.electrics.pins.iter_mut();
            let slot = match conductors.find(|it| it.name == name) {
                Some(conductor) => Some(&mut conductor.load),
                None => pins.find(|it| it.name == name).map(|pin| &mut pin.load),
            };
            *slot.ok_or_else(|| fail("there is no such conductor or pin"))? = load;
        }
        Ok(really)
    }

    /// The faults, checked against the job.
    ///
    /// # Errors
    /// [`Failure`] for a spelling that is not understood.
    pub fn faults(&self, job: &Job) -> Result<Vec<Fault>, Failure> {
        self.faults
            .iter()
            .map(|spelling| Ok(parse(spelling, job)?))
            .collect()
    }

    /// The virtual probe, clipped like this to a bench with these faults, or plugged into
    /// a jig with these resistors in its plug.
    ///
    /// # Errors
    /// [`Failure`] when the faults do not fit the job.
    pub fn probe(
        &self,
        job: &Job,
        hookup: &Hookup,
        faults: &[Fault],
        code: &[(LeadId, Ohms)],
    ) -> Result<VirtualProbe, Failure> {
        let settings = Settings {
            code: code.to_vec(),
            ..self.simulated.settings()?
        };
        let bench = Bench::new(job, hookup, faults, &settings)?;
        Ok(VirtualProbe::with_flash(bench, self.simulated.flash()?))
    }
}
