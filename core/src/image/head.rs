//! What an image holds and where.

use super::read::Cursor;
use super::{
    CHOICE, CLIP, COLUMNS, FORMAT, HEAD, ImageError, LONG, MAGIC, MAX_IMAGE, MAX_OPTIONS,
    NOT_ASKED, OPTION, PICK, PLACE_OF_STEP, POINT, Store, Text, VARIANT,
};
use crate::check::CRC;
use crate::wire::{LeadId, LeadSet, MAX_LEADS, Place};

/// The head of an image that was looked through.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Head {
    pub(super) place: Place,
    pub(super) leads: u8,
    pub(super) length: u32,
    check: u32,
    nulls: u32,
    options: u16,
    choices: u16,
    variants: u16,
    points: u16,
    pub(super) steps: u16,
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
    /// Looks through a whole image: its check sum, then every number in it.
    ///
    /// # Errors
    /// [`ImageError`]; nothing of it can be used then.
    #[inline(never)]
    pub fn open(store: &mut impl Store) -> Result<Self, ImageError> {
        let head = Self::read(store)?;
        head.check_sum(store)?;
        head.look_through(store)?;
        Ok(head)
    }

    fn read(store: &mut impl Store) -> Result<Self, ImageError> {
        let mut cursor = Cursor {
            store,
            at: 0,
            end: HEAD,
        };
        let magic = cursor.take()?;
        if magic == [0xFF; 4] {
            return Err(ImageError::Nothing);
        }
        if magic != MAGIC {
            return Err(ImageError::NotAnImage);
        }
        let format = cursor.u16()?;
        if format != FORMAT {
            return Err(ImageError::Format(format));
        }
        let place = cursor.u8()?;
        let leads = cursor.u8()?;
        let length = cursor.u32()?;
        if !(HEAD + 4..=MAX_IMAGE).contains(&length) {
            return Err(ImageError::Length);
        }
        let head = Self {
            // Wrong ones are refused when the check sum was right.
            place: if place == 0 {
                Place::Bench
            } else {
                Place::Vehicle
            },
            leads,
            length,
            check: 0,
            nulls: cursor.u32()?,
            options: cursor.u16()?,
            choices: cursor.u16()?,
            variants: cursor.u16()?,
            points: cursor.u16()?,
            steps: cursor.u16()?,
            clips: {
                cursor.take::<2>()?;
                cursor.u32()?
            },
            picks: cursor.u32()?,
        };
        let check = Cursor {
            store: cursor.store,
            at: length - 4,
            end: length,
        }
        .u32()?;
        Ok(Self { check, ..head })
    }

    fn check_sum(&self, store: &mut impl Store) -> Result<(), ImageError> {
        let mut digest = CRC.digest();
        let mut at = 0;
        let mut piece = [0; 64];
        let end = self.length - 4;
        while at < end {
            let size = (end - at).min(64);
            let part = piece
                .get_mut(..size as usize)
                .ok_or(ImageError::Unreadable)?;
            store.read(at, part)?;
            digest.update(part);
            at += size;
        }
        if digest.finalize() == self.check {
            Ok(())
        } else {
            Err(ImageError::Check)
        }
    }

    fn look_through(&self, store: &mut impl Store) -> Result<(), ImageError> {
        let sound = |is: bool| if is { Ok(()) } else { Err(ImageError::Content) };
        let mut head = self.cursor(store, 6);
        sound(head.u8()? <= 1)?;
        sound(usize::from(self.leads) <= MAX_LEADS && self.variants > 0)?;
        sound(self.options <= MAX_OPTIONS)?;
        head.at = 26;
        sound(head.u16()? == 0)?;
        let steps = self.first_step().ok_or(ImageError::Content)?;
        sound(steps <= self.length - 4)?;
        self.title(store)?;
        let mut choices = 0;
        for option in 0..self.options {
            self.question(store, option)?;
            let (first, count) = self.choices_of(store, option)?;
            sound(first == choices && (1..NOT_ASKED).contains(&count))?;
            choices = first
                .checked_add(u16::from(count))
                .ok_or(ImageError::Content)?;
        }
        sound(choices == self.choices)?;
        for choice in 0..self.choices {
            self.choice_text(store, choice)?;
        }
        for point in 0..self.points {
            self.spot(store, point)?;
        }
        for variant in 0..self.variants {
            for option in 0..self.options {
                let answer = self.answer(store, variant, option)?;
                let (_, count) = self.choices_of(store, option)?;
                sound(answer == NOT_ASKED || answer < count)?;
            }
            self.look_through_clips(store, variant)?;
            let found = self.variant(store, variant)?;
            let end = found.first_pick.checked_add(u32::from(found.picks));
            sound(end.is_some_and(|end| end <= self.picks))?;
        }
        for pick in 0..self.picks {
            sound(self.pick(store, pick)? < self.steps)?;
        }
        let mut at = steps;
        for step in 0..self.steps {
            sound(self.place_of_step(store, step)? == at)?;
            at = self.look_through_step(store, at)?;
        }
        sound(at == self.length - 4)
    }

    fn look_through_clips(&self, store: &mut impl Store, variant: u16) -> Result<(), ImageError> {
        let mut seen = LeadSet::EMPTY;
        let found = self.variant(store, variant)?;
        for at in 0..found.clips {
            let clip = self.clip(store, variant, at)?.ok_or(ImageError::Content)?;
            if clip.lead.0 >= self.leads || clip.point >= self.points || seen.contains(clip.lead) {
                return Err(ImageError::Content);
            }
            seen.insert(clip.lead);
        }
        Ok(())
    }

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
    /// [`NOT_ASKED`].
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
    pub(super) fn step_at(
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

    fn option<'s, S: Store>(
        &self,
        store: &'s mut S,
        option: u16,
    ) -> Result<Cursor<'s, S>, ImageError> {
        let number = (option < self.options).then_some(u32::from(option));
        self.entry(store, (HEAD, OPTION), number)
    }

    /// The first choice of an option, and how many there are.
    #[inline(never)]
    fn choices_of(&self, store: &mut impl Store, option: u16) -> Result<(u16, u8), ImageError> {
        let mut cursor = self.option(store, option)?;
        cursor.at = cursor.at.saturating_add(LONG as u32);
        let first = cursor.u16()?;
        let count = u8::try_from(cursor.u16()?).map_err(|_| ImageError::Content)?;
        Ok((first, count))
    }

    #[inline(never)]
    fn choice_text(
        &self,
        store: &mut impl Store,
        choice: u16,
    ) -> Result<Text<COLUMNS>, ImageError> {
        let table = self.after_options().ok_or(ImageError::Content)?;
        let number = (choice < self.choices).then_some(u32::from(choice));
        self.entry(store, (table, CHOICE), number)?.text()
    }

    #[inline(never)]
    fn variant(&self, store: &mut impl Store, variant: u16) -> Result<Variant, ImageError> {
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
    fn pick(&self, store: &mut impl Store, pick: u32) -> Result<u16, ImageError> {
        let table = self.after_clips().ok_or(ImageError::Content)?;
        let number = (pick < self.picks).then_some(pick);
        self.entry(store, (table, PICK), number)?.u16()
    }

    #[inline(never)]
    fn place_of_step(&self, store: &mut impl Store, step: u16) -> Result<u32, ImageError> {
        let table = self.after_picks().ok_or(ImageError::Content)?;
        let number = (step < self.steps).then_some(u32::from(step));
        self.entry(store, (table, PLACE_OF_STEP), number)?.u32()
    }

    /// On the entry of this number in a table of entries of this size.
    #[inline(never)]
    fn entry<'s, S: Store>(
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

    pub(super) fn cursor<'s, S: Store>(&self, store: &'s mut S, at: u32) -> Cursor<'s, S> {
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

    fn after_variants(&self) -> Option<u32> {
        let size = u32::from(self.variants).checked_mul(VARIANT)?;
        self.after_choices()?.checked_add(size)
    }

    fn after_answers(&self) -> Option<u32> {
        let size = u32::from(self.variants).checked_mul(u32::from(self.options))?;
        self.after_variants()?.checked_add(size)
    }

    fn after_points(&self) -> Option<u32> {
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
    fn first_step(&self) -> Option<u32> {
        let size = u32::from(self.steps).checked_mul(PLACE_OF_STEP)?;
        self.after_picks()?.checked_add(size)
    }
}
