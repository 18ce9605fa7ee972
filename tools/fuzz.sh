#!/bin/sh
# Runs every fuzz target for some seconds each: tools/fuzz.sh [SECONDS].
# Needs a nightly toolchain and cargo-fuzz (`cargo install cargo-fuzz --locked`).
set -eu
cd "$(dirname "$0")/.."
seconds=${1:-30}
command -v cargo-fuzz >/dev/null || cargo install cargo-fuzz --locked
for file in fuzz/fuzz_targets/*.rs; do
    target=$(basename "$file" .rs)
    # What the run finds out goes to a scratch corpus; the committed one stays as it is.
    mkdir -p "target/fuzz-corpus/$target"
    cargo +nightly fuzz run "$target" "target/fuzz-corpus/$target" "fuzz/corpus/$target" -- \
        -max_total_time="$seconds" -print_final_stats=1
done
