#!/bin/sh
# Builds core and the firmware library without std for the small and the
# middling Cortex-M: thumbv6m (no compare-and-swap) and thumbv7m. Uses an
# installed rustup target, else Debian's compiler with its core sources.
set -eu
cd "$(dirname "$0")/.."
for target in thumbv6m-none-eabi thumbv7m-none-eabi; do
    library=$(rustc --print target-libdir --target "$target" 2>/dev/null || true)
    if [ -n "$library" ] && ls "$library"/libcore-*.rlib >/dev/null 2>&1; then
        cargo build --release --locked --target "$target" -p loomproof-core -p loomproof-firmware
    elif [ -x /usr/bin/rustc ] && [ -x /usr/bin/cargo ]; then
        env RUSTC_BOOTSTRAP=1 RUSTC=/usr/bin/rustc /usr/bin/cargo build -Zbuild-std=core \
            --release --locked --target "$target" --target-dir target/debian \
            -p loomproof-core -p loomproof-firmware
    else
        echo "the compiler has no $target: run \`rustup target add $target\`," >&2
        echo "or on Debian \`apt-get install rustc-web cargo-web rust-web-src\`" >&2
        exit 1
    fi
    echo "$target: core and firmware build without std"
done
