//! The linked firmware: whether anything in core and the probe application
//! can panic, how much RAM the application takes with its stack, and what goes
//! onto the RP2040.

use addr2line::Loader;
use crc::{CRC_32_MPEG_2, Crc};
use loomproof::bench::VirtualFlash;
use loomproof_firmware::memory::Flash;
use loomproof_firmware::sectors::SECTOR;
use loomproof_tests::skip;
use loomproof_tests::thumb::{Program, first_store};
use loomproof_uf2 as uf2;
use object::{Object, ObjectSection, ObjectSymbol};
use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};

const HOW: &str = "build it with tools/build-boards.sh";
const APPLICATION: &str =
    "firmware/boards/application/target/thumbv6m-none-eabi/release/loomproof-application";
const ALONE: &str =
    "firmware/boards/application/target/thumbv6m-none-eabi/release/loomproof-application-alone";
const RP2040: &str = "firmware/boards/rp2040/target/thumbv6m-none-eabi/release/loomproof-rp2040";

/// RAM that the application may take, statics and stack, and flash.
const MOST_RAM: u64 = 8 * 1024;
const MOST_FLASH: u64 = 32 * 1024;
/// The same with a memory and a panel, to ring out without a computer: the flash's
/// records and the compiled plan are read on the stack.
const MOST_RAM_ALONE: u64 = 9 * 1024 + 256;
const MOST_FLASH_ALONE: u64 = 51 * 1024;

/// First address of RAM on a Cortex-M (ARMv6-M Architecture Reference Manual,
/// system address map).
const RAM: u64 = 0x2000_0000;

fn read(elf: &Path) -> Vec<u8> {
    std::fs::read(elf).expect("the ELF file can be read")
}

/// Whether a function is there to panic, by its name.
fn panics(name: &str) -> bool {
    name.contains("panicking")
}

/// What has a call of a panicking function in it: the innermost function that
/// is not the core library's, with the number of such calls.
fn panicking_paths(elf: &Path) -> BTreeMap<String, usize> {
    let program = Program::read(&read(elf)).expect("an ELF file");
    let loader = Loader::new(elf).expect("debug information");
    let names = |at: u32| {
        let mut names = Vec::new();
        let mut frames = loader.find_frames(u64::from(at)).expect("frames");
        while let Ok(Some(frame)) = frames.next() {
            let function = frame.function.expect("a function");
            names.push(function.demangle().expect("a name").into_owned());
        }
        names
    };
    let of_core = |name: &String| {
        let name = name.trim_start_matches(['<', '&']);
        // Also of a slice or an array: `<[u8; 5] as core::ops::index::IndexMut<…>>`.
        name.starts_with("core::") || name.starts_with("[u8") && name.contains("] as core::")
    };
    // Functions of the core library that call a panicking one are panicking too.
    let mut panicking: BTreeSet<u32> = BTreeSet::new();
    loop {
        let more: Vec<u32> = program
            .functions
            .iter()
            .filter(|(at, function)| {
                let calls = || function.calls.iter().any(|c| panicking.contains(&c.to));
                !panicking.contains(at)
                    && (panics(&function.name) || calls() && names(**at).iter().all(of_core))
            })
            .map(|(at, _)| *at)
            .collect();
        if more.is_empty() {
            break;
        }
        panicking.extend(more);
    }
    let mut found = BTreeMap::new();
    for (start, function) in &program.functions {
        if panicking.contains(start) {
            continue;
        }
        for call in function.calls.iter().filter(|c| panicking.contains(&c.to)) {
            let names = names(call.at);
            let who = names.iter().find(|name| !of_core(name));
            let who = who.cloned().unwrap_or_else(|| function.name.clone());
            *found.entry(who).or_insert(0) += 1;
        }
    }
    found
}

/// What may be left: a check of an index that the compiler does not see to hold
/// always. postcard writes a number of at most 32 bits in groups of seven into
/// a buffer of five places (`every_number_fits_where_postcard_puts_it`); it
/// stands in the library's function or, inlined, in the derived serializers,
/// which have no index of their own.
fn cannot_fail(name: &str) -> bool {
    name.starts_with("postcard::varint::varint_")
        || name.starts_with("<loomproof_core::wire::")
            && name.contains(" as serde_core::ser::Serialize>::serialize::<")
}

