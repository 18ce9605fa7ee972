//! Runs the campaign and prints its page; fails when a goal is missed.

use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::Instant;

use clap::{Parser, ValueEnum};
use loomproof::fault::spell::parse;
use loomproof_tests::campaign::journal::Journal;
use loomproof_tests::campaign::results::Results;
use loomproof_tests::campaign::site::{FIXTURES, Site, Source, generated};
use loomproof_tests::campaign::trial::{Class, tried};
use loomproof_tests::campaign::{Scale, plot, run_site};
use loomproof_tests::commit::checked_out;
use loomproof_tests::generator::Recipe;

/// Runs longer than this are told of at once, seconds.
const SLOW: f64 = 20.0;

/// Progress is told every so many runs.
const TELL: usize = 500;

/// The plot's name in a page that is not written to a file.
const PLOT: &str = "campaign-calibration.svg";

/// Which harnesses.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum Only {
    Fixtures,
    Generated,
}

/// Rings out healthy harnesses, every single fault, random pairs and triples,
/// and faults drawn from the priors, on all fixture plans and 32 generated ones.
#[derive(Debug, Parser)]
struct Args {
    /// Healthy runs, over all harnesses.
    #[arg(long, default_value_t = 10_000)]
    healthy: usize,
    /// Random pairs, over all harnesses.
    #[arg(long, default_value_t = 3_000)]
    pairs: usize,
    /// Random triples, over all harnesses.
    #[arg(long, default_value_t = 1_000)]
    triples: usize,
    /// Runs with faults drawn from the priors, over all harnesses.
    #[arg(long, default_value_t = 3_000)]
    drawn: usize,
    /// Every how-manyth single fault is asked for its cause; the covered ones
    /// between are rung out up to the verdict. 0 for none at all.
    #[arg(long, default_value_t = 1)]
    singles_every: usize,
    /// The most single faults of one harness that are asked for their cause: the
    /// stride of larger ones grows.
    #[arg(long, default_value_t = usize::MAX)]
    singles_most: usize,
    /// Every how-manyth of the covered single faults between is rung out up to the
    /// verdict.
    #[arg(long, default_value_t = 1)]
    verdicts_every: usize,
    /// Where all seeds start.
    #[arg(long, default_value_t = 0)]
    seed: u64,
    /// Only these harnesses.
    #[arg(long)]
    only: Option<Only>,
    /// Only harnesses of these names, such as `bakery-van/bench`; also names
    /// of generated ones that are not in the campaign.
    #[arg(long = "harness", value_name = "NAME")]
    harnesses: Vec<String>,
    /// Writes the page to this file, and the plot beside it.
    #[arg(long, value_name = "FILE")]
    write: Option<PathBuf>,
    /// Keeps every run in this file as soon as it is over, and does not do again
    /// what is in it: a campaign that was broken off goes on.
    #[arg(long, value_name = "FILE")]
    journal: Option<PathBuf>,
    /// The commit that is named in the page; asked of git where it is not given.
    #[arg(long)]
    commit: Option<String>,
    /// Prints the plan of a generated harness, such as `bench-064-s9`, and ends.
    #[arg(long, value_name = "NAME")]
    plan: Option<String>,
    /// Rings out one harness (`--harness`) with these faults alone and says
    /// how it went.
    #[arg(long = "fault", value_name = "FAULT", requires = "harnesses")]
    faults: Vec<String>,
    /// Seed of the bench with `--fault`.
    #[arg(long, default_value_t = 1)]
    bench_seed: u64,
}

impl Args {
    fn scale(&self) -> Scale {
        Scale {
            healthy: self.healthy,
            pairs: self.pairs,
            triples: self.triples,
            drawn: self.drawn,
            every: self.singles_every,
            most: self.singles_most,
            verdicts: self.verdicts_every,
            seed: self.seed,
        }
    }

    /// The options that choose what is run, as they are written.
    fn options(&self) -> String {
        let mut options = self.scale().options();
        match self.only {
            Some(Only::Fixtures) => options.push_str(" --only fixtures"),
            Some(Only::Generated) => options.push_str(" --only generated"),
            None => {}
        }
        for harness in &self.harnesses {
            options.push_str(&format!(" --harness {harness}"));
        }
        options
    }

    fn sites(&self) -> Result<Vec<Site>, String> {
        if self.harnesses.is_empty() {
            let all = FIXTURES.iter().copied().chain(generated(1));
            let wanted = |site: &Site| match self.only {
                Some(Only::Fixtures) => matches!(site.source, Source::Fixture(_)),
                Some(Only::Generated) => matches!(site.source, Source::Drawn(_)),
                None => true,
            };
            return Ok(all.filter(wanted).collect());
        }
        let known =
            |name: &String| Site::of_name(name).ok_or(format!("there is no harness {name}"));
        self.harnesses.iter().map(known).collect()
    }
}

