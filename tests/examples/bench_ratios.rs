//! Measures core's nodal solve beside other solvers and prints `docs/speed.md`.

use std::path::{Path, PathBuf};
use std::process::ExitCode;

use clap::Parser;
use loomproof_tests::commit::checked_out;
use loomproof_tests::ratios::document::{Found, measured, others};
use loomproof_tests::ratios::growth::{PLOT, plot};
use loomproof_tests::ratios::systems::Systems;
use loomproof_tests::skip::require;

/// Times all drive patterns of generated harnesses by core, by ngspice and by
/// the linear algebra library, in one run; the exit status is 1 where a goal is
/// missed. Needs ngspice, without which that row says so.
#[derive(Debug, Parser)]
struct Args {
    /// Writes the page to this file, and the plot beside it.
    #[arg(long, value_name = "FILE")]
    write: Option<PathBuf>,
    /// How often everything is timed; the median counts.
    #[arg(long, default_value_t = 7)]
    rounds: usize,
    /// Sizes, in test points.
    #[arg(long, value_delimiter = ',', default_value = "16,32,64,96,128")]
    points: Vec<u16>,
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
    let ngspice = require("ngspice");
    let mut found = Found {
        timed: Vec::new(),
        others: others(args.rounds)?,
        rounds: args.rounds,
    };
    for points in &args.points {
        let timed = measured(
            &Systems::drawn(1, *points)?,
            args.rounds,
            ngspice.as_deref(),
        )?;
        eprintln!("{} points: {:?}", timed.points, timed.slower);
        found.timed.push(timed);
    }
    let page = found.page(&args.commit.clone().unwrap_or_else(checked_out));
    match &args.write {
        Some(path) => {
            let write = |path: &Path, text: &str| {
                std::fs::write(path, text).map_err(|error| format!("{}: {error}", path.display()))
            };
            write(path, &page)?;
            write(&path.with_file_name(PLOT), &plot(&page)?)?;
        }
        None => print!("{page}"),
    }
    let missed = found.missed();
    for goal in &missed {
        eprintln!("GOAL MISSED: {goal}");
    }
    Ok(ExitCode::from(u8::from(!missed.is_empty())))
}
