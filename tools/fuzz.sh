#!/bin/sh
# Runs every fuzz target for some seconds each, as many at a time as there are
# processors: tools/fuzz.sh [SECONDS] [TARGET...].
# Needs a nightly toolchain and cargo-fuzz (`cargo install cargo-fuzz --locked`).
# Without a sanitizer: no crate of ours has a line of unsafe code.
set -eu
cd "$(dirname "$0")/.."
seconds=${1:-30}
[ $# = 0 ] || shift
command -v cargo-fuzz >/dev/null || cargo install cargo-fuzz --locked
if [ $# = 0 ]; then
    # All at once, so that no processor waits for one target's link.
    cargo +nightly fuzz build --sanitizer none
    set -- $(basename -s .rs fuzz/fuzz_targets/*.rs)
else
    for target in "$@"; do
        cargo +nightly fuzz build --sanitizer none "$target"
    done
fi

# What the run finds out goes to a scratch corpus; the committed one stays as it is.
run='
    mkdir -p "target/fuzz-corpus/$2"
    if cargo +nightly fuzz run --sanitizer none "$2" \
        "target/fuzz-corpus/$2" "fuzz/corpus/$2" -- \
        -max_total_time="$1" -timeout=10 -rss_limit_mb=2048 -print_final_stats=1 \
        >"target/fuzz-corpus/$2.log" 2>&1
    then
        shown=$(grep -e "^Done" -e "^stat::number_of_executed_units" "target/fuzz-corpus/$2.log")
        printf "%s\n%s\n" "--- $2" "$shown"
    else
        cat "target/fuzz-corpus/$2.log"
        printf "%s\n" "--- $2 failed"
        exit 1
    fi
'
printf '%s\n' "$@" | xargs -P "$(nproc)" -I TARGET sh -c "$run" fuzz "$seconds" TARGET
