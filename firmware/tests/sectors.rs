//! The probe's memory on a flash chip: whole sectors and pages, nothing outside, and what
//! is left when the supply fails at any of the chip's actions.

use embedded_storage::nor_flash::{NorFlash as _, ReadNorFlash as _};
use loomproof_core::wire::{ClipOhms, LeadId, Nulls};
use loomproof_firmware::memory::{Area, Clips, Flash, Memory, MemoryError, SLOT};
use loomproof_firmware::sectors::{PAGE, SECTOR, Sectors, Stretch};
use proptest::prelude::*;
use std::cell::RefCell;
use std::rc::Rc;

/// Where the program lies, and behind it what is kept.
const START: u32 = 0x4000;
const CHIP: usize = 0x4000 + 0x6_4000;

/// A chip that holds to what NOR flash does: erasing makes a sector's bits 1, writing makes
/// bits 0 and never 1 again.
#[derive(Clone)]
struct Chip(Rc<RefCell<Cells>>);

struct Cells {
    bytes: Vec<u8>,
    /// Actions that the supply still lasts for. The last one stops half-way.
    lasts: Option<usize>,
    /// A cell that no longer becomes 1.
    worn: Option<usize>,
    actions: usize,
}

impl Default for Chip {
    fn default() -> Self {
        // What stands there is never empty by chance.
        let bytes = (0..CHIP).map(|at| (at % 251) as u8).collect();
        Self(Rc::new(RefCell::new(Cells {
            bytes,
            lasts: None,
            worn: None,
            actions: 0,
        })))
    }
}

impl Chip {
    fn memory(&self) -> Flash<Stretch<Self>> {
        let bytes = CHIP as u32 - START;
        Flash::new(Stretch::new(self.clone(), START, bytes), 0)
    }

    fn lasts(&self, actions: Option<usize>) {
        self.0.borrow_mut().lasts = actions;
    }

    fn change(&self, at: u32, bytes: usize, new: impl Fn(usize, u8) -> u8) {
        let mut cells = self.0.borrow_mut();
        let at = at as usize;
        assert!(at >= START as usize && at + bytes <= CHIP, "the program");
        assert!(at.is_multiple_of(bytes), "{at:#x} is none of {bytes} bytes");
        let done = match &mut cells.lasts {
            Some(0) => 0,
            Some(left) => {
                *left -= 1;
                if *left == 0 { bytes / 2 + 3 } else { bytes }
            }
            None => bytes,
        };
        let worn = cells.worn;
        for (offset, cell) in cells.bytes[at..at + done].iter_mut().enumerate() {
            *cell = new(offset, *cell);
            if worn == Some(at + offset) {
                *cell &= 0xFE;
            }
        }
        cells.actions += 1;
    }
}

impl Sectors for Chip {
    fn read(&mut self, at: u32, into: &mut [u8]) {
        let cells = self.0.borrow();
        into.copy_from_slice(&cells.bytes[at as usize..][..into.len()]);
    }

    fn erase(&mut self, at: u32) {
        self.change(at, SECTOR, |_, _| 0xFF);
    }

    fn write(&mut self, at: u32, page: &[u8; PAGE]) {
        self.change(at, PAGE, |offset, old| old & page[offset]);
    }
}

fn clips(ohms: u16) -> Clips {
    let mut clips = Clips::default();
    clips.take(&Nulls {
        first: LeadId(3),
        clips: [ClipOhms(ohms), ClipOhms(ohms + 1)].into_iter().collect(),
    });
    clips
}

#[test]
fn what_is_kept_is_there_when_the_probe_is_switched_on_again() {
    let chip = Chip::default();
    assert_eq!(chip.memory().load(), None);
    for ohms in 1..6 {
        chip.memory().store(&clips(ohms)).unwrap();
        assert_eq!(chip.memory().load(), Some(clips(ohms)));
    }
    let mut memory = chip.memory();
    for (area, at) in [(Area::Plan, 0), (Area::Results, 3 * SLOT)] {
        memory.erase(area, at, SLOT).unwrap();
        memory.write(area, at, &[1, 2, 3]).unwrap();
        memory.write(area, at + PAGE as u32, &[7; PAGE]).unwrap();
        let mut back = [0; 5];
        chip.memory().read(area, at, &mut back).unwrap();
        assert_eq!(back, [1, 2, 3, 0xFF, 0xFF]);
    }
    assert_eq!(chip.memory().load(), Some(clips(5)));
    // Nothing of the program was touched.
    let cells = chip.0.borrow();
    let program = cells.bytes.iter().take(START as usize).enumerate();
    assert!(program.clone().all(|(at, byte)| *byte == (at % 251) as u8));
}

