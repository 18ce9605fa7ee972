//! The build script of every board: puts the board's `memory.x` where the linker
//! looks for it, and names the build.
use std::path::PathBuf;
use std::process::Command;
use std::{env, fs};

fn main() {
    let out = PathBuf::from(env::var_os("OUT_DIR").expect("cargo sets OUT_DIR"));
    fs::copy("memory.x", out.join("memory.x")).expect("memory.x can be copied");
    println!("cargo:rustc-link-search={}", out.display());
    println!("cargo:rerun-if-changed=memory.x");
    if env::var_os("CARGO_FEATURE_LOG").is_some() {
        println!("cargo:rustc-link-arg=-Tdefmt.x");
    }

    let commit = Command::new("git")
        .args(["describe", "--always", "--dirty", "--abbrev=10"])
        .output()
        .ok()
        .filter(|output| output.status.success())
        .and_then(|output| String::from_utf8(output.stdout).ok());
    let commit = commit.as_deref().map_or("no-commit", str::trim);
    println!("cargo:rustc-env=LOOMPROOF_COMMIT={commit}");
    println!("cargo:rerun-if-changed=../../../.git/HEAD");
}
