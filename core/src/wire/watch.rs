//! Looking for a while instead of once: live wiring, leads that nothing may
//! hold, joints that come apart for a moment.

use heapless::Vec;
use serde::{Deserialize, Serialize};

use super::message::{LeadId, LeadSet, Reading};
use crate::units::{Micros, MilliVolts};

/// The most leads that a [`Watch`] or a [`Feel`] names, and the most leads whose
/// breaks a guard reports one by one.
pub const MAX_WATCHED: usize = 16;

/// The longest window of a [`Watch`] or a [`Guard`]: the probe hears nothing else
/// meanwhile. Longer ones are asked for one after the other; each says when it began.
pub const MAX_WATCH: Micros = Micros(250_000);

/// Measures only, on live wiring too: looks at leads in turn for a while, through
/// the wide divider. One lead alone is looked at without a break.
///
/// Between the two limits a lead stays what it was. At the first look it counts as
/// high from half way between them.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub struct Watch {
    /// The leads, 1 to [`MAX_WATCHED`].
    pub leads: LeadSet,
    /// Below it a lead counts as low.
    pub low: MilliVolts,
    /// Above it a lead counts as high; not below `low`.
    pub high: MilliVolts,
    /// How long to look, at most [`MAX_WATCH`].
    pub span: Micros,
}

/// What a watch saw of one lead. Times are since the window began; an edge is
/// where the look that showed it was.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Hash, Serialize, Deserialize)]
pub struct Seen {
    /// The lowest look.
    pub least: MilliVolts,
    /// The highest look.
    pub most: MilliVolts,
    /// The mean of all looks.
    pub mean: MilliVolts,
    /// How many looks there were.
    pub looks: u32,
    /// The first look was high.
    pub high_at_start: bool,
    /// The lead was high in the end.
    pub high_at_end: bool,
    /// How often it went high; 65,535 also stands for more.
    pub rises: u16,
    /// How often it went low; 65,535 also stands for more.
    pub falls: u16,
    /// How long it was high, in the whole window.
    pub high_for: Micros,
    /// The first edge; 0 without edges.
    pub first_edge: Micros,
    /// The last edge; 0 without edges.
    pub last_edge: Micros,
    /// The first rise; 0 without rises.
    pub first_rise: Micros,
    /// The last rise; 0 without rises.
    pub last_rise: Micros,
    /// How long it was high between the first and the last rise.
    pub high_between: Micros,
    /// The shortest low phase that was seen from edge to edge; 0 without one.
    pub shortest_low: Micros,
    /// The longest low phase that was seen from edge to edge; 0 without one.
    pub longest_low: Micros,
    /// The shortest high phase that was seen from edge to edge; 0 without one.
    pub shortest_high: Micros,
    /// The longest high phase that was seen from edge to edge; 0 without one.
    pub longest_high: Micros,
}

impl Seen {
    /// From rise to rise, in the mean; `None` with fewer than two rises, or with more
    /// than were counted.
    #[must_use]
    pub fn period(&self) -> Option<Micros> {
        let periods = u32::from(self.rises).checked_sub(1)?;
        let counted = self.rises != u16::MAX;
        counted
            .then(|| self.between_rises().0.checked_div(periods))
            .flatten()
            .map(Micros)
    }

    /// The part of the time that it was high, over whole periods, in thousandths;
    /// `None` with fewer than two rises.
    #[must_use]
    pub fn duty_permille(&self) -> Option<u16> {
        let high = u64::from(self.high_between.0) * 1_000;
        let all = u64::from(self.between_rises().0);
        let permille = (high + all / 2).checked_div(all)?;
        u16::try_from(permille).ok()
    }

    const fn between_rises(&self) -> Micros {
        Micros(self.last_rise.0.saturating_sub(self.first_rise.0))
    }
}

/// Measures only: does anything hold this lead?
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub struct Feel {
    /// The leads, 1 to [`MAX_WATCHED`].
    pub leads: LeadSet,
    /// How long a lead needs behind the weak pull, by the plan's capacitances.
    pub pulled: Micros,
}

/// What one lead does when it is pulled.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub struct Felt {
    /// Undriven, through the wide divider.
    pub wide: MilliVolts,
    /// Under the weak pull down, then up; not pulled where the first look is
    /// outside what the narrow range can read (−0.2 to 3.5 V): something holds it.
    pub pulled: Option<(Reading, Reading)>,
}

/// Watches dead joints; only while armed. `low` is driven to 0 V (or the chassis
/// does that, where the net hangs on it), the watched leads are pulled up: a lead
/// whose joint opens rises.
///
/// Two leads and more are pulled up weakly and read as low or high
/// (`loomproof_firmware::guard` says how many may be, what is surely seen and what
/// is not). One lead alone is driven high through its source and read all the time,
/// which sees 1 kΩ. There, all of `low` is to be on its net, and none where the
/// chassis holds it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub struct Guard {
    /// Leads driven to 0 V.
    pub low: LeadSet,
    /// Leads that are watched, none of them in `low`.
    pub watched: LeadSet,
    /// How long to watch, at most [`MAX_WATCH`].
    pub span: Micros,
}

/// How one watched lead let go.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub struct Break {
    /// The lead.
    pub lead: LeadId,
    /// How often; 65,535 also stands for more.
    pub count: u16,
    /// When it was first seen open, since the window began.
    pub first: Micros,
    /// The longest that it was seen open; one that lasts is counted to the end.
    pub longest: Micros,
    /// It was open in the end.
    pub open_at_end: bool,
}

/// What each lead of a watch showed, in lead order.
pub type AllSeen = Vec<Seen, MAX_WATCHED>;

/// What each lead of a feel showed, in lead order.
pub type AllFelt = Vec<Felt, MAX_WATCHED>;

/// Leads that let go, in the order in which they were found.
pub type Breaks = Vec<Break, MAX_WATCHED>;

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn period_and_duty_need_two_rises() {
        let mut seen = Seen {
            rises: 1,
            first_rise: Micros(40),
            last_rise: Micros(40),
            ..Seen::default()
        };
        assert_eq!((seen.period(), seen.duty_permille()), (None, None));
        seen.rises = 5;
        seen.last_rise = Micros(4_040);
        seen.high_between = Micros(1_000);
        assert_eq!(seen.period(), Some(Micros(1_000)));
        assert_eq!(seen.duty_permille(), Some(250));
        // More rises than were counted: how many is not known, how long is.
        seen.rises = u16::MAX;
        assert_eq!((seen.period(), seen.duty_permille()), (None, Some(250)));
        assert_eq!(Seen::default().period(), None);
    }
}
