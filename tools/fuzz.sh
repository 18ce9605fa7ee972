#!/bin/sh
# Runs every fuzz target for some seconds each: tools/fuzz.sh [SECONDS] [TARGET...].
# Needs a nightly toolchain and cargo-fuzz (`cargo install cargo-fuzz --locked`).
# Without a sanitizer: no crate of ours has a line of unsafe code.
set -eu
cd "$(dirname "$0")/.."
seconds=${1:-30}
[ $# = 0 ] || shift
command -v cargo-fuzz >/dev/null || cargo install cargo-fuzz --locked
[ $# -gt 0 ] || set -- $(basename -s .rs fuzz/fuzz_targets/*.rs)
for target in "$@"; do
    echo "--- $target"
    # What the run finds out goes to a scratch corpus; the committed one stays as it is.
    mkdir -p "target/fuzz-corpus/$target"
    cargo +nightly fuzz run --sanitizer none "$target" \
        "target/fuzz-corpus/$target" "fuzz/corpus/$target" -- \
        -max_total_time="$seconds" -timeout=10 -rss_limit_mb=2048 -print_final_stats=1
done
