//! The chips and the sense bus by itself.

use super::{Chip, FULL_UV, GAIN, Trouble, Troubles, ZERO_UV, add};
use crate::instrument::{PROTECTION, PULL, REFERENCE, WIDE_SHIFT};
use crate::units::MicroVolts;
use crate::wire::Inspection;

/// The shift may be off by 1 %, as the interlock of the firmware allows.
const SHIFT_SPREAD_UV: i32 = (WIDE_SHIFT.0 * 1e4) as i32;

/// Beyond a tenth off, something else than the gain is wrong.
const TENTH: i32 = FULL_UV / 10;

/// What is wrong with the chips, the converter and the sense bus. Nothing can be
/// said of the drive and gate chips while the probe is tripped.
#[must_use]
pub fn chips(seen: &Inspection) -> Troubles {
    let mut troubles = Troubles::new();
    if seen.tripped {
        add(&mut troubles, Trouble::Tripped);
    } else {
        let banks = count(seen.drive | seen.gate);
        silent(&mut troubles, Chip::Drive, seen.drive, banks);
        silent(&mut troubles, Chip::Gate, seen.gate, banks);
    }
    let banks = count(seen.drive | seen.gate);
    let halves = if banks > 4 { 2 } else { 1 };
    silent(&mut troubles, Chip::Select, seen.select, halves);
    // Without select chip 0 the bus is on nothing.
    if seen.select & 1 == 1 {
        bus(&mut troubles, seen);
    }
    troubles
}

/// Addresses from 0 up to the highest that answers.
fn count(answering: u8) -> u8 {
    (8 - answering.leading_zeros()) as u8
}

fn silent(troubles: &mut Troubles, chip: Chip, answering: u8, expected: u8) {
    if answering == 0 {
        add(troubles, Trouble::NoneAnswers(chip));
        return;
    }
    for address in 0..expected {
        if answering >> address & 1 == 0 {
            add(troubles, Trouble::Silent(chip, address));
        }
    }
}

fn bus(troubles: &mut Troubles, seen: &Inspection) {
    let (MicroVolts(shift), MicroVolts(up), MicroVolts(down)) = (seen.shift, seen.up, seen.down);
    // Nothing moves the converter from there.
    if shift == up && up == down {
        add(troubles, Trouble::Converter(seen.shift));
        return;
    }
    let near = |uv: i32, level: i32| (uv - level).abs() < TENTH;
    let half = FULL_UV / 2;
    let wrong = match () {
        () if near(up, half) && near(down, half) => Some(Trouble::WideStays),
        () if near(down, half) => Some(Trouble::PullUpStays),
        () if near(up, half) => Some(Trouble::PullDownStays),
        () if near(up, HELD_UV) && down < TENTH => Some(Trouble::BusHeld),
        () if up < FULL_UV - TENTH => Some(Trouble::PullUpDead),
        () if down > TENTH => Some(Trouble::PullDownDead),
        () => None,
    };
    if let Some(wrong) = wrong {
        add(troubles, wrong);
        return;
    }
    let below = up - FULL_UV;
    let off = shift - (WIDE_SHIFT.0 * 1e6) as i32;
    let shifted = off.abs() > SHIFT_SPREAD_UV;
    if down > ZERO_UV {
        add(troubles, Trouble::Offset(down));
    } else if seen.lit == 0 {
        add(troubles, Trouble::BelowZero);
    } else if below < -GAIN * TEN_THOUSANDTH {
        add(troubles, Trouble::Gain(below / TEN_THOUSANDTH));
    } else if shifted && (0..TENTH).contains(&off) && up > FULL_UV - 2 * TEN_THOUSANDTH {
        // Above full scale the pull-up cannot show it.
        add(troubles, Trouble::Gain(2 * off / TEN_THOUSANDTH));
    } else if shifted {
        add(troubles, Trouble::Shift(seen.shift));
    }
}

/// One part in 10,000 of full scale.
const TEN_THOUSANDTH: i32 = FULL_UV / 10_000;

