//! A plan as the probe carries it: every variant, ready to be rung out and
//! judged without a computer.
//!
//! The host compiles it (`host/src/alone`), the probe keeps it in its flash and
//! reads it piece by piece: nothing here allocates, and every byte is bounded.
//! `docs/plan-image.md` says the layout in words. [`Head::open`] looks through all of it
//! once; what a torn or altered image says is then known before any of it is used.

mod head;
mod kept;
mod read;
mod step;

pub use head::{Clipped, Head, Spot};
pub use kept::{KEPT_HEAD, Kept, MAX_READINGS, READINGS_AT, Verdict, reading_of, word_of};
pub use step::Judged;

/// Version of the layout.
pub const FORMAT: u16 = 1;

/// First bytes of an image.
pub const MAGIC: [u8; 4] = *b"LMPI";

/// The largest image, bytes.
pub const MAX_IMAGE: u32 = 256 * 1024;

/// The most variants of one image.
pub const MAX_VARIANTS: usize = 256;

/// The most options of a plan.
pub const MAX_OPTIONS: u16 = 32;

/// Columns that a point's name may take: a lead's own, `P128 `, stands before it.
pub const NAME: usize = 15;

/// Bytes of the head.
pub const HEAD: u32 = 112;

/// Columns of the probe's display; what it shows of a plan is cut to them before.
pub const COLUMNS: usize = 20;

/// Characters of the title and of a question: two lines of the display.
pub const LONG: usize = 2 * COLUMNS;

/// Answer to an option that is not asked in a variant.
pub const NOT_ASKED: u8 = u8::MAX;

/// Bytes of one option, choice, variant, point, clip, pick and place of a step.
pub(crate) const OPTION: u32 = LONG as u32 + 4;
pub(crate) const CHOICE: u32 = COLUMNS as u32;
pub(crate) const VARIANT: u32 = 12;
pub(crate) const POINT: u32 = 3 * COLUMNS as u32;
pub(crate) const CLIP: u32 = 4;
pub(crate) const PICK: u32 = 2;
pub(crate) const PLACE_OF_STEP: u32 = 4;

/// Where an image lies.
pub trait Store {
    /// Reads from so many bytes behind its start.
    ///
    /// # Errors
    /// [`Unreadable`] where the memory gives nothing, or is not so long.
    fn read(&mut self, at: u32, into: &mut [u8]) -> Result<(), Unreadable>;
}

/// The memory does not give what it should.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Unreadable;

impl Store for &[u8] {
    fn read(&mut self, at: u32, into: &mut [u8]) -> Result<(), Unreadable> {
        let start = usize::try_from(at).map_err(|_| Unreadable)?;
        let end = start.checked_add(into.len()).ok_or(Unreadable)?;
        let bytes = self.get(start..end).ok_or(Unreadable)?;
        into.copy_from_slice(bytes);
        Ok(())
    }
}

/// Why there is no image that could be used.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
#[non_exhaustive]
pub enum ImageError {
    /// The memory gives nothing.
    Unreadable,
    /// Nothing was ever loaded.
    Nothing,
    /// Something else lies there, or the beginning of a load that was broken off.
    NotAnImage,
    /// An image of another version of the layout.
    Format(u16),
    /// It says that it is longer than any image, or shorter than its head.
    Length,
    /// The check sum differs: torn or altered.
    Check,
    /// A number in it points nowhere, or is none that there can be.
    Content,
}

impl From<Unreadable> for ImageError {
    fn from(_: Unreadable) -> Self {
        Self::Unreadable
    }
}

impl core::fmt::Display for ImageError {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        f.write_str(match self {
            Self::Unreadable => "the probe's memory does not answer",
            Self::Nothing => "no plan was loaded yet",
            Self::NotAnImage | Self::Length => "the plan in the probe is not whole; load it again",
            Self::Format(_) => "the plan in the probe is of another version; load it again",
            Self::Check | Self::Content => "the plan in the probe is damaged; load it again",
        })
    }
}

impl core::error::Error for ImageError {}

/// A short text of the plan: printable ASCII, filled up with zero bytes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Text<const N: usize>([u8; N]);

impl<const N: usize> Text<N> {
    /// These bytes, if they are such a text.
    #[must_use]
    pub fn of(bytes: [u8; N]) -> Option<Self> {
        let mut ended = false;
        let sound = bytes.iter().all(|byte| {
            ended |= *byte == 0;
            if ended {
                *byte == 0
            } else {
                matches!(byte, b' '..=b'~')
            }
        });
        sound.then_some(Self(bytes))
    }

    /// The text.
    #[must_use]
    pub fn as_str(&self) -> &str {
        let length = self.0.iter().position(|byte| *byte == 0).unwrap_or(N);
        let bytes = self.0.get(..length).unwrap_or_default();
        core::str::from_utf8(bytes).unwrap_or_default()
    }

    /// The first so many characters, and the rest.
    #[must_use]
    pub fn lines(&self) -> (&str, &str) {
        let text = self.as_str();
        text.split_at_checked(COLUMNS).unwrap_or((text, ""))
    }
}
