//! The expanders, at the level of their registers.

pub(super) const DIRECTION: usize = 0x00;
pub(super) const CONTROL: usize = 0x0A;
pub(super) const PINS: usize = 0x12;
pub(super) const LATCH: usize = 0x14;

/// One MCP23S17.
#[derive(Debug, Clone)]
pub struct Chip {
    pub(super) registers: [u8; 22],
    /// Off the bus: takes nothing, answers nothing.
    pub deaf: bool,
}

impl Chip {
    pub(super) fn new() -> Self {
        let mut registers = [0; 22];
        registers[..2].fill(0xFF);
        Self {
            registers,
            deaf: false,
        }
    }

    pub(super) fn word(&self, at: usize) -> u16 {
        u16::from_le_bytes([self.registers[at], self.registers[at + 1]])
    }

    pub(super) fn outputs(&self) -> u16 {
        !self.word(DIRECTION)
    }

    pub(super) fn write(&mut self, mut at: usize, bytes: &[u8]) {
        for byte in bytes {
            if at >= self.registers.len() {
                return;
            }
            self.registers[at] = *byte;
            if at == CONTROL || at == CONTROL + 1 {
                self.registers[CONTROL] = *byte;
                self.registers[CONTROL + 1] = *byte;
            }
            at += 1;
        }
    }

    pub(super) fn answers_to(&self, own: usize, called: usize) -> bool {
        let address = if self.registers[CONTROL] & 8 != 0 {
            own
        } else {
            0
        };
        !self.deaf && called == address
    }
}
