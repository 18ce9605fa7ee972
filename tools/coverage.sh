#!/usr/bin/env bash
# Which lines and regions of core and host their own tests run through, the built
# command among them, counted by LLVM: tools/coverage.sh [--write] [--core] [FILTER...]
#
# --write keeps it as docs/coverage.md. --core looks at core's alone, which takes a
# twentieth of the time; FILTERs are names of tests, for a part that is not kept.
# Needs llvm-profdata and llvm-cov of the compiler's own LLVM: rustup's
# component llvm-tools, or Debian's llvm-NN. Only crates of the workspace are
# built anew; their dependencies are not counted.
set -euo pipefail
cd "$(dirname "$0")/.."
write=0
[ "${1:-}" != --write ] || { write=1; shift; }
# Every file or folder there is a test of its own; the crate `tests` takes far longer.
tests=(--test frames)
for test in host/tests/*; do
    name=$(basename "$test" .rs)
    tests+=(--test "$name")
done
packages=(--workspace)
[ "${1:-}" != --core ] || { packages=(-p loomproof-core) tests=(--test frames); shift; }
commit=$(git rev-parse --short=12 HEAD)$(git diff --quiet HEAD -- core host || echo " with changes")
rustc=${RUSTC:-rustc}
version=$("$rustc" -vV | sed -n 's/^LLVM version: \([0-9]*\).*/\1/p')
host=$("$rustc" -vV | sed -n 's/^host: //p')
for tools in "$("$rustc" --print sysroot)/lib/rustlib/$host/bin" "/usr/lib/llvm-$version/bin"; do
    [ ! -x "$tools/llvm-cov" ] || break
done
[ -x "$tools/llvm-cov" ] || {
    echo "no llvm-cov for LLVM $version: rustup component add llvm-tools, or apt-get install llvm-$version" >&2
    exit 1
}
folder=$(mktemp -d)
trap 'rm -rf "$folder"' EXIT
# The compiler of the workspace's crates alone; always at the same place, so that
# a second run finds what the first built.
mkdir -p target/coverage
printf '#!/bin/sh\nexec "$@" -C instrument-coverage\n' > target/coverage/counting
chmod +x target/coverage/counting
export RUSTC_WORKSPACE_WRAPPER="$PWD/target/coverage/counting"
# Build scripts and macros of the workspace, if any, leave nothing behind.
LLVM_PROFILE_FILE="$folder/build-%p.ignored" cargo test "${packages[@]}" --locked --lib "${tests[@]}" \
    --no-run --message-format=json-render-diagnostics > "$folder/built.json"
# What lies on the way of a few drawn cases lies on the way of many.
export PROPTEST_CASES=${PROPTEST_CASES:-16}
programs=()
while read -r kind package program; do
    programs+=("$program")
    # The command itself is run by its tests.
    [ "$kind" = test ] || continue
    (cd "$package" && LLVM_PROFILE_FILE="$folder/%p-%2m.profraw" "$program" -q "$@") >&2
done < <(python3 - "$folder/built.json" <<'PICK'
import json, os, sys
for line in open(sys.argv[1]):
    built = json.loads(line)
    package = os.path.dirname(built.get("manifest_path", ""))
    if built.get("executable") and os.path.basename(package) in ("core", "host"):
        print("test" if built["profile"]["test"] else "command", package, built["executable"])
PICK
)
[ "${#programs[@]}" -ge 2 ] || { echo "only ${#programs[@]} programs of tests" >&2; exit 1; }
"$tools/llvm-profdata" merge -sparse "$folder"/*.profraw -o "$folder/all.profdata"
objects=("${programs[0]}")
for program in "${programs[@]:1}"; do objects+=(-object "$program"); done
"$tools/llvm-cov" export -summary-only -instr-profile "$folder/all.profdata" "${objects[@]}" \
    > "$folder/coverage.json"
python3 tools/coverage.py "$folder/coverage.json" "$commit" "${packages[*]}" "$@" > "$folder/page.md"
cat "$folder/page.md"
if [ "$write" = 1 ]; then
    [ $# = 0 ] || { echo "a part is not kept" >&2; exit 1; }
    cp "$folder/page.md" docs/coverage.md
fi