#[test]
fn every_action_that_the_supply_may_fail_at_leaves_old_or_new_clips() {
    for before in 1..3 {
        let chip = Chip::default();
        for ohms in 1..=before {
            chip.memory().store(&clips(ohms)).unwrap();
        }
        let from = chip.0.borrow().actions;
        let kept = chip.0.borrow().bytes.clone();
        chip.memory().store(&clips(90)).unwrap();
        let actions = chip.0.borrow().actions - from;
        assert!(actions >= 2, "an erasure and pages");
        for lasts in 0..=actions {
            chip.0.borrow_mut().bytes.clone_from(&kept);
            chip.lasts(Some(lasts));
            let stored = chip.memory().store(&clips(90));
            chip.lasts(None);
            let there = chip.memory().load();
            match stored {
                Ok(()) => assert_eq!(there, Some(clips(90)), "{lasts}"),
                Err(MemoryError) => assert_eq!(there, Some(clips(before)), "{lasts}"),
            }
            // The record ends before the middle of its last page.
            assert_eq!(stored.is_ok(), lasts >= actions, "{lasts}");
            chip.memory().store(&clips(91)).unwrap();
            assert_eq!(chip.memory().load(), Some(clips(91)));
        }
    }
}

#[test]
fn a_page_is_not_written_over_and_a_worn_sector_is_said_so() {
    let chip = Chip::default();
    let mut memory = chip.memory();
    memory.erase(Area::Plan, 0, SLOT).unwrap();
    memory.write(Area::Plan, 0, &[0x0F; 8]).unwrap();
    // 0xF0 cannot come back without erasing.
    assert_eq!(memory.write(Area::Plan, 0, &[0xF0; 8]), Err(MemoryError));
    chip.0.borrow_mut().worn = Some(START as usize + 2 * SECTOR + 4097);
    assert_eq!(memory.erase(Area::Plan, 0, SLOT), Err(MemoryError));
    assert_eq!(memory.erase(Area::Plan, 0, 4096), Ok(()));
}

#[test]
fn a_stretch_that_is_cut_anywhere_is_of_whole_sectors() {
    let whole = |start, bytes| {
        let stretch = Stretch::new(Chip::default(), start, bytes);
        stretch.capacity()
    };
    assert_eq!(whole(START, 3 * SECTOR as u32), 3 * SECTOR);
    assert_eq!(whole(START + 1, 3 * SECTOR as u32), 2 * SECTOR);
    assert_eq!(whole(START + 1, SECTOR as u32), 0);
    assert_eq!(whole(START, 17), 0);
    // Too small for plan and results: there is no room for either.
    let small = Stretch::new(Chip::default(), START, 3 * SECTOR as u32);
    assert_eq!(Flash::new(small, 0).room(Area::Plan), 0);
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    /// The chip asserts that it is never asked for less or elsewhere than it can do.
    #[test]
    fn nothing_that_is_asked_reaches_the_program(
        asked in prop::collection::vec((0..3u8, 0..0x7_0000u32, 0..0x3000u32), 1..20),
        start in START..START + 9000,
        bytes in 0..0x5_0000u32,
    ) {
        let mut stretch = Stretch::new(Chip::default(), start, bytes);
        let data = [0x55; 0x3000];
        for (what, at, length) in asked {
            // Half of them are where they should be.
            let at = if at % 2 == 0 { at % 0x4000 / PAGE as u32 * PAGE as u32 } else { at };
            let capacity = stretch.capacity();
            let inside = (at + length) as usize <= capacity;
            let ok = match what {
                0 => stretch.erase(at, at + length).is_ok(),
                1 => stretch.write(at, &data[..length as usize]).is_ok(),
                _ => stretch.read(at, &mut [0; 0x3000][..length as usize]).is_ok(),
            };
            prop_assert!(inside || !ok);
        }
    }
}
