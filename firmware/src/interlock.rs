//! When driving is allowed, and what makes the probe let go: the numbers and
//! the judgements, without any hardware.
//!
//! The numbers are contracts of the design (`docs/probe-hardware.md`): a lead
//! is live above 0.2 V undriven and moves at more than 0.1 V between looks.

use loomproof_core::instrument::{PROTECTION, REFERENCE, WIDE_LEG, WIDE_SHIFT};
use loomproof_core::units::{MicroVolts, Micros};
use loomproof_core::wire::{ChassisCheck, LeadId, Look, Refusal};

/// A lead that nothing drives is live above this magnitude.
pub const LIVE_MV: i32 = 200;

/// A lead moves when two looks differ by more than this.
pub const MOVES_MV: i32 = 100;

/// While the probe drives, no lead can go above the reference (3.3 V) or
/// below 0 V by its doing; more than 0.2 V outside comes from elsewhere.
pub const WATCH_HIGH_MV: i32 = 3_500;
/// See [`WATCH_HIGH_MV`].
pub const WATCH_LOW_MV: i32 = -200;

/// C2 driven through 680 Ω rises to 3.3 V · R/(680 Ω + R) above C1: 50 mV is a
/// joint of 10.5 Ω, far more than chassis metal and two clips (0.1 Ω each).
pub const APART_MV: i32 = 50;

/// The second look at a lead comes at least this long after the first.
pub const LOOK_AGAIN: Micros = Micros(2_000);

/// Permission to drive ends this long after the last request.
pub const PERMISSION: Micros = Micros(3_000_000);

/// While driving, one lead that is neither driven nor read is looked at at
/// least this often.
pub const WATCH_EVERY: Micros = Micros(1_000);

/// A watch look is started when the last one is this old, so that what runs
/// before the next check (a look itself, four conversions) still ends within
/// [`WATCH_EVERY`] at SPI clocks of 1 MHz and more.
pub const WATCH_DUE: Micros = Micros(700);

/// What leakage leaves on a net that floats (a few nA up to the diodes of the
/// under- and over-voltage lines, about −0.3 and +3.6 V) runs off through the wide
/// divider at once; a source holds against it. A lead that the watch finds
/// outside its limits is given so long to come back: −0.5 V on 9 nF of wiring
/// (0.9 τ). With the age of the last look before, [`WATCH_DUE`], this ends
/// within [`WATCH_EVERY`] like any look.
pub const HELD: Micros = Micros(200);

/// A lead that came back is looked at again within so long. The worst leakage, 10 nA
/// on the 100 pF of a probe lead alone, moves it by 0.1 V until then; what is
/// out again, or has moved by more, was moved from elsewhere.
pub const RETURNS: Micros = WATCH_EVERY;

/// Stored charge is drained through the wide divider (23 kΩ to 0 V), shared by
/// the leads that carry it: in the first round for so long (bare wiring is dead
/// then: 2 nF · 23 kΩ · 2.8 τ is 130 µs), and twice as long in each round, …
pub const FIRST_DRAIN: Micros = Micros(250);

/// … up to so long, …
pub const DRAIN: Micros = Micros(20_000);

/// … for at most so many rounds, 0.5 s together, …
pub const DRAIN_ROUNDS: u8 = 31;

/// … and only while each full round takes off at least one part in so many.
/// A single lead falls by 5 % in a round with up to 17 µF on it; from 3.3 V it
/// is dead within all rounds with up to 7 µF (τ = C · 23 kΩ, 2.8 τ).
pub const DRAIN_PART: i32 = 20;

/// Millivolts of lead per converter full scale: 3.3 V · (22 k + 1 k)/1 k.
const WIDE_SPAN_MV: i32 =
    (REFERENCE.0 * 1e3 * (PROTECTION.0 + WIDE_LEG.0) / WIDE_LEG.0 + 0.5) as i32;

/// A quarter of the span, so that the product with a code fits into 32 bits.
const QUARTER_SPAN: i32 = WIDE_SPAN_MV / 4;

