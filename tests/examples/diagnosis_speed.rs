//! Measures the speed of the diagnosis and prints its page; fails when a goal
//! is missed.

use std::path::PathBuf;
use std::process::ExitCode;

use clap::Parser;
use loomproof_tests::commit::checked_out;
use loomproof_tests::speed::document::Found;
use loomproof_tests::speed::explaining::{INJECTED, injected};
use loomproof_tests::speed::growth::{SEEDS, SIZES, grown};
use loomproof_tests::speed::plot;
use loomproof_tests::speed::rates::{Effort, Which, rates};
use loomproof_tests::speed::subject::Subject;

/// The plot's name in a page that is not written to a file.
const PLOT: &str = "diagnosis-speed.svg";

/// Times the diagnosis beside solving every hypothesis anew by dense LU, whole
/// explanations, and how both grow with the number of test points.
#[derive(Debug, Parser)]
struct Args {
    /// Writes the page to this file, and the plot beside it.
    #[arg(long, value_name = "FILE")]
    write: Option<PathBuf>,
    /// How often explanations are timed; the median counts.
    #[arg(long, default_value_t = 5)]
    rounds: usize,
    /// Leaves the growth with the number of test points out.
    #[arg(long)]
    no_growth: bool,
    /// The commit that is named in the page; asked of git where it is not given.
    #[arg(long)]
    commit: Option<String>,
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
    let effort = Effort {
        whole: 100,
        touched: 600,
        rounds: 7,
        conditions: 12,
    };
    let bench = Subject::bench_64()?;
    let mut found = Found {
        rates: vec![
            rates(&Subject::bench_64_linear()?, Which::All, effort)?,
            rates(&bench, Which::All, effort)?,
            rates(&bench, Which::AtDiodes, effort)?,
        ],
        explaining: injected(&bench, INJECTED, args.rounds)?,
        grown: Vec::new(),
    };
    let sizes = SIZES.iter().filter(|_| !args.no_growth);
    for size in sizes {
        for seed in 1..=SEEDS {
            let grown = grown(seed, *size)?;
            eprintln!("{}: {:.2} s", grown.rates.name, grown.whole);
            found.grown.push(grown);
        }
    }
    let commit = args.commit.clone().unwrap_or_else(checked_out);
    match &args.write {
        Some(path) => {
            let stem = path.file_stem().unwrap_or_default().to_string_lossy();
            let picture = format!("{stem}.svg");
            let write = |path: &PathBuf, text: String| {
                std::fs::write(path, text).map_err(|error| format!("{}: {error}", path.display()))
            };
            write(path, found.page(&commit, &picture))?;
            write(&path.with_file_name(picture), plot::growth(&found.curves()))?;
        }
        None => print!("{}", found.page(&commit, PLOT)),
    }
    let missed = found.missed();
    for goal in &missed {
        eprintln!("GOAL MISSED: {goal}");
    }
    Ok(ExitCode::from(u8::from(!missed.is_empty())))
}
