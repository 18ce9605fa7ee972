//! Instructions of the compiled firmware, counted in QEMU.
#![cfg(unix)]

use loomproof_tests::figures::drawn;
use loomproof_tests::firmware_instructions::counted;
use loomproof_tests::qemu::{COUNTS_ELF, installed};

#[test]
fn the_same_scan_takes_the_same_instructions_and_each_reading_its_share() {
    let Some((qemu, elf)) = installed(COUNTS_ELF) else {
        return;
    };
    let drawn = drawn(16).unwrap();
    let once = counted(&qemu, &elf, 16, &drawn).unwrap();
    let again = counted(&qemu, &elf, 16, &drawn).unwrap();
    assert_eq!(once.steps.len(), again.steps.len());
    assert!(once.steps.len() > 10, "{once:?}");
    for (step, again) in once.steps.iter().zip(&again.steps) {
        assert_eq!((step.readings, step.micros), (again.readings, again.micros));
        // The emulated timer starts anew now and then, and may lose some ticks then.
        let apart = step.instructions.abs_diff(again.instructions);
        assert!(apart * 1_000 <= step.instructions, "{step:?} {again:?}");
        // Fewer than a frame's bytes would not be the work; many more would keep
        // the chips waiting (docs/firmware-instructions.md).
        assert!(
            (1_000..200_000).contains(&step.instructions),
            "{step:?} of {once:?}"
        );
    }
}
