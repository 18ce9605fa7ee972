//! Where the tables of an image lie, and their entries.

use super::{Head, Variant};
use crate::image::read::Cursor;
use crate::image::{
    CHOICE, CLIP, COLUMNS, HEAD, ImageError, LONG, OPTION, PICK, PLACE_OF_STEP, POINT, Store, Text,
    VARIANT,
};

impl Head {
    pub(super) fn option<'s, S: Store>(
        &self,
        store: &'s mut S,
        option: u16,
    ) -> Result<Cursor<'s, S>, ImageError> {
        let number = (option < self.options).then_some(u32::from(option));
        self.entry(store, (HEAD, OPTION), number)
    }

    /// The first choice of an option, and how many there are.
    #[inline(never)]
    pub(super) fn choices_of(
        &self,
        store: &mut impl Store,
        option: u16,
    ) -> Result<(u16, u8), ImageError> {
        let mut cursor = self.option(store, option)?;
        cursor.at = cursor.at.saturating_add(LONG as u32);
        let first = cursor.u16()?;
        let count = u8::try_from(cursor.u16()?).map_err(|_| ImageError::Content)?;
        Ok((first, count))
    }

    #[inline(never)]
    pub(super) fn choice_text(
        &self,
        store: &mut impl Store,
        choice: u16,
    ) -> Result<Text<COLUMNS>, ImageError> {
        let table = self.after_options().ok_or(ImageError::Content)?;
        let number = (choice < self.choices).then_some(u32::from(choice));
        self.entry(store, (table, CHOICE), number)?.text()
    }

    #[inline(never)]
    pub(super) fn variant(
        &self,
        store: &mut impl Store,
        variant: u16,
    ) -> Result<Variant, ImageError> {
        let table = self.after_choices().ok_or(ImageError::Content)?;
        let number = (variant < self.variants).then_some(u32::from(variant));
        let mut cursor = self.entry(store, (table, VARIANT), number)?;
        Ok(Variant {
            first_clip: cursor.u32()?,
            clips: cursor.u16()?,
            first_pick: cursor.u32()?,
            picks: cursor.u16()?,
        })
    }

    #[inline(never)]
    pub(super) fn pick(&self, store: &mut impl Store, pick: u32) -> Result<u16, ImageError> {
        let table = self.after_clips().ok_or(ImageError::Content)?;
        let number = (pick < self.picks).then_some(pick);
        self.entry(store, (table, PICK), number)?.u16()
    }

    #[inline(never)]
    pub(super) fn place_of_step(
        &self,
        store: &mut impl Store,
        step: u16,
    ) -> Result<u32, ImageError> {
        let table = self.after_picks().ok_or(ImageError::Content)?;
        let number = (step < self.steps).then_some(u32::from(step));
        self.entry(store, (table, PLACE_OF_STEP), number)?.u32()
    }

    /// On the entry of this number in a table of entries of this size.
    #[inline(never)]
    pub(super) fn entry<'s, S: Store>(
        &self,
        store: &'s mut S,
        (table, size): (u32, u32),
        number: Option<u32>,
    ) -> Result<Cursor<'s, S>, ImageError> {
        let at = number
            .and_then(|number| number.checked_mul(size))
            .and_then(|at| table.checked_add(at))
            .ok_or(ImageError::Content)?;
        Ok(self.cursor(store, at))
    }

    pub(in crate::image) fn cursor<'s, S: Store>(
        &self,
        store: &'s mut S,
        at: u32,
    ) -> Cursor<'s, S> {
        Cursor {
            store,
            at,
            end: self.length - 4,
        }
    }

    // The tables lie one behind the other.
    fn after_options(&self) -> Option<u32> {
        u32::from(self.options)
            .checked_mul(OPTION)?
            .checked_add(HEAD)
    }

    fn after_choices(&self) -> Option<u32> {
        let size = u32::from(self.choices).checked_mul(CHOICE)?;
        self.after_options()?.checked_add(size)
    }

    pub(super) fn after_variants(&self) -> Option<u32> {
        let size = u32::from(self.variants).checked_mul(VARIANT)?;
        self.after_choices()?.checked_add(size)
    }

    pub(super) fn after_answers(&self) -> Option<u32> {
        let size = u32::from(self.variants).checked_mul(u32::from(self.options))?;
        self.after_variants()?.checked_add(size)
    }

    pub(super) fn after_points(&self) -> Option<u32> {
        let size = u32::from(self.points).checked_mul(POINT)?;
        self.after_answers()?.checked_add(size)
    }

    fn after_clips(&self) -> Option<u32> {
        self.after_points()?
            .checked_add(self.clips.checked_mul(CLIP)?)
    }

    fn after_picks(&self) -> Option<u32> {
        self.after_clips()?
            .checked_add(self.picks.checked_mul(PICK)?)
    }

    #[inline(never)]
    pub(super) fn first_step(&self) -> Option<u32> {
        let size = u32::from(self.steps).checked_mul(PLACE_OF_STEP)?;
        self.after_picks()?.checked_add(size)
    }
}
