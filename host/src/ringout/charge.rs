//! Charge that is left on a module's capacitors, told from a voltage that is held.
//!
//! The probe drains what it may within one request. What is larger takes longer: it is
//! looked at again and again, nothing driven, for as long as it falls.

use loomproof_core::wire::{Place, Refusal};

use super::run::{RunError, ask};
use crate::link::Link;

/// Looks that make up one judgement whether it still falls. A refused one takes the
/// probe at least 84 ms (two looks 50 ms apart, and the rounds that it drains in).
const LOOKS: u32 = 6;

/// It falls if it has lost one part in so many by then: 1 mF behind 10 Ω that nothing
/// but the probe discharges (23 kΩ, 23 s) loses one in 50.
const PART: u32 = 100;

/// The most looks in one scan, two minutes at least: 12 V on 1 mF is dead after 4.1
/// time constants, 94 s, even where only the probe discharges it.
const MOST_LOOKS: u32 = 1_500;

/// How many more times charge is waited for in one scan.
#[derive(Debug)]
pub(super) struct Waits(u32);

impl Waits {
    /// For one scan.
    pub(super) const fn new() -> Self {
        Self(MOST_LOOKS)
    }

    /// Asks for permission to drive until it is given or `refusal` turns out to stand:
    /// what is left in the way is returned. `falling` is told each voltage.
    ///
    /// # Errors
    /// [`RunError`] when the link or the probe fails.
    pub(super) fn out(
        &mut self,
        link: &mut dyn Link,
        place: Place,
        refusal: Refusal,
        falling: &mut dyn FnMut(Refusal),
    ) -> Result<Option<Refusal>, RunError> {
        let mut last = refusal;
        while let Refusal::Live(_, before) = last {
            for _ in 0..LOOKS {
                let Some(left) = self.0.checked_sub(1) else {
                    return Ok(Some(last));
                };
                self.0 = left;
                match ask(link, place)? {
                    None => return Ok(None),
                    Some(next) => last = next,
                }
            }
            match last {
                Refusal::Live(_, now) if falls(before, now) => falling(last),
                _ => break,
            }
        }
        Ok(Some(last))
    }
}

/// Whether a voltage went toward 0 V by enough, in millivolts.
fn falls(before: i32, now: i32) -> bool {
    let (before, now) = (before.unsigned_abs(), now.unsigned_abs());
    now + (before / PART).max(1) <= before
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_held_does_not_fall() {
        assert!(!falls(12_000, 12_000));
        assert!(!falls(12_000, 11_990));
        assert!(!falls(12_000, 12_400));
        assert!(!falls(-450, -450));
        assert!(falls(12_000, 11_880));
        assert!(falls(-450, -440));
        assert!(falls(210, 208));
        assert!(!falls(i32::MIN, i32::MIN));
    }
}
