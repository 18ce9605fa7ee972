//! Prints what scans cost, or writes the page.

use std::path::PathBuf;
use std::process::ExitCode;

use clap::Parser;
use loomproof_tests::figures::{figures, page};

/// Counts time and bytes of whole scans for probes of 16, 64 and 128 leads.
#[derive(Debug, Parser)]
struct Args {
    /// Writes the page to this file.
    #[arg(long, value_name = "FILE")]
    write: Option<PathBuf>,
}

fn main() -> ExitCode {
    let args = Args::parse();
    let page = match figures() {
        Ok(all) => page(&all),
        Err(error) => {
            eprintln!("{error}");
            return ExitCode::from(2);
        }
    };
    match args.write {
        None => print!("{page}"),
        Some(file) => {
            if let Err(error) = std::fs::write(&file, page) {
                eprintln!("{}: {error}", file.display());
                return ExitCode::from(2);
            }
        }
    }
    ExitCode::SUCCESS
}
