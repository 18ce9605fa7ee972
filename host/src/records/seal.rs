//! The seal on a record: its bytes, and their SHA-256.

use std::fmt;
use std::io::{Read as _, Write as _};

use flate2::Compression;
use flate2::read::ZlibDecoder;
use flate2::write::ZlibEncoder;
use serde_json::Value;
use sha2::{Digest as _, Sha256};

use super::record::{FORMAT, Record, RecordError};

/// The largest record that is read, bytes.
const MOST_BYTES: u64 = 64 << 20;

/// A SHA-256.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Digest([u8; 32]);

impl Digest {
    /// What stands before the first link of a chain.
    pub const START: Self = Self([0; 32]);

    /// The digest of some bytes.
    #[must_use]
    pub fn of(bytes: &[u8]) -> Self {
        Self(Sha256::digest(bytes).into())
    }

    /// The link of a record to the one before: the SHA-256 of both as bytes.
    #[must_use]
    pub fn link(before: Self, record: Self) -> Self {
        let mut hash = Sha256::new();
        hash.update(before.0);
        hash.update(record.0);
        Self(hash.finalize().into())
    }

    /// Reads 64 hexadecimal digits.
    #[must_use]
    pub fn parse(text: &str) -> Option<Self> {
        let digits = text.as_bytes();
        if digits.len() != 64 {
            return None;
        }
        let mut bytes = [0; 32];
        for (byte, pair) in bytes.iter_mut().zip(digits.chunks(2)) {
            let digit = |at: usize| char::from(*pair.get(at)?).to_digit(16);
            *byte = u8::try_from(digit(0)? * 16 + digit(1)?).ok()?;
        }
        Some(Self(bytes))
    }

    /// The first digits, enough to tell records of one shop apart.
    #[must_use]
    pub fn short(self) -> String {
        self.to_string().chars().take(12).collect()
    }
}

impl fmt::Display for Digest {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.iter().try_for_each(|byte| write!(f, "{byte:02x}"))
    }
}

/// A record with its bytes and their digest.
#[derive(Debug, Clone, PartialEq)]
pub struct Sealed {
    /// The record.
    pub record: Record,
    /// SHA-256 of its bytes: what the record is.
    pub digest: Digest,
    bytes: Vec<u8>,
}

impl Sealed {
    /// Seals a record.
    ///
    /// # Errors
    /// A sentence where it cannot be written as JSON.
    pub fn new(record: Record) -> Result<Self, String> {
        let bytes = serde_json::to_vec(&record).map_err(|error| error.to_string())?;
        Ok(Self {
            digest: Digest::of(&bytes),
            record,
            bytes,
        })
    }

    /// Reads a record from its bytes and checks them against their seal.
    ///
    /// # Errors
    /// [`RecordError`].
    pub fn open(bytes: Vec<u8>, wanted: Digest) -> Result<Self, RecordError> {
        let digest = Digest::of(&bytes);
        if digest != wanted {
            return Err(RecordError::Altered {
                found: digest,
                wanted,
            });
        }
        let layout = |bytes: &[u8]| -> Option<u32> {
            let value: Value = serde_json::from_slice(bytes).ok()?;
            u32::try_from(value.get("format")?.as_u64()?).ok()
        };
        let record: Record = match serde_json::from_slice(&bytes) {
            Ok(record) => record,
            Err(error) => {
                return Err(match layout(&bytes) {
                    Some(format) if format > FORMAT => RecordError::Format(format),
                    _ => RecordError::Unreadable(error.to_string()),
                });
            }
        };
        if record.format != record.test.format() {
            return Err(RecordError::Format(record.format));
        }
        record.at()?;
        record.subject.check().map_err(RecordError::Unreadable)?;
        Ok(Self {
            record,
            digest,
            bytes,
        })
    }

    /// The bytes that are sealed: one line of JSON.
    #[must_use]
    pub fn bytes(&self) -> &[u8] {
        &self.bytes
    }

    /// The bytes, packed (zlib) for the store.
    ///
    /// # Errors
    /// A sentence; only where there is no memory.
    pub fn packed(&self) -> Result<Vec<u8>, String> {
        let mut packer = ZlibEncoder::new(Vec::new(), Compression::default());
        packer
            .write_all(&self.bytes)
            .and_then(|()| packer.finish())
            .map_err(|error| error.to_string())
    }

    /// Unpacks and opens.
    ///
    /// # Errors
    /// [`RecordError`].
    pub fn unpack(packed: &[u8], wanted: Digest) -> Result<Self, RecordError> {
        let mut bytes = Vec::new();
        let mut decoder = ZlibDecoder::new(packed);
        let unreadable = |error: std::io::Error| RecordError::Unreadable(error.to_string());
        let mut limited = (&mut decoder).take(MOST_BYTES + 1);
        limited.read_to_end(&mut bytes).map_err(unreadable)?;
        if bytes.len() as u64 > MOST_BYTES {
            return Err(RecordError::Unreadable("it is longer than any".to_owned()));
        }
        // What is packed is wholly the record's, to the last byte.
        let used = usize::try_from(decoder.total_in()).unwrap_or(usize::MAX);
        if used != packed.len() {
            return Err(RecordError::Unreadable(
                "there is something behind it".to_owned(),
            ));
        }
        Self::open(bytes, wanted)
    }
}
