//! A result that the probe keeps until it is collected: what was read, in the
//! order of the variant's scan.

use crate::check::CRC;
use crate::units::MicroVolts;
use crate::wire::Reading;

/// First bytes of a kept result.
const MAGIC: [u8; 4] = *b"LMPR";

/// Version of its layout.
const FORMAT: u16 = 1;

/// Bytes of its head.
pub const KEPT_HEAD: usize = 64;

/// Where its readings begin: on a page of their own, because the head is written
/// last, when all of them are kept.
pub const READINGS_AT: u32 = 256;

/// The most readings that one result holds.
pub const MAX_READINGS: u16 = 1_984;

/// What the probe said of a run by itself.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Verdict {
    /// All as planned.
    Pass,
    /// Something is off.
    Faults,
    /// Nothing is off, and something did not settle.
    Undecided,
}

/// The head of a kept result.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Kept {
    /// Rising with every run.
    pub number: u32,
    /// What the probe said.
    pub verdict: Verdict,
    /// The variant that was rung out.
    pub variant: u16,
    /// How many readings there are.
    pub readings: u16,
    /// Check sum of the image that it was rung out by.
    pub image: u32,
    /// Check sum of the readings.
    pub check: u32,
    /// SHA-256 of the plan file.
    pub digest: [u8; 32],
}

impl Kept {
    /// As it is kept.
    #[must_use]
    pub fn bytes(&self) -> [u8; KEPT_HEAD] {
        let mut bytes = [0xFF; KEPT_HEAD];
        let verdict = match self.verdict {
            Verdict::Pass => 0,
            Verdict::Faults => 1,
            Verdict::Undecided => 2,
        };
        let head = MAGIC
            .into_iter()
            .chain(FORMAT.to_le_bytes())
            .chain([verdict, 0])
            .chain(self.number.to_le_bytes())
            .chain(self.variant.to_le_bytes())
            .chain(self.readings.to_le_bytes())
            .chain(self.image.to_le_bytes())
            .chain(self.check.to_le_bytes())
            .chain(self.digest);
        let mut digest = CRC.digest();
        let mut places = bytes.iter_mut();
        // In this order: the other one would lose a place at the end.
        for (byte, place) in head.zip(places.by_ref()) {
            *place = byte;
            digest.update(&[byte]);
        }
        let sum = digest.finalize().to_le_bytes();
        for (place, byte) in bytes.iter_mut().skip(KEPT_HEAD - 8).zip(sum) {
            *place = byte;
        }
        bytes
    }

    /// What was kept; `None` where nothing whole is.
    #[must_use]
    pub fn of(bytes: &[u8; KEPT_HEAD]) -> Option<Self> {
        let (head, sum) = bytes.split_at_checked(KEPT_HEAD - 8)?;
        if CRC.checksum(head).to_le_bytes() != *sum.first_chunk::<4>()? {
            return None;
        }
        let word = |at: usize| Some(u32::from_le_bytes(*head.get(at..)?.first_chunk()?));
        let half = |at: usize| Some(u16::from_le_bytes(*head.get(at..)?.first_chunk()?));
        if *head.first_chunk::<4>()? != MAGIC || half(4)? != FORMAT {
            return None;
        }
        let kept = Self {
            number: word(8)?,
            verdict: match head.get(6)? {
                0 => Verdict::Pass,
                1 => Verdict::Faults,
                2 => Verdict::Undecided,
                _ => return None,
            },
            variant: half(12)?,
            readings: half(14)?,
            image: word(16)?,
            check: word(20)?,
            digest: *head.get(24..)?.first_chunk()?,
        };
        (kept.readings <= MAX_READINGS).then_some(kept)
    }

    /// Bytes of the whole result.
    #[must_use]
    pub fn length(&self) -> u32 {
        READINGS_AT + 4 * u32::from(self.readings)
    }
}

/// A reading as it is kept: its sort in the lowest two bits, microvolts above.
#[must_use]
pub fn word_of(reading: Reading) -> [u8; 4] {
    // Readings lie within the converter's 3.3 V: nothing is cut off.
    let word = match reading {
        Reading::Volts(MicroVolts(value)) => value << 2,
        Reading::NotSettled(MicroVolts(value)) => value << 2 | 1,
        Reading::Above => 2,
        Reading::Below => 3,
    };
    word.to_le_bytes()
}

/// The reading that was kept so.
#[must_use]
pub fn reading_of(word: [u8; 4]) -> Reading {
    let word = i32::from_le_bytes(word);
    match word & 3 {
        0 => Reading::Volts(MicroVolts(word >> 2)),
        1 => Reading::NotSettled(MicroVolts(word >> 2)),
        2 => Reading::Above,
        _ => Reading::Below,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_result_comes_back_as_it_was_kept_and_no_altered_one_does() {
        let kept = Kept {
            number: 7,
            verdict: Verdict::Faults,
            variant: 3,
            readings: 211,
            image: 0x0102_0304,
            check: 5,
            digest: [0xA5; 32],
        };
        let bytes = kept.bytes();
        assert_eq!(Kept::of(&bytes), Some(kept));
        assert_eq!(Kept::of(&[0xFF; KEPT_HEAD]), None);
        // Behind the check sum nothing is said.
        for at in 0..KEPT_HEAD - 4 {
            for bit in 0..8 {
                let mut altered = bytes;
                altered[at] ^= 1 << bit;
                assert_eq!(Kept::of(&altered), None, "byte {at}");
            }
        }
        for reading in [
            Reading::Volts(MicroVolts(3_300_000)),
            Reading::Volts(MicroVolts(-1)),
            Reading::NotSettled(MicroVolts(-3_300_000)),
            Reading::Above,
            Reading::Below,
        ] {
            assert_eq!(reading_of(word_of(reading)), reading);
        }
    }
}
