//! The identity of a jig: three resistors from P1, P2 and P3 to the chassis leads, which
//! are joined inside the jig's plug.
//!
//! Each resistor is one of twelve steps, so a digit from 0 to 11. The first digit, twice
//! the second and three times the third make a multiple of 13: one digit read wrong is
//! always seen by that, and so are any two leads exchanged. Dirt at a contact only adds
//! ohms, and damp only takes some away: as long as no digit moves by more than two steps
//! (2.2 times) and all move the same way, several are seen too, since 2 + 4 + 6 is less
//! than 13. What lies between two steps is no digit.

use std::fmt;

use loomproof_core::units::Ohms;
use loomproof_core::wire::{LeadId, LeadSet, Place};

use crate::link::Link;
use crate::touch::look::{Look, LookError, Seen, look};

/// The leads that carry the code.
pub const LEADS: [LeadId; 3] = [LeadId(0), LeadId(1), LeadId(2)];

/// The resistors of the steps: series E6 of IEC 60063 (from memory), where the probe
/// reads to a few percent.
pub const STEPS: [Ohms; 12] = [
    Ohms(150.0),
    Ohms(220.0),
    Ohms(330.0),
    Ohms(470.0),
    Ohms(680.0),
    Ohms(1_000.0),
    Ohms(1_500.0),
    Ohms(2_200.0),
    Ohms(3_300.0),
    Ohms(4_700.0),
    Ohms(6_800.0),
    Ohms(10_000.0),
];

/// How far a reading may be from its step: resistors of 1 %, the probe's own few percent,
/// and a contact that ages. Neighbouring steps are 1.42 times apart at least, so between
/// them a sixth of the way is nobody's.
pub const WITHIN: f64 = 0.10;

/// Above this nothing is there: the highest step and as much again.
const NOTHING: Ohms = Ohms(20_000.0);

/// Looks at a lead before it counts as unsteady.
const LOOKS: usize = 5;

/// Numbers that there are: as many pairs of digits have a third.
pub const MOST: u16 = 133;

/// What the digits count, and what their sum is a multiple of.
const WEIGHTS: [u16; 3] = [1, 2, 3];
const PRIME: u16 = 13;

/// The digits of every number, from 1 on.
fn numbers() -> impl Iterator<Item = [u16; 3]> {
    let steps = STEPS.len() as u16;
    let pairs = (0..steps).flat_map(move |a| (0..steps).map(move |b| [a, b]));
    pairs.filter_map(move |[a, b]| {
        let mut thirds = (0..steps).map(|c| [a, b, c]);
        thirds.find(|digits| is_whole(*digits))
    })
}

fn is_whole(digits: [u16; 3]) -> bool {
    let sum: u16 = digits
        .iter()
        .zip(WEIGHTS)
        .map(|(digit, by)| digit * by)
        .sum();
    sum.is_multiple_of(PRIME)
}

/// The number of a jig, from 1 to [`MOST`].
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Code(u16);

impl Code {
    /// The number, if it is one.
    #[must_use]
    pub fn new(number: u16) -> Option<Self> {
        (1..=MOST).contains(&number).then_some(Self(number))
    }

    /// The number.
    #[must_use]
    pub fn number(self) -> u16 {
        self.0
    }

    fn digits(self) -> [u16; 3] {
        let mut numbers = numbers();
        numbers.nth(usize::from(self.0 - 1)).unwrap_or_default()
    }

    fn of_digits(digits: [u16; 3]) -> Option<Self> {
        let at = numbers().position(|number| number == digits)?;
        Self::new(u16::try_from(at + 1).ok()?)
    }

    /// The resistors of P1, P2 and P3.
    #[must_use]
    pub fn resistors(self) -> [(LeadId, Ohms); 3] {
        let of = |digit: u16| STEPS.get(usize::from(digit)).copied();
        let [a, b, c] = self.digits().map(|digit| of(digit).unwrap_or(NOTHING));
        let [p1, p2, p3] = LEADS;
        [(p1, a), (p2, b), (p3, c)]
    }
}

impl fmt::Display for Code {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "jig {}", self.0)
    }
}

/// Whether these are the resistors of a code, but not at its own leads.
#[must_use]
pub fn exchanged(code: Code, read: &[Option<Ohms>; 3]) -> bool {
    let digits = read.map(|ohms| ohms.and_then(digit));
    let (mut own, mut there) = (code.digits().map(Some), digits);
    let at_its_own = own == there;
    own.sort_unstable();
    there.sort_unstable();
    own == there && !at_its_own
}

/// The step that a reading is at.
fn digit(ohms: Ohms) -> Option<u16> {
    let near = |step: &Ohms| (ohms.0 / step.0 - 1.0).abs() <= WITHIN;
    u16::try_from(STEPS.iter().position(near)?).ok()
}

/// What was read of an identity.
#[derive(Debug, Clone, PartialEq)]
pub enum Identity {
    /// This jig is plugged in.
    Jig(Code),
    /// No jig: nothing is on the three leads.
    Nothing,
    /// No code; what each lead has to the chassis, as far as something was seen.
    NoCode([Option<Ohms>; 3]),
}

