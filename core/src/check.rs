//! The one check sum for everything that is sent or kept.

use crc::{CRC_32_ISO_HDLC, Crc};

/// CRC-32/ISO-HDLC: polynomial 0x04C11DB7 reflected, start and final XOR
/// 0xFFFFFFFF, check value 0xCBF43926 for "123456789". One, because its table
/// is a kilobyte of the probe's flash.
pub static CRC: Crc<u32> = Crc::<u32>::new(&CRC_32_ISO_HDLC);
