#!/bin/sh
# Builds the firmware of every board, prints the sizes, and fails when one is
# over its budget (firmware/boards/budget.toml).
#
# The ordinary way needs `rustup target add` for the board's target. Where that
# target is missing, Debian's compiler builds the core library along:
# `apt-get install rustc-web cargo-web rust-web-src lld`.
set -eu

top=$(cd "$(dirname "$0")/.." && pwd)
boards=${*:-emulated}
failed=0

budget() { # BOARD KEY
    awk -v board="[$1]" -v key="$2" '
        $0 == board { inside = 1; next }
        /^\[/ { inside = 0 }
        inside && $1 == key { print $3; exit }
    ' "$top/firmware/boards/budget.toml"
}

build() { # FOLDER
    cd "$1"
    target=$(sed -n 's/^target = "\(.*\)"/\1/p' .cargo/config.toml)
    library=$(rustc --print target-libdir --target "$target" 2>/dev/null || true)
    if [ -n "$library" ] && ls "$library"/libcore-*.rlib >/dev/null 2>&1; then
        cargo build --release --locked
        return
    fi
    if [ -x /usr/bin/rustc ] && [ -x /usr/bin/cargo ] && command -v ld.lld >/dev/null &&
        [ -d "$(/usr/bin/rustc --print sysroot)/lib/rustlib/src/rust/library" ]; then
        echo "$target is not installed; building its core library with $(/usr/bin/rustc --version)" >&2
        linker=CARGO_TARGET_$(echo "$target" | tr a-z- A-Z_)_LINKER
        env RUSTC_BOOTSTRAP=1 RUSTC=/usr/bin/rustc CARGO_UNSTABLE_BUILD_STD=core \
            "$linker=ld.lld" \
            /usr/bin/cargo build --release --locked
        return
    fi
    echo "the compiler has no $target: run \`rustup target add $target\`," >&2
    echo "or on Debian \`apt-get install rustc-web cargo-web rust-web-src lld\`" >&2
    exit 1
}

for board in $boards; do
    folder=$top/firmware/boards/$board
    (build "$folder")
    target=$(sed -n 's/^target = "\(.*\)"/\1/p' "$folder/.cargo/config.toml")
    elf=${CARGO_TARGET_DIR:-$folder/target}/$target/release/loomproof-$board
    # shellcheck disable=SC2046 # three numbers, on purpose
    set -- $(size "$elf" | awk 'NR == 2 { print $1, $2, $3 }')
    flash=$(($1 + $2))
    ram=$(($2 + $3))
    most_flash=$(budget "$board" flash)
    most_ram=$(budget "$board" ram)
    echo "$board: text $1, data $2, bss $3 bytes: flash $flash of $most_flash, ram $ram of $most_ram"
    if [ "$flash" -gt "${most_flash:?no flash budget for $board}" ] ||
        [ "$ram" -gt "${most_ram:?no ram budget for $board}" ]; then
        echo "$board is over its budget in firmware/boards/budget.toml" >&2
        failed=1
    fi
done
exit $failed
