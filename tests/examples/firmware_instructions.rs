//! Counts the firmware's instructions and prints `docs/firmware-instructions.md`.

#[cfg(unix)]
mod counting {
    use std::path::PathBuf;

    use clap::Parser;
    use loomproof_tests::commit::checked_out;
    use loomproof_tests::firmware_instructions::{all, page};
    use loomproof_tests::qemu::{COUNTS_ELF, installed};

    /// Counts the instructions that the probe's firmware takes for a step of a scan,
    /// in QEMU.
    #[derive(Debug, Parser)]
    struct Args {
        /// Writes the page to this file.
        #[arg(long, value_name = "FILE")]
        write: Option<PathBuf>,
    }

    pub fn run() -> Result<(), String> {
        let args = Args::parse();
        let (qemu, elf) = installed(COUNTS_ELF).ok_or("nothing was counted")?;
        let page = page(&all(&qemu, &elf)?, &checked_out());
        match &args.write {
            Some(path) => {
                std::fs::write(path, page).map_err(|error| format!("{}: {error}", path.display()))
            }
            None => {
                print!("{page}");
                Ok(())
            }
        }
    }
}

#[cfg(unix)]
fn main() -> std::process::ExitCode {
    match counting::run() {
        Ok(()) => std::process::ExitCode::SUCCESS,
        Err(error) => {
            eprintln!("{error}");
            std::process::ExitCode::from(2)
        }
    }
}

#[cfg(not(unix))]
fn main() {
    eprintln!("the emulated board runs on Unix only");
}
