//! COBS, and the CRC in front of it, as a postcard flavour that cannot panic.
//!
//! Consistent overhead byte stuffing: S. Cheshire and M. Baker, "Consistent
//! Overhead Byte Stuffing", IEEE/ACM Transactions on Networking 7 (1999),
//! section II (from memory). The tests below hold both directions
//! against the `cobs` crate. That crate, and postcard's flavour on it, index in a
//! way that the compiler cannot see to be in bounds, so that a panic would be
//! linked into the probe; this is the only reason for this file.

use crc::Digest;
use postcard::ser_flavors::Flavor;
use postcard::{Error, Result};

/// Code of a block of 254 bytes without a zero behind it.
const FULL: u8 = 0xFF;

/// Writes a CRC-32 behind what is serialized, stuffs all of it and ends it
/// with a zero byte.
pub(super) struct Stuffed<'b> {
    out: &'b mut [u8],
    /// Where the next byte goes.
    at: usize,
    /// Where the code of the open block goes.
    code_at: usize,
    code: u8,
    digest: Digest<'static, u32>,
}

impl<'b> Stuffed<'b> {
    pub(super) const fn new(out: &'b mut [u8], digest: Digest<'static, u32>) -> Self {
        Self {
            out,
            at: 1,
            code_at: 0,
            code: 1,
            digest,
        }
    }

    fn put(&mut self, at: usize, byte: u8) -> Result<()> {
        *self.out.get_mut(at).ok_or(Error::SerializeBufferFull)? = byte;
        Ok(())
    }

    fn close_block(&mut self) -> Result<()> {
        self.put(self.code_at, self.code)?;
        self.code_at = self.at;
        self.at = self.at.saturating_add(1);
        self.code = 1;
        Ok(())
    }

    fn stuff(&mut self, byte: u8) -> Result<()> {
        if byte != 0 {
            self.put(self.at, byte)?;
            self.at = self.at.saturating_add(1);
            self.code = self.code.saturating_add(1);
        }
        if byte == 0 || self.code == FULL {
            self.close_block()?;
        }
        Ok(())
    }
}

impl<'b> Flavor for Stuffed<'b> {
    type Output = &'b [u8];

    fn try_push(&mut self, data: u8) -> Result<()> {
        self.digest.update(&[data]);
        self.stuff(data)
    }

    fn finalize(mut self) -> Result<&'b [u8]> {
        let check = self.digest.clone().finalize();
        for byte in check.to_le_bytes() {
            self.stuff(byte)?;
        }
        self.put(self.code_at, self.code)?;
        self.put(self.at, 0)?;
        self.out.get(..=self.at).ok_or(Error::SerializeBufferFull)
    }
}

/// Takes the stuffing out of a frame, zero byte not counted, in place. `None`
/// if it is no COBS sequence.
pub(super) fn unstuff(coded: &mut [u8]) -> Option<&[u8]> {
    if coded.is_empty() {
        return None;
    }
    let mut from = 0_usize;
    let mut to = 0_usize;
    while from < coded.len() {
        let code = *coded.get(from)?;
        let end = from.checked_add(usize::from(code))?;
        if code == 0 || end > coded.len() {
            return None;
        }
        for source in from.saturating_add(1)..end {
            let byte = *coded.get(source)?;
            *coded.get_mut(to)? = byte;
            to = to.saturating_add(1);
        }
        if code != FULL && end < coded.len() {
            *coded.get_mut(to)? = 0;
            to = to.saturating_add(1);
        }
        from = end;
    }
    coded.get(..to)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crc::{CRC_32_ISO_HDLC, Crc};
    use postcard::ser_flavors::{Cobs, Slice, crc::CrcModifier};
    use proptest::prelude::*;
    use std::vec::Vec;

    static CRC: Crc<u32> = Crc::<u32>::new(&CRC_32_ISO_HDLC);

    /// The same by postcard's flavours on the `cobs` crate.
    fn by_crates(bytes: &[u8]) -> Vec<u8> {
        let mut room = vec![0; 2 * bytes.len() + 16];
        let cobs = Cobs::try_new(Slice::new(&mut room)).unwrap();
        let mut flavour = CrcModifier::new(cobs, CRC.digest());
        flavour.try_extend(bytes).unwrap();
        flavour.finalize().unwrap().to_vec()
    }

    fn by_us<'b>(bytes: &[u8], room: &'b mut [u8]) -> Result<&'b [u8]> {
        let mut stuffed = Stuffed::new(room, CRC.digest());
        stuffed.try_extend(bytes)?;
        stuffed.finalize()
    }

    /// Bytes with zeros at all distances, long runs of other bytes among them.
    fn bytes() -> impl Strategy<Value = Vec<u8>> {
        let run = prop_oneof![0..4_usize, 250..260_usize, 505..512_usize];
        prop::collection::vec((any::<u8>(), run), 0..6).prop_map(|runs| {
            let one = |(byte, length): (u8, usize)| vec![byte; length].into_iter().chain([0]);
            let mut bytes: Vec<u8> = runs.into_iter().flat_map(one).collect();
            // Ends in a zero or in a run.
            if bytes.len().is_multiple_of(2) {
                bytes.pop();
            }
            bytes
        })
    }

    proptest! {
        #[test]
        fn stuffing_is_as_the_crates_have_it(bytes in bytes()) {
            let theirs = by_crates(&bytes);
            let mut room = vec![0xA5; theirs.len()];
            prop_assert_eq!(by_us(&bytes, &mut room).unwrap(), &theirs[..]);
            for short in 0..theirs.len() {
                prop_assert_eq!(
                    by_us(&bytes, &mut room[..short]),
                    Err(Error::SerializeBufferFull)
                );
            }
        }

        #[test]
        fn unstuffing_is_as_the_crate_has_it(
            coded in prop_oneof![
                prop::collection::vec(1..=u8::MAX, 0..700),
                prop::collection::vec(1..=4_u8, 0..40),
                bytes().prop_map(|bytes| { let mut coded = by_crates(&bytes); coded.pop(); coded }),
            ],
        ) {
            let mut copy = coded.clone();
            let length = cobs::decode_in_place(&mut copy).ok();
            let theirs = length.map(|length| copy[..length].to_vec());
            let mut ours = coded.clone();
            prop_assert_eq!(unstuff(&mut ours).map(<[u8]>::to_vec), theirs);
        }
    }
}
