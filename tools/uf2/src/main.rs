//! `loomproof-uf2 ELF IMAGE`: writes the drag-and-drop image of a board.
#![forbid(unsafe_code)]

use std::path::Path;
use std::process::ExitCode;

fn main() -> ExitCode {
    let arguments: Vec<_> = std::env::args_os().skip(1).collect();
    let [elf, image] = arguments.as_slice() else {
        eprintln!("usage: loomproof-uf2 ELF IMAGE");
        return ExitCode::from(2);
    };
    match convert(Path::new(elf), Path::new(image)) {
        Ok(()) => ExitCode::SUCCESS,
        Err(why) => {
            eprintln!("{}: {why}", Path::new(elf).display());
            ExitCode::FAILURE
        }
    }
}

fn convert(elf: &Path, image: &Path) -> Result<(), Box<dyn std::error::Error>> {
    let elf = std::fs::read(elf)?;
    std::fs::write(image, loomproof_uf2::image(&elf)?)?;
    Ok(())
}