const _: () = assert!(
    WIDE_SPAN_MV % 4 == 0 && QUARTER_SPAN < i32::MAX / 65_536 - 1,
    "a code times a quarter of the span fits"
);

/// The code of the shift, 1.65 V, by the design.
pub const WIDE_ZERO: u16 = (WIDE_SHIFT.0 / REFERENCE.0 * 65_536.0 + 0.5) as u16;

/// The measured shift may be off by 1 % (0.38 V at a lead); beyond it the
/// converter's input stage or the sense bus is broken.
const WIDE_ZERO_SPREAD: u16 = WIDE_ZERO / 100;

/// Whether this can be the code of the shift.
#[must_use]
pub const fn plausible_zero(code: u16) -> bool {
    code.abs_diff(WIDE_ZERO) <= WIDE_ZERO_SPREAD
}

/// What a conversion through the wide divider says of the lead, in millivolts:
/// (V_adc − shift) · (22 k + 1 k)/1 k, with the code of the shift as measured
/// with no lead on the bus.
#[must_use]
pub fn wide_mv(code: u16, zero: u16) -> i32 {
    ((i32::from(code) - i32::from(zero)) * QUARTER_SPAN + 0x2000) >> 14
}

/// Whether an undriven lead is dead.
#[must_use]
pub const fn dead(mv: i32) -> bool {
    mv.unsigned_abs() <= LIVE_MV.unsigned_abs()
}

/// Whether nothing is left that would read as live again when the lead is let go: a
/// quarter of that, for what is behind a module's load of 2 kΩ (725 Ω of 2.7 kΩ).
#[must_use]
pub const fn empty(mv: i32) -> bool {
    mv.unsigned_abs() <= LIVE_MV.unsigned_abs() / 4
}

/// Whether the watch may see this on a lead while the probe drives others.
#[must_use]
pub const fn harmless_while_driving(mv: i32) -> bool {
    mv <= WATCH_HIGH_MV && mv >= WATCH_LOW_MV
}

/// Whether a lead that was outside the limits of the watch is well inside again,
/// by as much as tells movement.
#[must_use]
pub const fn came_back(mv: i32) -> bool {
    mv <= WATCH_HIGH_MV - MOVES_MV && mv >= -MOVES_MV
}

/// Whether a lead that came back to `left` goes out again: it is out, or on the
/// way to the negative side, where nothing of the probe pulls.
#[must_use]
pub const fn returns(left: i32, mv: i32) -> bool {
    !harmless_while_driving(mv) || mv < 0 && mv < left.saturating_sub(MOVES_MV)
}

/// Whether a lead that the watch sees is joined to what is driven: it was dead
/// before, and is not any more.
#[must_use]
pub const fn follows(mv: i32) -> bool {
    !dead(mv)
}

/// Whether the two looks at a lead differ too much.
#[must_use]
pub const fn moves(look: Look) -> bool {
    look.first_mv.abs_diff(look.second_mv) > MOVES_MV.unsigned_abs()
}

/// The look farther from 0 V.
#[must_use]
pub const fn worst(look: Look) -> i32 {
    if look.first_mv.unsigned_abs() > look.second_mv.unsigned_abs() {
        look.first_mv
    } else {
        look.second_mv
    }
}

/// Whether a lead stands in the way of driving.
#[must_use]
pub const fn suspicious(look: Look) -> bool {
    !dead(worst(look)) || moves(look)
}

/// Whether a lead moved as stored charge never does: away from 0 V, or well
/// past it (noise and offset of a look are a few millivolts).
#[must_use]
pub const fn moves_by_itself(look: Look) -> bool {
    let first = look.first_mv.unsigned_abs();
    let second = look.second_mv.unsigned_abs();
    let past = (look.first_mv < 0) != (look.second_mv < 0) && second > MOVES_MV.unsigned_abs() / 2;
    let toward_zero = second <= first && !past;
    moves(look) && !toward_zero
}

/// Leads of one net differ by less than one part in so many in a look: two
/// protection resistors of ±0.5 %. Behind a diode (0.6 V of 12 V) they stand
/// lower by more; behind a relay coil (85 Ω of 23 kΩ) they cannot be told apart.
const ONE_LEVEL_PART: u32 = 100;

