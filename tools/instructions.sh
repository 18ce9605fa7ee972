#!/usr/bin/env bash
# Counts the instructions of four pieces of core's work by valgrind's callgrind
# and compares them with core/examples/instructions/kept.toml: more than 5 % beyond the kept
# count is a failure. `tools/instructions.sh --write` keeps the counts of now.
set -euo pipefail
cd "$(dirname "$0")/.."
kept=core/examples/instructions/kept.toml
compiler=$("${RUSTC:-rustc}" --version)
cargo build --release --locked --quiet -p loomproof-core --example instructions
program=${CARGO_TARGET_DIR:-target}/release/examples/instructions
folder=$(mktemp -d)
trap 'rm -rf "$folder"' EXIT
now="$folder/now.toml"
{
    echo "# Instructions of core/examples/instructions, counted by callgrind."
    echo "# Written by tools/instructions.sh --write; counts of another compiler are not compared."
    echo "compiler = \"$compiler\""
} > "$now"
for work in solve bands decode judge; do
    valgrind --tool=callgrind --callgrind-out-file="$folder/out" --collect-atstart=no \
        --toggle-collect="*counted_$work*" "$program" "$work" > "$folder/found" 2> "$folder/said" || {
        cat "$folder/said" >&2
        exit 1
    }
    count=$(sed -n 's/.*Collected : \([0-9]*\).*/\1/p' "$folder/said")
    # A function that was inlined or renamed would count as nothing.
    [ "${count:-0}" -gt 10000 ] || { echo "$work: $count instructions cannot be right" >&2; exit 1; }
    echo "$work = $count  # $(cat "$folder/found")" >> "$now"
done
if [ "${1:-}" = --write ]; then
    cp "$now" "$kept"
    cat "$kept"
    exit 0
fi
value() { sed -n "s/^$2 = \"\{0,1\}\([^\"#]*[^\"# ]\).*/\1/p" "$1"; }
failed=0
if [ "$(value "$kept" compiler)" != "$compiler" ]; then
    echo "kept counts are of another compiler ($(value "$kept" compiler)); these are of $compiler:"
    cat "$now"
    exit 0
fi
for work in solve bands decode judge; do
    was=$(value "$kept" "$work")
    is=$(value "$now" "$work")
    change=$(awk -v was="$was" -v is="$is" 'BEGIN { printf "%+.2f", (is / was - 1) * 100 }')
    echo "$work: $is instructions, $change % beside $was"
    if awk -v c="$change" 'BEGIN { exit !(c > 5) }'; then
        echo "  more than 5 % slower: make it faster, or keep it with tools/instructions.sh --write and say why" >&2
        failed=1
    elif awk -v c="$change" 'BEGIN { exit !(c < -5) }'; then
        echo "  more than 5 % faster: keep it with tools/instructions.sh --write"
    fi
done
exit "$failed"
