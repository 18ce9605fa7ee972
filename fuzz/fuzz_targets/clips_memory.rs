//! Any bytes as the probe's memory, and a supply that fails at any byte of the
//! next write: nothing or clips, the old ones or the new ones, and then it can
//! be written again.
#![no_main]

use libfuzzer_sys::fuzz_target;
use loomproof::bench::VirtualFlash;
use loomproof_core::wire::{ClipOhms, LeadId, Nulls};
use loomproof_firmware::memory::{Clips, Flash, Memory};

/// Bytes of one erase block.
const BLOCK: usize = 4_096;

/// Whether a block became this record by having its first bytes erased. By chance that
/// is one in 2³²; the fuzzer solves check sums.
fn forged(image: &[u8], erased: usize, found: Option<Clips>) -> bool {
    let load = |bytes: &[u8]| Flash::new(VirtualFlash::holding(bytes), 0).load();
    image.chunks(BLOCK).any(|block| {
        let mut torn = block.to_vec();
        torn[..erased.min(block.len())].fill(0xFF);
        found.is_some() && load(&torn) == found && load(block) != found
    })
}

fuzz_target!(|input: &[u8]| {
    let Some(([a, b, c, d], image)) = input.split_first_chunk() else {
        return;
    };
    let (cut, tenths) = (u16::from_le_bytes([*a, *b]), u16::from_le_bytes([*c, *d]));
    let flash = VirtualFlash::holding(image);
    let mut memory = Flash::new(flash.clone(), 0);
    let before = memory.load();
    let mut new = before.unwrap_or_default();
    new.take(&Nulls {
        first: LeadId(3),
        clips: [ClipOhms(tenths)].into_iter().collect(),
    });
    flash.power_fails_after(Some(usize::from(cut)));
    let stored = memory.store(&new).is_ok();
    flash.power_fails_after(None);
    let mut after = Flash::new(flash.clone(), 0);
    let found = after.load();
    if stored {
        assert_eq!(found, Some(new));
    } else {
        let kept = found == before || found == Some(new);
        assert!(kept || forged(image, usize::from(cut), found), "{found:?}");
    }
    assert!(after.store(&new).is_ok());
    assert_eq!(after.load(), Some(new));
    let other = Clips::default();
    assert!(after.store(&other).is_ok());
    assert_eq!(Flash::new(flash, 0).load(), Some(other));
});