#[test]
fn nothing_in_core_and_the_application_panics() {
    for application in [APPLICATION, ALONE] {
        let Some(elf) = skip::require_file(application, HOW) else {
            return;
        };
        let found = panicking_paths(&elf);
        println!("panicking paths linked with {application}: {found:?}");
        let ours: Vec<_> = found.keys().filter(|name| !cannot_fail(name)).collect();
        assert!(ours.is_empty(), "these can panic: {ours:#?}");
    }
}

#[test]
fn every_number_fits_where_postcard_puts_it() {
    for bits in 0..=32 {
        for value in [(1_u64 << bits) - 1, 1 << bits] {
            let value = value.min(u64::from(u32::MAX)) as u32;
            let mut room = [0; 5];
            let coded = postcard::to_slice(&value, &mut room).expect("five places");
            assert_eq!(coded.len(), (bits_of(value)).div_ceil(7).max(1) as usize);
        }
    }
}

fn bits_of(value: u32) -> u32 {
    u32::BITS - value.leading_zeros()
}

/// The board's own code may panic at its start, and USB's libraries can: the
/// way of looking has to find that.
#[test]
fn a_panicking_path_is_found_where_there_is_one() {
    let Some(elf) = skip::require_file(RP2040, HOW) else {
        return;
    };
    let found = panicking_paths(&elf);
    println!("panicking paths linked with the RP2040 board: {found:#?}");
    let of = |what: &str| found.keys().any(|name| name.contains(what));
    assert!(of("loomproof_rp2040::"), "`expect` of the board's start");
    assert!(of("usb_device::") || of("usbd_serial::") || of("rp2040_hal::"));
    // The application within the board panics no more than alone.
    let ours = |name: &&String| {
        ["loomproof_core::", "loomproof_firmware::"]
            .iter()
            .any(|part| name.trim_start_matches('<').starts_with(part))
            && !cannot_fail(name)
    };
    let ours: Vec<_> = found.keys().filter(ours).collect();
    assert!(ours.is_empty(), "these can panic: {ours:#?}");
}

#[test]
fn the_application_fits_with_its_stack() {
    fits(APPLICATION, MOST_FLASH, MOST_RAM);
    fits(ALONE, MOST_FLASH_ALONE, MOST_RAM_ALONE);
}

fn fits(application: &str, most_flash: u64, most_ram: u64) {
    let Some(elf) = skip::require_file(application, HOW) else {
        return;
    };
    let bytes = read(&elf);
    let (flash, statics) = weigh(&bytes);
    let program = Program::read(&bytes).expect("an ELF file");
    let file = object::File::parse(&*bytes).expect("an ELF file");
    let reset = file.symbol_by_name("Reset").expect("the first function");
    let (stack, way) = program
        .deepest(reset.address() as u32 & !1)
        .expect("no call through a register and none of itself");
    let way: Vec<_> = way
        .iter()
        .map(|at| {
            let function = &program.functions[at];
            format!("{:5} {}", function.frame, function.name)
        })
        .collect();
    println!(
        "{application}: flash {flash} of {most_flash}, RAM {} of {most_ram} bytes: \
         statics {statics}, stack {stack}, by way of\n{}",
        statics + u64::from(stack),
        way.join("\n")
    );
    // The frames of `Reset`, `main` and what it calls are on the way.
    assert!(way.len() > 3 && stack > 500);
    assert!(flash <= most_flash);
    assert!(statics + u64::from(stack) <= most_ram);
}

/// Bytes of flash and of RAM, as tools/build-boards.sh counts them.
fn weigh(elf: &[u8]) -> (u64, u64) {
    let file = object::read::elf::ElfFile32::<object::Endianness>::parse(elf).expect("ELF");
    let (mut flash, mut ram) = (0, 0);
    for section in file.sections() {
        let header = section.elf_section_header();
        let endian = file.endian();
        if header.sh_flags.get(endian) & object::elf::SHF_ALLOC == 0 {
            continue;
        }
        if header.sh_type.get(endian) != object::elf::SHT_NOBITS {
            flash += section.size();
        }
        if section.address() >= RAM {
            ram += section.size();
        }
    }
    (flash, ram)
}

