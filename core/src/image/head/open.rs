//! Looking through an image before any of it is used.

use super::Head;
use crate::check::CRC;
use crate::image::read::Cursor;
use crate::image::{FORMAT, HEAD, ImageError, MAGIC, MAX_IMAGE, MAX_OPTIONS, NOT_ASKED, Store};
use crate::wire::{LeadSet, MAX_LEADS, Place};

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
}