/// The pulled-up bus with a channel on it that something holds at 0 V:
/// 3.3 V · 22 kΩ / 122 kΩ.
const HELD_UV: i32 = (REFERENCE.0 * 1e6 * PROTECTION.0 / (PROTECTION.0 + PULL.0)) as i32;

#[cfg(test)]
mod tests {
    use super::*;
    use std::vec::Vec;

    /// 64 leads, the bus at its levels: half of 3.3 V, 3.3 V, a little above 0 V.
    const HEALTHY: Inspection = Inspection {
        drive: 0x0F,
        gate: 0x0F,
        select: 0x01,
        tripped: false,
        shift: MicroVolts(1_650_000),
        up: MicroVolts(3_299_900),
        down: MicroVolts(100),
        lit: 4_000,
    };

    fn found(seen: Inspection) -> Vec<Trouble> {
        chips(&seen).iter().copied().collect()
    }

    #[test]
    fn chips_that_do_not_answer_are_told_by_their_address() {
        assert_eq!(found(HEALTHY), []);
        let seen = Inspection {
            drive: 0x0B,
            ..HEALTHY
        };
        assert_eq!(found(seen), [Trouble::Silent(Chip::Drive, 2)]);
        // As many gate chips as there are drive chips, whichever of them answer.
        let seen = Inspection {
            gate: 0x07,
            ..HEALTHY
        };
        assert_eq!(found(seen), [Trouble::Silent(Chip::Gate, 3)]);
        // More than four banks need the second select chip.
        let seen = Inspection {
            drive: 0x1F,
            gate: 0x1F,
            ..HEALTHY
        };
        assert_eq!(found(seen), [Trouble::Silent(Chip::Select, 1)]);
        let seen = Inspection {
            select: 0,
            ..HEALTHY
        };
        assert_eq!(found(seen), [Trouble::NoneAnswers(Chip::Select)]);
        // Tripped, nothing is said of drive and gate.
        let seen = Inspection {
            tripped: true,
            gate: 0,
            ..HEALTHY
        };
        assert_eq!(found(seen), [Trouble::Tripped]);
    }

    #[test]
    fn the_bus_tells_what_moves_it() {
        let bus = |shift: i32, up: i32, down: i32| {
            found(Inspection {
                shift: MicroVolts(shift),
                up: MicroVolts(up),
                down: MicroVolts(down),
                ..HEALTHY
            })
        };
        let half = 1_650_000;
        let stuck = MicroVolts(700_000);
        assert_eq!(bus(stuck.0, stuck.0, stuck.0), [Trouble::Converter(stuck)]);
        // 3.3 V · 22 kΩ / 122 kΩ: a channel on the bus that is held at 0 V.
        let cases = [
            (half, half + 10, half - 10, Trouble::WideStays),
            (half, 3_299_900, half - 10, Trouble::PullUpStays),
            (half, half + 10, 100, Trouble::PullDownStays),
            (half, 595_082, 100, Trouble::BusHeld),
            (half, 2_500_000, 100, Trouble::PullUpDead),
            (half, 3_299_900, 2_500_000, Trouble::PullDownDead),
            (half, 3_299_900, 401, Trouble::Offset(401)),
            (half, 3_286_000, 100, Trouble::Gain(-42)),
            (half + 17_000, 3_300_000, 100, Trouble::Gain(103)),
            (
                half - 17_000,
                3_299_900,
                100,
                Trouble::Shift(MicroVolts(half - 17_000)),
            ),
        ];
        for (shift, up, down, wanted) in cases {
            assert_eq!(bus(shift, up, down), [wanted], "{shift} {up} {down}");
        }
        // Just good enough: 400 µV of offset, 0.4 % of gain, 1 % of shift.
        for (shift, up, down) in [
            (half, 3_299_900, 400),
            (half, 3_286_800, 100),
            (half + 16_500, 3_299_900, 100),
            (half - 16_500, 3_299_900, 100),
        ] {
            assert_eq!(bus(shift, up, down), [], "{shift} {up} {down}");
        }
        let seen = Inspection { lit: 0, ..HEALTHY };
        assert_eq!(found(seen), [Trouble::BelowZero]);
    }
}
