//! The `loomproof` command.
#![forbid(unsafe_code)]

fn main() -> std::process::ExitCode {
    loomproof::commands::main()
}
