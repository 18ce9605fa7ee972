#!/bin/sh
# Builds the firmware of every board, prints the sizes, and fails when one is
# over its budget (firmware/boards/budget.toml). Beside the ELF file of a board
# that is flashed by dragging a file onto it, its image (.uf2) is written.
#
#   tools/build-boards.sh [BOARD…]
#
# The ordinary way needs `rustup target add` for the board's target. Where that
# target is missing, Debian's compiler builds the core library along:
# `apt-get install rustc-web cargo-web rust-web-src lld`.
set -eu

top=$(cd "$(dirname "$0")/.." && pwd)
boards=${*:-application emulated rp2040}
failed=0

budget() { # BOARD KEY
    awk -v board="[$1]" -v key="$2" '
        $0 == board { inside = 1; next }
        /^\[/ { inside = 0 }
        inside && $1 == key { print $3; exit }
    ' "$top/firmware/boards/budget.toml"
}

build() { # FOLDER COMMAND CARGO-OPTION…
    cd "$1"
    shift
    target=$(sed -n 's/^target = "\(.*\)"/\1/p' .cargo/config.toml)
    library=$(rustc --print target-libdir --target "$target" 2>/dev/null || true)
    if [ -n "$library" ] && ls "$library"/libcore-*.rlib >/dev/null 2>&1; then
        cargo "$@" --release --locked
        return
    fi
    if [ -x /usr/bin/rustc ] && [ -x /usr/bin/cargo ] && command -v ld.lld >/dev/null &&
        [ -d "$(/usr/bin/rustc --print sysroot)/lib/rustlib/src/rust/library" ]; then
        echo "$target is not installed; building its core library with $(/usr/bin/rustc --version)" >&2
        linker=CARGO_TARGET_$(echo "$target" | tr a-z- A-Z_)_LINKER
        env RUSTC_BOOTSTRAP=1 RUSTC=/usr/bin/rustc CARGO_UNSTABLE_BUILD_STD=core \
            "$linker=ld.lld" \
            /usr/bin/cargo "$@" --release --locked
        return
    fi
    echo "the compiler has no $target: run \`rustup target add $target\`," >&2
    echo "or on Debian \`apt-get install rustc-web cargo-web rust-web-src lld\`" >&2
    exit 1
}

# Bytes of flash and of RAM (from 0x20000000 on). `size` alone counts code
# that runs from RAM as flash only.
weigh() { # ELF
    size -A -d "$1" | awk '
        NF != 3 || $1 !~ /^\./ || $1 ~ /^\.(debug|comment|ARM|defmt)/ { next }
        $1 !~ /^\.(bss|uninit)$/ { flash += $2 }
        $3 >= 536870912 { ram += $2 }
        END { print flash + 0, ram + 0 }
    '
}

hold() { # NAME ELF
    # shellcheck disable=SC2046 # two numbers, on purpose
    set -- "$1" $(weigh "$2")
    most_flash=$(budget "$1" flash)
    most_ram=$(budget "$1" ram)
    echo "$1: flash $2 of $most_flash bytes, RAM without the stack $3 of $most_ram bytes"
    if [ "$2" -gt "${most_flash:?no flash budget for $1}" ] ||
        [ "$3" -gt "${most_ram:?no ram budget for $1}" ]; then
        echo "$1 is over its budget in firmware/boards/budget.toml" >&2
        failed=1
    fi
}

for board in $boards; do
    folder=$top/firmware/boards/$board
    (build "$folder" build)
    target=$(sed -n 's/^target = "\(.*\)"/\1/p' "$folder/.cargo/config.toml")
    elf=${CARGO_TARGET_DIR:-$folder/target}/$target/release/loomproof-$board
    hold "$board" "$elf"
    if [ "$board" = application ]; then
        hold "$board-alone" "$elf-alone"
    fi
    if [ "$board" = rp2040 ]; then
        (cd "$top" && cargo run --release --quiet --locked -p loomproof-uf2 -- "$elf" "$elf.uf2")
        echo "$board: drag $elf.uf2 onto the drive that the board shows with its button held"
        # With logging it is another program, which must build as well.
        (build "$folder" check --features log)
    fi
done
exit $failed
