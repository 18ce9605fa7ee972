//! Writes the page of what loomproof is held against and did not compute itself.

use std::path::PathBuf;
use std::process::ExitCode;

use clap::Parser;
use loomproof_tests::outside::page::page;

/// Compares every value from outside with ours and prints the page; the exit
/// status is 1 where a check is missed.
#[derive(Debug, Parser)]
struct Args {
    /// Writes the page to this file.
    #[arg(long, value_name = "FILE")]
    write: Option<PathBuf>,
}

fn main() -> ExitCode {
    let page = page();
    match Args::parse().write {
        Some(path) => {
            if let Err(error) = std::fs::write(&path, &page) {
                eprintln!("{}: {error}", path.display());
                return ExitCode::from(2);
            }
        }
        None => print!("{page}"),
    }
    ExitCode::from(u8::from(page.contains("**missed**")))
}
