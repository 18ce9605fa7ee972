//! The probe's chips, byte by byte: the MCP23S17 port expander and the ADS8866
//! converter, as `docs/probe-hardware.md` uses them.

/// IODIRA: 1 = input.
const IODIR: u8 = 0x00;
/// IPOLA: 1 = the pin reads inverted.
const IPOL: u8 = 0x02;
/// IOCON, the same register at two addresses.
const IOCON: u8 = 0x0A;
/// GPPUA: 1 = weak pull-up on an input.
const GPPU: u8 = 0x0C;
/// INTFA, INTFB, INTCAPA and INTCAPB: written by the chip alone.
const INTERRUPT_RESULTS: std::ops::RangeInclusive<u8> = 0x0E..=0x11;
/// GPIOA: reads the pins, writes the latch.
const GPIO: u8 = 0x12;
/// OLATA: the output latch.
const OLAT: u8 = 0x14;
/// Registers in the BANK = 0 layout.
const REGISTERS: usize = 0x16;
/// IOCON.SEQOP: 1 = the address does not run on.
const SEQOP: u8 = 1 << 5;
/// IOCON.HAEN: 1 = the hardware address counts.
const HAEN: u8 = 1 << 3;
/// IOCON.INTPOL: 1 = the interrupt outputs are high when active, so low at rest.
const INTPOL: u8 = 1 << 1;
/// IOCON bits that can be set here: all but BANK and the unimplemented bit 0.
const IOCON_BITS: u8 = 0x7E;

/// One MCP23S17.
///
/// Simplifications: IOCON.BANK cannot be set (it reads back 0; the probe uses
/// the BANK = 0 layout only), and there are no interrupts: their setting registers
/// keep what is written, the result registers stay 0, the interrupt pins stand at rest.
#[derive(Debug, Clone)]
pub(super) struct Expander {
    address: u8,
    registers: [u8; REGISTERS],
    /// Pins that stay low, and that stay high.
    stuck: (u16, u16),
    /// Takes and answers nothing.
    deaf: bool,
}

impl Expander {
    /// A chip after reset with this hardware address (0…7).
    pub(super) fn new(address: u8) -> Self {
        let mut chip = Self {
            address,
            registers: [0; REGISTERS],
            stuck: (0, 0),
            deaf: false,
        };
        chip.reset();
        chip
    }

    /// The same with pins that stay low and high, and, `deaf`, off the bus.
    pub(super) fn defective(self, stuck: (u16, u16), deaf: bool) -> Self {
        Self {
            stuck,
            deaf,
            ..self
        }
    }

    /// Pins that the chip holds high.
    pub(super) fn high(&self) -> u16 {
        self.outputs() & self.latch() & !self.stuck.0 | self.stuck.1
    }

    /// Pins that the chip holds low.
    pub(super) fn low(&self) -> u16 {
        self.outputs() & !self.latch() & !self.stuck.1 | self.stuck.0
    }

    /// The reset pin: all registers 0, both ports inputs.
    pub(super) fn reset(&mut self) {
        self.registers = [0; REGISTERS];
        self.registers[usize::from(IODIR)] = 0xFF;
        self.registers[usize::from(IODIR) + 1] = 0xFF;
    }

    fn pair(&self, register: u8) -> u16 {
        let low = usize::from(register);
        u16::from_le_bytes([self.registers[low], self.registers[low + 1]])
    }

    /// Pins that are outputs, port A in the low byte.
    pub(super) fn outputs(&self) -> u16 {
        !self.pair(IODIR)
    }

    /// The output latch, port A in the low byte.
    pub(super) fn latch(&self) -> u16 {
        self.pair(OLAT)
    }

    /// Pins with the weak pull-up on, port A in the low byte.
    pub(super) fn pull_ups(&self) -> u16 {
        self.pair(GPPU)
    }

    /// The interrupt pins stand low: the pulls of guarded leads are on.
    pub(super) fn interrupts_low(&self) -> bool {
        self.registers[usize::from(IOCON)] & INTPOL != 0
    }

    /// Whether the chip answers to this opcode byte (0100 A2 A1 A0 R/W). With
    /// HAEN = 0 it answers to address 0 alone.
    fn answers(&self, opcode: u8) -> bool {
        let own = if self.registers[usize::from(IOCON)] & HAEN == 0 {
            0
        } else {
            self.address
        };
        !self.deaf && opcode >> 4 == 0b0100 && (opcode >> 1 & 7) == own
    }