impl Identity {
    /// What these readings say.
    #[must_use]
    pub fn of(read: [Option<Ohms>; 3]) -> Self {
        let there = read.map(|ohms| ohms.filter(|ohms| ohms.0 < NOTHING.0));
        if there.iter().all(Option::is_none) {
            return Self::Nothing;
        }
        let code = match there.map(|ohms| ohms.and_then(digit)) {
            [Some(a), Some(b), Some(c)] => Code::of_digits([a, b, c]),
            _ => None,
        };
        code.map_or(Self::NoCode(there), Self::Jig)
    }

    /// Reads it off a probe.
    ///
    /// # Errors
    /// [`LookError`]; [`LookError::Live`] where one of the leads is live.
    pub fn read(link: &mut dyn Link) -> Result<Self, LookError> {
        let mut read = [None; 3];
        for (slot, lead) in read.iter_mut().zip(LEADS) {
            *slot = to_chassis(link, lead)?;
        }
        Ok(Self::of(read))
    }
}

/// What is between a lead and the chassis.
///
/// # Errors
/// As [`Identity::read`].
pub fn to_chassis(link: &mut dyn Link, lead: LeadId) -> Result<Option<Ohms>, LookError> {
    Ok(still(link, lead, &LeadSet::EMPTY)?.to_chassis)
}

/// Looks through a lead at others until it holds still.
///
/// # Errors
/// As [`Identity::read`].
pub fn still(link: &mut dyn Link, lead: LeadId, others: &LeadSet) -> Result<Seen, LookError> {
    for _ in 0..LOOKS {
        match look(link, Place::Bench, lead, others)? {
            Look::Seen(seen) => return Ok(seen),
            Look::Live(mv) => return Err(LookError::Live(lead, mv)),
            Look::Unsteady => {}
        }
    }
    Err(LookError::Unsteady)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn all() -> impl Iterator<Item = Code> {
        (0..=MOST + 1).filter_map(Code::new)
    }

    fn resistors(code: Code) -> [Option<Ohms>; 3] {
        code.resistors().map(|(_, ohms)| Some(ohms))
    }

    #[test]
    fn every_number_reads_back_with_resistors_off_by_nine_percent() {
        assert_eq!(all().count(), usize::from(MOST));
        for code in all() {
            for off in [0.91, 0.99, 1.0, 1.01, 1.09] {
                let read = resistors(code).map(|ohms| ohms.map(|ohms| Ohms(ohms.0 * off)));
                assert_eq!(
                    Identity::of(read),
                    Identity::Jig(code),
                    "{code} times {off}"
                );
            }
        }
    }

    #[test]
    fn one_wrong_step_is_never_another_jig() {
        for code in all() {
            for at in 0..3 {
                for step in STEPS {
                    let mut read = resistors(code);
                    let was = read[at].replace(step);
                    let same = was == Some(step);
                    assert_eq!(Identity::of(read) == Identity::Jig(code), same, "{code}");
                    assert_eq!(matches!(Identity::of(read), Identity::NoCode(_)), !same);
                }
            }
        }
    }

    #[test]
    fn dirt_or_damp_on_all_three_is_never_another_jig() {
        for code in all() {
            let digits = code.digits().map(i32::from);
            for moved in 1..3 * 3 * 3 {
                let by = [moved % 3, moved / 3 % 3, moved / 9];
                for way in [1, -1] {
                    let read = [0, 1, 2].map(|at| {
                        let step = usize::try_from(digits[at] + way * by[at]).ok()?;
                        STEPS.get(step).copied()
                    });
                    let other = matches!(Identity::of(read), Identity::Jig(_));
                    assert!(!other, "{code} moved by {by:?}, {way}");
                }
            }
        }
    }

    #[test]
    fn two_leads_exchanged_are_seen() {
        let mut seen = 0;
        for code in all() {
            for (a, b) in [(0, 1), (0, 2), (1, 2)] {
                let mut read = resistors(code);
                read.swap(a, b);
                let alike = read == resistors(code);
                let is_it = Identity::of(read) == Identity::Jig(code);
                assert_eq!(is_it, alike, "{code}: {a} and {b}");
                assert_eq!(exchanged(code, &read), !alike, "{code}: {a} and {b}");
                if !alike {
                    assert!(matches!(Identity::of(read), Identity::NoCode(_)), "{code}");
                    seen += 1;
                }
            }
        }
        assert!(seen > 300, "{seen}");
    }

    #[test]
    fn between_two_steps_is_no_digit_and_nothing_is_nothing() {
        let read = |ohms: f64| Identity::of([Some(Ohms(ohms)), Some(STEPS[0]), Some(STEPS[0])]);
        for between in [20.0, 182.0, 395.0, 1_240.0, 15_000.0, f64::NAN] {
            assert!(matches!(read(between), Identity::NoCode(_)), "{between}");
        }
        assert_eq!(Identity::of([None; 3]), Identity::Nothing);
        assert_eq!(
            Identity::of([Some(Ohms(2e5)), None, None]),
            Identity::Nothing
        );
        assert_eq!(Code::new(0), None);
        assert_eq!(Code::new(MOST + 1), None);
    }
}