/// The first thing that a panic and a fault do: HOLD, GPIO 11, goes low.
#[test]
fn a_failing_board_lets_go_before_anything_else() {
    let Some(elf) = skip::require_file(RP2040, HOW) else {
        return;
    };
    let elf = read(&elf);
    let program = Program::read(&elf).expect("an ELF file");
    let named = |end: &str| {
        let mut found = program
            .functions
            .iter()
            .filter(|(_, f)| f.name.ends_with(end));
        found.next().map(|(at, _)| *at)
    };
    // The handler stands by itself, or within the only function that calls it.
    let panic = named("rust_begin_unwind").or_else(|| named("9panic_fmt"));
    // Output bits to clear: SIO_BASE 0xD0000000 + 0x018 (RP2040 datasheet,
    // 2.3.1.7, GPIO_OUT_CLR).
    let hold_low = Some((0xD000_0018, 1 << 11));
    for at in [panic, named("_HardFault")] {
        let first = first_store(&elf, at.expect("a handler")).expect("an ELF file");
        assert_eq!(first, hold_low);
    }
    // Another function stores something else, or nothing.
    let other = named("USBCTRL_IRQ")
        .or_else(|| named("main"))
        .expect("a function");
    assert_ne!(first_store(&elf, other).expect("an ELF file"), hold_low);
}

fn image() -> Option<(PathBuf, Vec<u8>)> {
    let elf = skip::require_file(RP2040, HOW)?;
    let image = skip::require_file(&format!("{RP2040}.uf2"), HOW)?;
    Some((elf, read(&image)))
}

fn word(block: &[u8], number: usize) -> u32 {
    u32::from_le_bytes(block[4 * number..][..4].try_into().expect("four bytes"))
}

#[test]
fn the_image_is_made_of_sound_blocks() {
    let Some((_, image)) = image() else { return };
    assert_eq!(image.len() % 512, 0);
    let count = image.len() / 512;
    assert!(count > 100, "{count} blocks");
    for (number, block) in image.chunks_exact(512).enumerate() {
        // Magics, "family present", address, payload, number, count, family.
        assert_eq!([word(block, 0), word(block, 1)], [0x0A32_4655, 0x9E5D_5157]);
        assert_eq!(word(block, 127), 0x0AB1_6F30);
        assert_eq!(word(block, 2), 0x2000);
        assert_eq!(word(block, 3) as usize, 0x1000_0000 + 256 * number);
        assert_eq!(word(block, 4), 256);
        assert_eq!(
            [word(block, 5), word(block, 6)],
            [number as u32, count as u32]
        );
        assert_eq!(word(block, 7), 0xE48B_FF56);
        assert!(block[32 + 256..508].iter().all(|byte| *byte == 0));
    }
    // Whole sectors of 4 KiB.
    assert_eq!(count % 16, 0);
}

#[test]
fn another_reader_finds_the_sections_of_the_elf_file_in_the_image() {
    let Some((elf, image)) = image() else { return };
    let (flash, families) = uf2_decode::convert_from_uf2(&image).expect("a UF2 file");
    let family: Vec<_> = families
        .into_iter()
        .map(|(id, at)| (u64::from(id), at))
        .collect();
    assert_eq!(family, [(u64::from(uf2::RP2040), 0x1000_0000)]);
    let elf = read(&elf);
    let file = object::read::elf::ElfFile32::<object::Endianness>::parse(&*elf).expect("ELF");
    let mut unsaid = vec![true; flash.len()];
    let mut seen = 0;
    for section in file.sections() {
        let header = section.elf_section_header();
        if header.sh_flags.get(file.endian()) & object::elf::SHF_ALLOC == 0
            || header.sh_type.get(file.endian()) == object::elf::SHT_NOBITS
            || section.size() == 0
        {
            continue;
        }
        // Initialised data are loaded from behind the constants.
        let at = if section.address() >= RAM {
            file.symbol_by_name("__sidata")
                .expect("its load address")
                .address()
        } else {
            section.address()
        };
        let at = usize::try_from(at - 0x1000_0000).expect("in the flash");
        let data = section.data().expect("data");
        assert_eq!(&flash[at..at + data.len()], data, "{:?}", section.name());
        unsaid[at..at + data.len()].fill(false);
        seen += data.len();
    }
    assert_eq!(seen as u64, weigh(&elf).0);
    let rest = flash.iter().zip(&unsaid).filter(|(_, unsaid)| **unsaid);
    assert!(rest.map(|(byte, _)| *byte).all(|byte| byte == 0));
}