/// What a survey has against driving: the lead that is live with the highest
/// voltage (others may only be fed from it), before one that moves, both before
/// the chassis leads.
///
/// # Errors
/// The refusal.
pub fn judge(looks: &[Look], chassis: ChassisCheck) -> Result<(), Refusal> {
    let leads = || (0..=u8::MAX).map(LeadId).zip(looks);
    let levels = || leads().map(|(lead, look)| (lead, worst(*look)));
    let highest = levels().map(|(_, mv)| mv.unsigned_abs()).max().unwrap_or(0);
    // The first at that level.
    let least = highest - highest / ONE_LEVEL_PART;
    let named = levels().find(|(_, mv)| !dead(*mv) && mv.unsigned_abs() >= least);
    if let Some((lead, mv)) = named {
        return Err(Refusal::Live(lead, mv));
    }
    if let Some((lead, look)) = leads().find(|(_, look)| moves(**look)) {
        return Err(Refusal::Moves(lead, look.first_mv, look.second_mv));
    }
    match chassis {
        ChassisCheck::Agree => Ok(()),
        _ => Err(Refusal::Chassis(chassis)),
    }
}

/// Judges C2 by its voltage undriven, in millivolts.
#[must_use]
pub const fn chassis_undriven(mv: i32) -> ChassisCheck {
    if dead(mv) {
        ChassisCheck::Agree
    } else {
        ChassisCheck::Voltage(mv)
    }
}

/// Judges C2 by the voltage it rises to when driven.
#[must_use]
pub const fn chassis_driven(level: MicroVolts) -> ChassisCheck {
    let mv = level.0 / 1_000;
    if mv > APART_MV {
        ChassisCheck::Apart(mv)
    } else {
        ChassisCheck::Agree
    }
}

/// Whether permission ends at once on this refusal.
#[must_use]
pub const fn disarms(refusal: Refusal) -> bool {
    matches!(
        refusal,
        Refusal::Live(..)
            | Refusal::Moves(..)
            | Refusal::Chassis(_)
            | Refusal::Tripped
            | Refusal::Hardware
    )
}

/// Whether `now` is more than `span` after `then`, on a clock that wraps.
#[must_use]
pub const fn passed(then: Micros, now: Micros, span: Micros) -> bool {
    now.0.wrapping_sub(then.0) > span.0
}

/// One magnitude more in the sum that [`Falling`] follows.
#[must_use]
pub const fn more(level: i32, mv: i32) -> i32 {
    level.saturating_add(mv.saturating_abs())
}

/// Follows leads that carry a voltage undriven: is it stored charge that runs
/// off, or held from elsewhere?
#[derive(Debug, Clone, Default)]
pub struct Falling {
    rounds: u8,
    before: i32,
}

impl Falling {
    /// Takes the sum of the magnitudes, in millivolts, and says whether to
    /// drain once more. While the rounds are short, charge in a large capacitor may
    /// fall by too little to be seen, but never rises.
    pub fn goes_on(&mut self, level: i32) -> bool {
        let falls = level < self.before - self.before / DRAIN_PART;
        let rises = level > self.before.saturating_add(MOVES_MV);
        let short = self.rounds == 0 || self.share() < DRAIN && !rises;
        let goes_on = short || falls && self.rounds < DRAIN_ROUNDS;
        self.rounds = self.rounds.saturating_add(1);
        self.before = level;
        goes_on
    }