    fn read(&self, register: u8, levels: u16) -> u8 {
        if register & !1 != GPIO {
            return self.registers[usize::from(register)];
        }
        // Outputs read the latch, inputs the pins; IPOL inverts inputs.
        let levels = levels & !self.stuck.0 | self.stuck.1;
        let pins = (self.high() & self.outputs()) | ((levels ^ self.pair(IPOL)) & !self.outputs());
        pins.to_le_bytes()[usize::from(register & 1)]
    }

    fn write(&mut self, register: u8, value: u8) {
        match register {
            _ if register & !1 == IOCON => {
                self.registers[usize::from(IOCON)] = value & IOCON_BITS;
                self.registers[usize::from(IOCON) + 1] = value & IOCON_BITS;
            }
            _ if INTERRUPT_RESULTS.contains(&register) => {}
            _ if register & !1 == GPIO => self.registers[usize::from(register + 2)] = value,
            _ => self.registers[usize::from(register)] = value,
        }
    }

    fn next(&self, register: u8) -> u8 {
        if self.registers[usize::from(IOCON)] & SEQOP == 0 {
            (register + 1) % REGISTERS as u8
        } else {
            // BANK = 0, SEQOP = 1: the address swaps between the two ports.
            register ^ 1
        }
    }

    /// One chip-select assertion that starts with `opcode` and `register`. `levels` are
    /// the voltages at the input pins as logic levels. `data` is what follows: written
    /// to the registers, or the line, pulled low where the chip drives it so. Returns
    /// whether anything was written.
    fn transfer(&mut self, [opcode, register]: [u8; 2], levels: u16, data: &mut [u8]) -> bool {
        if !self.answers(opcode) {
            return false;
        }
        let reads = reads(opcode);
        let mut register = register % 0x20;
        for byte in data {
            if usize::from(register) >= REGISTERS {
                // There is no register there: reads give 0, writes are lost.
                if reads {
                    *byte = 0;
                }
                register = (register + 1) % 0x20;
                continue;
            }
            if reads {
                *byte &= self.read(register, levels);
            } else {
                self.write(register, *byte);
            }
            register = self.next(register);
        }
        !reads
    }
}

/// Whether a chip that is sent this opcode is read.
pub(super) fn reads(opcode: u8) -> bool {
    opcode & 1 == 1
}

/// Clocks `data` through all chips of one chip select. Where no chip drives
/// the line it is high; where several do, a 0 wins. `levels` are the input pins
/// of each chip. Returns whether a chip was written to.
pub(super) fn clock(chips: &mut [Expander], data: &mut [u8], levels: &[u16]) -> bool {
    let [opcode, register, rest @ ..] = data else {
        data.fill(0xFF);
        return false;
    };
    let head = [*opcode, *register];
    (*opcode, *register) = (0xFF, 0xFF);
    if reads(head[0]) {
        rest.fill(0xFF);
    }
    let mut written = false;
    for (place, chip) in chips.iter_mut().enumerate() {
        let levels = levels.get(place).copied().unwrap_or(0);
        written |= chip.transfer(head, levels, rest);
    }
    if !reads(head[0]) {
        rest.fill(0xFF);
    }
    written
}

/// Longest conversion time of the converter, ns (`docs/probe-hardware.md`).
pub(super) const CONVERSION_NS: u64 = 8_800;

/// The ADS8866: samples when chip select is released, converts, and shifts the
/// result out in the next transfer.
#[derive(Debug, Clone, Default)]
pub(super) struct Converter {
    /// The result that can be shifted out.
    done: u16,
    /// The conversion that is still running, and when it ends.
    running: Option<(u16, u64)>,
}

impl Converter {
    /// One chip-select assertion that starts at `now` (ns). Fills `data` with
    /// the last result, most significant bit first; after 16 bits the line is
    /// high. Returns whether the conversion was still running, in which case
    /// the bits are those of the conversion before it and the running one is lost.
    pub(super) fn transfer(&mut self, data: &mut [u8], now: u64) -> bool {
        let mut early = false;
        if let Some((code, ready)) = self.running.take() {
            early = now < ready;
            if !early {
                self.done = code;
            }
        }
        data.fill(0xFF);
        for (line, bits) in data.iter_mut().zip(self.done.to_be_bytes()) {
            *line = bits;
        }
        early
    }

    /// Chip select is released at `now` (ns) with this code at the input.
    pub(super) fn release(&mut self, code: u16, now: u64) {
        self.running = Some((code, now + CONVERSION_NS));
    }
}
