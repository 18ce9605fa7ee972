//! What an image holds and where.

mod open;
mod tables;

use super::{CLIP, COLUMNS, ImageError, LONG, POINT, Store, Text};
use crate::wire::{LeadId, Place};

/// The head of an image that was looked through.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Head {
    pub(in crate::image) place: Place,
    pub(in crate::image) leads: u8,
    pub(in crate::image) length: u32,
    check: u32,
    nulls: u32,
    options: u16,
    choices: u16,
    variants: u16,
    points: u16,
    pub(in crate::image) steps: u16,
    clips: u32,
    picks: u32,
}

/// Which clips and steps a variant has.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Variant {
    first_clip: u32,
    clips: u16,
    first_pick: u32,
    picks: u16,
}

/// Where a probe lead sits, in words that fit a line each.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Spot {
    /// Where in the vehicle or on the harness: `left kick panel`.
    pub place: Text<COLUMNS>,
    /// Connector and cavity, or what it is: `X1:4`.
    pub name: Text<COLUMNS>,
    /// How it is touched: `from the wire side`.
    pub how: Text<COLUMNS>,
}

/// A probe lead and the number of the point that it sits on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Clipped {
    /// The lead.
    pub lead: LeadId,
    /// The number of its point.
    pub point: u16,
}

impl Head {
    /// Where the harness is to be.
    #[must_use]
    pub fn place(&self) -> Place {
        self.place
    }

    /// How many probe leads it needs.
    #[must_use]
    pub fn leads(&self) -> u8 {
        self.leads
    }

    /// Bytes of the image.
    #[must_use]
    pub fn length(&self) -> u32 {
        self.length
    }

    /// Its check sum: two images with the same one are the same.
    #[must_use]
    pub fn check(&self) -> u32 {
        self.check
    }

    /// Check sum of the clips' resistance that its limits were computed with.
    #[must_use]
    pub fn nulls(&self) -> u32 {
        self.nulls
    }

    /// How many options the plan has.
    #[must_use]
    pub fn options(&self) -> u16 {
        self.options
    }

    /// How many variants there are.
    #[must_use]
    pub fn variants(&self) -> u16 {
        self.variants
    }

    /// SHA-256 of the plan file.
    ///
    /// # Errors
    /// [`ImageError`].
    #[inline(never)]
    pub fn digest(&self, store: &mut impl Store) -> Result<[u8; 32], ImageError> {
        self.cursor(store, 36).take()
    }

    /// The plan's title.
    ///
    /// # Errors
    /// [`ImageError`].
    #[inline(never)]
    pub fn title(&self, store: &mut impl Store) -> Result<Text<LONG>, ImageError> {
        self.cursor(store, 68).text()
    }

    /// The question of an option.
    ///
    /// # Errors
    /// [`ImageError`].
    #[inline(never)]
    pub fn question(&self, store: &mut impl Store, option: u16) -> Result<Text<LONG>, ImageError> {
        self.option(store, option)?.text()
    }

    /// A choice of an option, in words.
    ///
    /// # Errors
    /// [`ImageError`].
    #[inline(never)]
    pub fn choice(
        &self,
        store: &mut impl Store,
        option: u16,
        choice: u8,
    ) -> Result<Text<COLUMNS>, ImageError> {
        let (first, count) = self.choices_of(store, option)?;
        if choice >= count {
            return Err(ImageError::Content);
        }
        let at = first.checked_add(u16::from(choice));
        self.choice_text(store, at.ok_or(ImageError::Content)?)
    }

    /// The answer to an option in a variant: the number of the choice, or
    /// [`NOT_ASKED`](crate::image::NOT_ASKED).
    ///
    /// # Errors
    /// [`ImageError`].
    #[inline(never)]
    pub fn answer(
        &self,
        store: &mut impl Store,
        variant: u16,
        option: u16,
    ) -> Result<u8, ImageError> {
        if variant >= self.variants || option >= self.options {
            return Err(ImageError::Content);
        }
        let table = self.after_variants().ok_or(ImageError::Content)?;
        let at = u32::from(variant) * u32::from(self.options) + u32::from(option);
        self.cursor(store, table.saturating_add(at)).u8()
    }

    /// How many probe leads are clipped in a variant.
    ///
    /// # Errors
    /// [`ImageError`].
    pub fn clips(&self, store: &mut impl Store, variant: u16) -> Result<u16, ImageError> {
        Ok(self.variant(store, variant)?.clips)
    }

    /// A clip of a variant; `None` past the last.
    ///
    /// # Errors
    /// [`ImageError`].
    #[inline(never)]
    pub fn clip(
        &self,
        store: &mut impl Store,
        variant: u16,
        at: u16,
    ) -> Result<Option<Clipped>, ImageError> {
        let found = self.variant(store, variant)?;
        if at >= found.clips {
            return Ok(None);
        }
        let number = found.first_clip.checked_add(u32::from(at));
        let number = number.filter(|number| *number < self.clips);
        let table = self.after_points().ok_or(ImageError::Content)?;
        let mut cursor = self.entry(store, (table, CLIP), number)?;
        let clip = Clipped {
            lead: LeadId(cursor.u8()?),
            point: {
                if cursor.u8()? != 0 {
                    return Err(ImageError::Content);
                }
                cursor.u16()?
            },
        };
        Ok(Some(clip))
    }

    /// A point in words.
    ///
    /// # Errors
    /// [`ImageError`].
    #[inline(never)]
    pub fn spot(&self, store: &mut impl Store, point: u16) -> Result<Spot, ImageError> {
        let table = self.after_answers().ok_or(ImageError::Content)?;
        let number = (point < self.points).then_some(u32::from(point));
        let mut cursor = self.entry(store, (table, POINT), number)?;
        Ok(Spot {
            place: cursor.text()?,
            name: cursor.text()?,
            how: cursor.text()?,
        })
    }

    /// How many steps the scan of a variant has.
    ///
    /// # Errors
    /// [`ImageError`].
    pub fn steps_of(&self, store: &mut impl Store, variant: u16) -> Result<u16, ImageError> {
        Ok(self.variant(store, variant)?.picks)
    }

    /// Where a step of a variant's scan lies; `None` past the last.
    pub(in crate::image) fn step_at(
        &self,
        store: &mut impl Store,
        variant: u16,
        at: u16,
    ) -> Result<Option<u32>, ImageError> {
        let found = self.variant(store, variant)?;
        if at >= found.picks {
            return Ok(None);
        }
        let number = found.first_pick.checked_add(u32::from(at));
        let step = self.pick(store, number.ok_or(ImageError::Content)?)?;
        self.place_of_step(store, step).map(Some)
    }
}
