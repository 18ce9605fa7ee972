//! Looks through a linked Thumb program (ARMv6-M): who calls whom, and how
//! much stack each takes.
//!
//! Encodings: ARMv6-M Architecture Reference Manual, A5.2 and A6.7 (from
//! memory; `tests/boards.rs` sees a program whose calls are known). Whatever
//! moves the stack pointer down in a function is added up, also what is moved
//! up again in between, so a frame is never taken for smaller than it is.

use object::{Object, ObjectSection, ObjectSymbol, SymbolKind};
use std::collections::BTreeMap;

/// A call, or a jump to the start of another function.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Call {
    /// Address of the instruction.
    pub at: u32,
    /// Address of the function called.
    pub to: u32,
}

/// One function of the program.
#[derive(Debug, Clone, Default)]
pub struct Function {
    /// Its name as in the symbol table.
    pub name: String,
    /// Stack that it takes itself, in bytes.
    pub frame: u32,
    /// What it calls by name.
    pub calls: Vec<Call>,
    /// Calls through a register, which can go anywhere.
    pub indirect: usize,
}

/// The functions of a program by address.
#[derive(Debug, Default)]
pub struct Program {
    /// Address to function.
    pub functions: BTreeMap<u32, Function>,
}

impl Program {
    /// Reads an ELF file.
    ///
    /// # Errors
    /// Why it is none.
    pub fn read(elf: &[u8]) -> Result<Self, object::Error> {
        let file = object::File::parse(elf)?;
        let words = words(&file)?;
        // Where code ($t) and constants ($d) begin.
        let mut kinds = BTreeMap::new();
        let mut functions = BTreeMap::new();
        for symbol in file.symbols() {
            let name = symbol.name().unwrap_or_default();
            let address = symbol.address() as u32 & !1;
            match name.get(..2) {
                Some("$t") => drop(kinds.insert(address, true)),
                Some("$d") => drop(kinds.insert(address, false)),
                _ if symbol.kind() == SymbolKind::Text => {
                    functions.insert(address, (name.to_owned(), symbol.size() as u32));
                }
                _ => {}
            }
        }
        let code = |address: u32| kinds.range(..=address).next_back().is_none_or(|(_, t)| *t);
        let starts: Vec<u32> = functions.keys().copied().collect();
        let functions = functions
            .into_iter()
            .map(|(start, (name, size))| {
                // Assembly says no size: up to the next function then.
                let next = starts.iter().find(|other| **other > start);
                let room = next.map_or(2, |next| next - start);
                let size = if size == 0 { room } else { size };
                let mut function = Function {
                    name,
                    ..Function::default()
                };
                function.read(start, size, &words, &code, &starts);
                (start, function)
            })
            .collect();
        Ok(Self { functions })
    }

    /// The most stack that a call of this function takes, and the way there.
    ///
    /// # Errors
    /// The name of a function with which that cannot be said: it calls itself,
    /// or through a register, or is not known.
    pub fn deepest(&self, from: u32) -> Result<(u32, Vec<u32>), String> {
        self.deepest_beyond(from, &mut Vec::new())
    }

    fn deepest_beyond(&self, from: u32, way: &mut Vec<u32>) -> Result<(u32, Vec<u32>), String> {
        let function = self.functions.get(&from);
        let function = function.ok_or_else(|| format!("{from:#x}"))?;
        if function.indirect != 0 || way.contains(&from) {
            return Err(function.name.clone());
        }
        way.push(from);
        let mut worst = (0, Vec::new());
        for call in &function.calls {
            let beyond = self.deepest_beyond(call.to, way)?;
            if beyond.0 > worst.0 {
                worst = beyond;
            }
        }
        way.pop();
        worst.0 += function.frame;
        worst.1.insert(0, from);
        Ok(worst)
    }
}

