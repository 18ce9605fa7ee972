#!/bin/sh
# What may be linked, for every workspace here: licences, bans and sources by deny.toml.
# Needs cargo-deny (`cargo install cargo-deny --locked`). With an argument it looks for
# that too, as in `tools/deny.sh advisories`, which needs the network.
set -eu
cd "$(dirname "$0")/.."
command -v cargo-deny >/dev/null || cargo install cargo-deny --locked
for manifest in Cargo.toml fuzz/Cargo.toml firmware/boards/*/Cargo.toml; do
    echo "--- $manifest"
    cargo deny --manifest-path "$manifest" --config "$PWD/deny.toml" --all-features \
        --log-level error check licenses bans sources "$@"
done