/// What the boot ROM and the processor look for in the flash.
#[test]
fn the_image_starts() {
    let Some((elf, image)) = image() else { return };
    let (flash, _) = uf2_decode::convert_from_uf2(&image).expect("a UF2 file");
    // RP2040 datasheet, 2.8.1.3.1 "Checksum": CRC-32, polynomial 0x04C11DB7,
    // initial value 0xFFFFFFFF, not reflected, over the first 252 bytes (from
    // memory; CRC-32/MPEG-2 of the catalogue of the crc crate).
    let boot2 = &flash[..256];
    let check = Crc::<u32>::new(&CRC_32_MPEG_2).checksum(&boot2[..252]);
    assert_eq!(word(boot2, 63), check, "second stage of the boot");
    // Vector table: initial stack pointer, reset.
    let elf = read(&elf);
    let file = object::File::parse(&*elf).expect("ELF");
    let symbol = |name: &str| file.symbol_by_name(name).expect(name).address();
    let stack = u64::from(word(&flash[256..], 0));
    assert_eq!(stack, symbol("_stack_start"));
    assert_eq!(u64::from(word(&flash[256..], 1)) & !1, symbol("Reset") & !1);
    // The stack grows down to where RAM begins; nothing else lies there.
    assert_eq!(symbol("_stack_end"), RAM);
    for section in file
        .sections()
        .filter(|s| s.address() >= RAM && s.size() > 0)
    {
        assert!(
            section.address() >= stack,
            "{:?} under the stack",
            section.name()
        );
    }
}

/// Clips, plan and results lie where no program is linked and no image is dragged, on
/// whole sectors; what writes there runs from RAM, because the flash cannot be read then.
#[test]
fn what_the_probe_keeps_lies_outside_the_program() {
    let Some((elf, image)) = image() else { return };
    let elf = read(&elf);
    let file = object::File::parse(&*elf).expect("ELF");
    let symbol = |name: &str| file.symbol_by_name(name).expect(name).address();
    let (start, end) = (symbol("_kept_start"), symbol("_kept_end"));
    assert!(end - start >= u64::from(Flash::<VirtualFlash>::BYTES));
    assert!(start.is_multiple_of(SECTOR as u64) && end.is_multiple_of(SECTOR as u64));
    // A Pico-class board has 2 MB.
    assert!(start > 0x1000_0000 && end <= 0x1020_0000);
    let (flash, _) = uf2_decode::convert_from_uf2(&image).expect("a UF2 file");
    assert!(0x1000_0000 + flash.len() as u64 <= start);
    let ends = file
        .sections()
        .filter(|s| s.address() < RAM && s.size() > 0);
    assert!(ends.map(|s| s.address() + s.size()).all(|end| end <= start));
    // The linker's jump to it has its name as well.
    let named = |name: &str| name.ends_with("write_flash_inner") && !name.contains("Thunk");
    let mut writers = file.symbols().filter(|s| s.name().is_ok_and(named));
    let writer = writers.next().expect("the function that writes");
    assert!(writer.address() >= RAM, "{:#x}", writer.address());
}

#[test]
fn files_that_are_no_firmware_are_refused() {
    assert!(matches!(uf2::image(b"no ELF"), Err(uf2::Uf2Error::Elf(_))));
    let Some(elf) = skip::require_file(APPLICATION, HOW) else {
        return;
    };
    // This one is linked to address 0.
    let refused = uf2::image(&read(&elf));
    assert!(matches!(
        refused,
        Err(uf2::Uf2Error::Outside { address: 0, .. })
    ));
}