fn main() -> ExitCode {
    match run(&Args::parse()) {
        Ok(code) => code,
        Err(error) => {
            eprintln!("{error}");
            ExitCode::from(2)
        }
    }
}

fn run(args: &Args) -> Result<ExitCode, String> {
    if let Some(name) = &args.plan {
        let recipe = Recipe::of_name(name).ok_or(format!("there is no generated plan {name}"))?;
        print!("{}", recipe.text());
        return Ok(ExitCode::SUCCESS);
    }
    let sites = args.sites()?;
    if !args.faults.is_empty() {
        return once(args, &sites);
    }
    let scale = args.scale();
    let commit = args.commit.clone().unwrap_or_else(checked_out);
    let journal = match &args.journal {
        Some(path) => Journal::open(path, &commit)?,
        None => Journal::default(),
    };
    if !journal.is_empty() {
        eprintln!("{} runs are over already", journal.len());
    }
    let mut results = Results {
        wanted: sites.len(),
        ..Results::default()
    };
    for (at, site) in sites.iter().enumerate() {
        let start = Instant::now();
        let loaded = site
            .load()
            .map_err(|error| format!("{}: {error}", site.name()))?;
        let done = AtomicUsize::new(0);
        let found = run_site(&loaded, &scale, &journal, (at, sites.len()), |tried| {
            let done = done.fetch_add(1, Ordering::Relaxed) + 1;
            let slow = tried.took.as_secs_f64() > SLOW;
            if let Some(what) = tried.miss().or(slow.then_some("slow")) {
                let seconds = tried.took.as_secs_f64();
                eprintln!(
                    "  {what} ({}, {:.0} σ, {seconds:.1} s): {}: {}",
                    tried.class.word(),
                    tried.severity.min(99_999.0),
                    tried.repeat,
                    tried.said
                );
            }
            if done.is_multiple_of(TELL) {
                eprintln!("  {done} runs");
            }
        });
        for unseen in &found.judged.unseen {
            eprintln!("  UNSEEN: {}: {}", unseen.repeat, unseen.said);
        }
        for alarm in &found.healthy.alarms {
            eprintln!("  FALSE ALARM: {}: {}", alarm.repeat, alarm.said);
        }
        eprintln!(
            "{} of {} {}: {} points, {} of {} single faults, {} runs with faults, {} healthy, {:.0} s",
            at + 1,
            sites.len(),
            found.site,
            found.points,
            loaded.covered.len().div_ceil(found.stride),
            found.catalogue,
            found.tried.len(),
            found.healthy.runs,
            start.elapsed().as_secs_f64()
        );
        results.sites.push(found);
        // After every harness: a campaign takes hours.
        if let Some(path) = &args.write {
            write(path, &results, &args.options(), &commit)?;
        }
    }
    print!("{}", results.page(&args.options(), &commit, PLOT));
    let missed = results.missed_goals();
    for goal in &missed {
        eprintln!("GOAL MISSED: {goal}");
    }
    Ok(ExitCode::from(u8::from(!missed.is_empty())))
}

/// Writes the page, and the plot beside it.
fn write(path: &Path, results: &Results, options: &str, commit: &str) -> Result<(), String> {
    let stem = path.file_stem().unwrap_or_default().to_string_lossy();
    let picture = format!("{stem}-calibration.svg");
    let write = |path: &Path, text: String| {
        std::fs::write(path, text).map_err(|error| format!("{}: {error}", path.display()))
    };
    write(path, results.page(options, commit, &picture))?;
    let plot = plot::calibration(&results.calibration());
    write(&path.with_file_name(picture), plot)
}

/// One run by its spelling.
fn once(args: &Args, sites: &[Site]) -> Result<ExitCode, String> {
    let site = sites.first().ok_or("name the harness")?.load()?;
    let faults = args
        .faults
        .iter()
        .map(|fault| parse(fault, &site.job).map_err(|error| error.to_string()))
        .collect::<Result<Vec<_>, _>>()?;
    let class = match faults.as_slice() {
        [one] => Class::of_single(one),
        [_, _] => Class::Pair,
        _ => Class::Triple,
    };
    let covered = site
        .covered
        .iter()
        .any(|c| faults.len() == 1 && c.covered && c.fault == faults[0]);
    let tried = tried(&site, class, &faults, covered, args.bench_seed);
    println!("{tried:#?}");
    println!("{}", tried.miss().unwrap_or("as it should be"));
    Ok(ExitCode::from(u8::from(tried.miss().is_some())))
}