    /// How long the round lasts that [`Self::goes_on`] has just allowed.
    #[must_use]
    pub fn share(&self) -> Micros {
        let doublings = u32::from(self.rounds.saturating_sub(1));
        Micros(FIRST_DRAIN.0.checked_shl(doublings).unwrap_or(u32::MAX)).min(DRAIN)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn look(first_mv: i32, second_mv: i32) -> Look {
        Look {
            first_mv,
            second_mv,
        }
    }

    #[test]
    fn the_wide_divider_is_turned_round() {
        // 12 V: (12/23 + 1.65)/3.3 of full scale.
        let code = |volts: f64| ((volts / 23.0 + 1.65) / 3.3 * 65_536.0) as u16;
        for volts in [-36.0, -0.5, -0.2, 0.0, 0.2, 3.3, 12.0, 36.0] {
            let mv = f64::from(wide_mv(code(volts), WIDE_ZERO));
            assert!((mv - volts * 1e3).abs() <= 1.7, "{volts} V read as {mv} mV");
        }
        assert_eq!(wide_mv(0, WIDE_ZERO), -37_950);
        assert_eq!(wide_mv(u16::MAX, WIDE_ZERO), 37_949);
    }

    #[test]
    fn live_before_moving_before_chassis() {
        let apart = ChassisCheck::Apart(3_300);
        let calm = look(199, 200);
        let judged = |looks: &[Look]| judge(looks, apart);
        assert_eq!(
            judged(&[calm, look(0, 150), look(0, -201)]),
            Err(Refusal::Live(LeadId(2), -201))
        );
        assert_eq!(
            judged(&[calm, look(-60, 60)]),
            Err(Refusal::Moves(LeadId(1), -60, 60))
        );
        assert_eq!(judged(&[calm]), Err(Refusal::Chassis(apart)));
        assert_eq!(judge(&[calm, look(0, 100)], ChassisCheck::Agree), Ok(()));
        assert_eq!(
            judge(&[look(i32::MIN, i32::MAX)], ChassisCheck::Agree),
            Err(Refusal::Live(LeadId(0), i32::MIN))
        );
    }

    #[test]
    fn stored_charge_only_falls() {
        assert!(!moves_by_itself(look(3_000, 2_000)));
        assert!(!moves_by_itself(look(300, -4)));
        assert!(!moves_by_itself(look(0, 100)));
        assert!(moves_by_itself(look(0, 101)));
        assert!(moves_by_itself(look(-60, 60)));
        assert!(moves_by_itself(look(2_000, 2_200)));
        let mut falling = Falling::default();
        // Short rounds may stand still but not rise.
        assert!(falling.goes_on(3_000));
        assert_eq!(falling.share(), FIRST_DRAIN);
        assert!(falling.goes_on(3_000));
        assert!(!falling.goes_on(3_200));
        // Seven short rounds; the first full one has to take something off.
        let mut falling = Falling::default();
        let rounds = (0..40).take_while(|_| falling.goes_on(3_000)).count();
        assert_eq!((rounds, falling.share()), (8, DRAIN));
        let mut falling = Falling::default();
        let mut level = 1_000_000;
        let mut drained = 0;
        while falling.goes_on(level) {
            level = level * 9 / 10;
            drained += falling.share().0;
        }
        assert!((480_000..=520_000).contains(&drained), "{drained} µs");
    }

    #[test]
    fn charge_comes_back_and_sources_return() {
        assert!(came_back(-100) && came_back(3_400) && came_back(0));
        assert!(!came_back(-101) && !came_back(3_401));
        // Held, or back again: from elsewhere. Following what is driven is not.
        assert!(returns(-90, -201) && returns(3_390, 3_501));
        assert!(returns(-20, -121) && !returns(-20, -120));
        assert!(!returns(0, 3_300) && !returns(3_390, 0));
        const { assert!(HELD.0 + WATCH_DUE.0 < WATCH_EVERY.0) };
    }

    #[test]
    fn chassis_limits() {
        assert_eq!(chassis_undriven(-200), ChassisCheck::Agree);
        assert_eq!(chassis_undriven(-201), ChassisCheck::Voltage(-201));
        assert_eq!(chassis_driven(MicroVolts(50_000)), ChassisCheck::Agree);
        assert_eq!(chassis_driven(MicroVolts(51_000)), ChassisCheck::Apart(51));
    }

    #[test]
    fn permission_survives_the_wrap_of_the_clock() {
        let then = Micros(u32::MAX - 10);
        assert!(!passed(then, Micros(2_999_989), PERMISSION));
        assert!(passed(then, Micros(2_999_990), PERMISSION));
    }
}
