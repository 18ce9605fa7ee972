#!/usr/bin/env bash
# Which changes of core's judge, scan and solve no unit test of core notices, by
# cargo-mutants (`cargo install cargo-mutants`):
#
#   tools/mutants.sh [arguments of cargo-mutants, as --shard 0/4 or --file FILE]
#   tools/mutants.sh --write
#
# The first tries the changes, all or some of them (shares may run at the same time);
# the second makes docs/mutants.md of all that was found so far, with the reasons in
# tools/mutants.toml. What is tried is in .cargo/mutants.toml.
set -euo pipefail
cd "$(dirname "$0")/.."
found=target/mutants
if [ "${1:-}" = --write ]; then
    some=$(ls -d "$found"/*/alone | head -n 1)
    cargo mutants --dir "$some" --list --json > "$found/list.json"
    python3 tools/mutants.py "$found/list.json" "$found"/*/mutants.out/outcomes.json > "$found/page.md"
    cp "$found/page.md" docs/mutants.md
    exit 0
fi
name=all
[ $# = 0 ] || name=some-$(printf '%s' "$*" | cksum | cut -d ' ' -f 1)
# Core in a workspace of its own: nothing else is resolved or built. It is changed in place.
alone=$found/$name/alone
mkdir -p "$alone"
rm -rf "$alone/core" "$alone/.cargo" "$found/$name/mutants.out"
cp -r core .cargo Cargo.lock "$alone"
# The tests of frames take longer to build than what they would catch here is worth.
rm -r "$alone/core/tests"
sed -e 's/^members = .*/members = ["core"]/' -e '/^exclude = /d' -e '/^default-members = /d' \
    -e '/^loomproof/d' Cargo.toml > "$alone/Cargo.toml"
echo "$(git rev-parse --short=12 HEAD)$(git diff --quiet HEAD -- core || echo ' with changes')" \
    > "$found/$name/commit"
# Seconds go to building and milliseconds to testing.
export CARGO_INCREMENTAL=1 CARGO_PROFILE_DEV_OPT_LEVEL=0 CARGO_PROFILE_DEV_DEBUG=0
(cd "$alone" && cargo test --quiet --lib --no-run)
status=0
cargo mutants --dir "$alone" --in-place --output "$found/$name" --no-shuffle --colors never \
    "$@" || status=$?
# 2: some survive; 3: some ran out of time. Anything else is a failure of the run.
case $status in 0 | 2 | 3) ;; *) exit "$status" ;; esac