impl Function {
    fn read(
        &mut self,
        start: u32,
        size: u32,
        words: &BTreeMap<u32, u16>,
        code: &dyn Fn(u32) -> bool,
        starts: &[u32],
    ) {
        let word = |at: u32| u32::from(words.get(&at).copied().unwrap_or(0));
        let mut at = start;
        // Constants that a register was last loaded with.
        let mut loaded = [0_i32; 8];
        while at < start + size {
            if !code(at) {
                at += 2;
                continue;
            }
            let one = word(at);
            if one >> 11 >= 0b11101 {
                let two = word(at + 2);
                // BL: 11110 S imm10, 11 J1 1 J2 imm11.
                if one >> 11 == 0b11110 && two >> 14 == 0b11 && two >> 12 & 1 == 1 {
                    let to = (at + 4).wrapping_add_signed(branch_and_link(one, two));
                    // Within a function it is a jump that is too far for B.
                    if to == start || !(start..start + size).contains(&to) {
                        self.calls.push(Call { at, to });
                    }
                }
                at += 4;
                continue;
            }
            match one {
                // PUSH {registers, LR}
                0xB400..=0xB5FF => self.frame += 4 * (one & 0x1FF).count_ones(),
                // SUB SP, #imm7 · 4
                0xB080..=0xB0FF => self.frame += 4 * (one & 0x7F),
                // LDR Rt, [PC, #imm8 · 4]
                0x4800..=0x4FFF => {
                    let from = ((at + 4) & !3) + 4 * (one & 0xFF);
                    let constant = word(from + 2) << 16 | word(from);
                    loaded[(one >> 8 & 7) as usize] = constant as i32;
                }
                // ADD SP, Rm, Rm one of the low eight
                0x4485 | 0x448D | 0x4495 | 0x449D | 0x44A5 | 0x44AD | 0x44B5 | 0x44BD => {
                    let down = -loaded[(one >> 3 & 7) as usize];
                    self.frame += u32::try_from(down).unwrap_or(0);
                }
                // BLX Rm
                0x4780..=0x47FF => self.indirect += 1,
                // BX Rm, Rm not LR: neither a return nor a jump within
                0x4700..=0x477F if one != 0x4770 => self.indirect += 1,
                // B: out of the function it is a call whose return is shared
                0xE000..=0xE7FF => {
                    let imm = ((one & 0x7FF) << 21) as i32 >> 20;
                    let to = (at + 4).wrapping_add_signed(imm);
                    if !(start..start + size).contains(&to) && starts.binary_search(&to).is_ok() {
                        self.calls.push(Call { at, to });
                    }
                }
                _ => {}
            }
            at += 2;
        }
    }
}

/// The code and constants of a file, by address.
fn words(file: &object::File<'_>) -> Result<BTreeMap<u32, u16>, object::Error> {
    let mut words = BTreeMap::new();
    for section in file
        .sections()
        .filter(|s| s.kind() == object::SectionKind::Text)
    {
        let start = section.address() as u32;
        for (offset, pair) in (0..).step_by(2).zip(section.data()?.chunks_exact(2)) {
            words.insert(start + offset, u16::from_le_bytes([pair[0], pair[1]]));
        }
    }
    Ok(words)
}

/// The first word that a function stores, as address and value, if it does so
/// before it calls or jumps anywhere, by constants alone.
///
/// # Errors
/// Why the file is no ELF file.
pub fn first_store(elf: &[u8], start: u32) -> Result<Option<(u32, u32)>, object::Error> {
    let words = words(&object::File::parse(elf)?)?;
    let word = |at: u32| u32::from(words.get(&at).copied().unwrap_or(0));
    let mut registers = [None; 8];
    for at in (start..).step_by(2).take(16) {
        let one = word(at);
        let register = |place: u32| (one >> place & 7) as usize;
        match one {
            // PUSH; ADD R7, SP, #imm8 · 4
            0xB400..=0xB5FF => {}
            0xAF00..=0xAFFF => registers[7] = None,
            // MOVS Rd, #imm8
            0x2000..=0x27FF => registers[register(8)] = Some(one & 0xFF),
            // LSLS Rd, Rm, #imm5
            0x0000..=0x07FF => {
                registers[register(0)] = registers[register(3)].map(|v: u32| v << (one >> 6 & 31));
            }
            // LDR Rt, [PC, #imm8 · 4]
            0x4800..=0x4FFF => {
                let from = ((at + 4) & !3) + 4 * (one & 0xFF);
                registers[register(8)] = Some(word(from + 2) << 16 | word(from));
            }
            // STR Rt, [Rn, #imm5 · 4]
            0x6000..=0x67FF => {
                let to = registers[register(3)].map(|base| base + 4 * (one >> 6 & 31));
                return Ok(to.zip(registers[register(0)]));
            }
            _ => break,
        }
    }
    Ok(None)
}

/// The distance of a BL from behind the instruction.
fn branch_and_link(one: u32, two: u32) -> i32 {
    let sign = one >> 10 & 1;
    let i1 = !(two >> 13 & 1 ^ sign) & 1;
    let i2 = !(two >> 11 & 1 ^ sign) & 1;
    let imm = sign << 24 | i1 << 23 | i2 << 22 | (one & 0x3FF) << 12 | (two & 0x7FF) << 1;
    (imm << 7) as i32 >> 7
}
