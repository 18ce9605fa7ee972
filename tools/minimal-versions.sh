#!/bin/sh
# Builds the workspace with the lowest versions of its direct dependencies that
# Cargo.toml allows: tools/minimal-versions.sh [cargo check's arguments...].
# In a copy, so that Cargo.lock stays as it is.
set -eu
cd "$(dirname "$0")/.."
copy=target/minimal-versions
mkdir -p "$copy"
# Only what is in the repository, and what was changed since.
git ls-files --cached --others --exclude-standard -z | tar --null -T - -cf - | tar -xf - -C "$copy"
cd "$copy"
# An unstable flag; nothing of what is built needs it.
RUSTC_BOOTSTRAP=1 cargo update -Z direct-minimal-versions
[ $# -gt 0 ] || set -- --workspace --all-targets
CARGO_TARGET_DIR="$PWD/target" cargo check --locked "$@"
