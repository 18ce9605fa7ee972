//! Prints what scans cost, or writes the page.

use std::path::PathBuf;
use std::process::ExitCode;

use clap::Parser;
use loomproof_tests::figures::{PLOT, figures, page};
use loomproof_tests::spread::{measured, plot};

/// Counts time and bytes of whole scans for probes of 16, 64 and 128 leads, and
/// measures resistances with many probes.
#[derive(Debug, Parser)]
struct Args {
    /// Writes the page to this file, and the plot beside it.
    #[arg(long, value_name = "FILE")]
    write: Option<PathBuf>,
}

fn main() -> ExitCode {
    let args = Args::parse();
    match run(&args) {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            eprintln!("{error}");
            ExitCode::from(2)
        }
    }
}

fn run(args: &Args) -> Result<(), String> {
    let resistances = measured()?;
    let page = page(&figures()?, &resistances);
    let Some(file) = &args.write else {
        print!("{page}");
        return Ok(());
    };
    let write = |path: &std::path::Path, text: &str| {
        std::fs::write(path, text).map_err(|error| format!("{}: {error}", path.display()))
    };
    write(file, &page)?;
    write(&file.with_file_name(PLOT), &plot(&resistances))
}
