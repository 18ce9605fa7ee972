//! One window of watching after the other.

use loomproof_core::scan::path_ohms;
use loomproof_core::units::{Farads, Micros, MilliVolts, Ohms, Volts};
use loomproof_core::wire::{
    Guard, LeadId, LeadSet, MAX_WATCH, Place, Reading, Refusal, Reply, Request, Seen, Sense,
    SenseMode, Step, Watch,
};
use loomproof_firmware::guard::{rise, set_back, shortest_alone};

use super::spots::Group;
use crate::link::{Link, LinkError};

/// The SPI clock that the boards run at, for what is certain before the first window
/// has said what its longest round was (docs/probe-hardware.md, S108).
const SPI_KHZ: u32 = 10_000;

/// Through the wide divider, what falls needs so long to the lower limit (the
/// supply to 0.3 of it): 23 kΩ on 1 nF of wiring and 150 pF of the probe, and ln(1 / 0.3).
const FALL: f64 = 23_000.0 * 1.15e-9 * 1.203_972_8;

/// How long the wiring settles before a path is measured, as in a scan of wiring
/// without modules.
const SETTLE: Micros = Micros(1_000);

/// Conversions of such a reading.
const SAMPLES: u8 = 8;

/// A lead that let go.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Loose {
    /// The lead.
    pub lead: LeadId,
    /// How often.
    pub count: u32,
    /// When first, since the window began, microseconds.
    pub first: u64,
    /// For how long at most, microseconds.
    pub longest: u64,
    /// It was open in the end.
    pub open_at_end: bool,
}

/// What one window of a group showed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Window {
    /// The group, by its place.
    pub group: usize,
    /// When it began, by the probe's clock, microseconds since the first window.
    pub began: u64,
    /// How long it was, microseconds.
    pub took: u64,
    /// The longest time between two looks at one lead.
    pub round: Micros,
    /// Leads that let go.
    pub loose: Vec<Loose>,
    /// More leads let go than the probe had room for.
    pub more: u8,
}

/// Why watching ended.
#[derive(Debug, thiserror::Error)]
pub enum Trouble {
    /// The link failed.
    #[error(transparent)]
    Link(#[from] LinkError),
    /// The probe did not carry it out.
    #[error("the probe let go ({0:?})")]
    Refused(Refusal),
    /// The probe answered something else.
    #[error(
        "the probe answered with something else; update its firmware, or unplug it and plug it in \
         again"
    )]
    WrongReply,
}

/// Asks one probe for windows, on its own clock.
pub struct Rounds<'l> {
    link: &'l mut dyn Link,
    /// Limits of a live watch: below low, above high.
    limits: Option<(MilliVolts, MilliVolts)>,
    now: u64,
    clock: Option<Micros>,
}

impl<'l> Rounds<'l> {
    /// Dead watching; the probe is armed.
    ///
    /// # Errors
    /// [`Trouble`] where the probe refuses.
    pub fn dead(link: &'l mut dyn Link, place: Place) -> Result<Self, Trouble> {
        match link.exchange(&Request::Arm(place))? {
            Reply::Armed => Ok(Self {
                link,
                limits: None,
                now: 0,
                clock: None,
            }),
            Reply::Refused(refusal) => Err(Trouble::Refused(refusal)),
            _ => Err(Trouble::WrongReply),
        }
    }

    /// Live watching; nothing is driven.
    #[must_use]
    pub fn live(link: &'l mut dyn Link, low: Volts, high: Volts) -> Self {
        let millivolts = |Volts(volts): Volts| MilliVolts((volts * 1e3) as i32);
        Self {
            link,
            limits: Some((millivolts(low), millivolts(high))),
            now: 0,
            clock: None,
        }
    }

    /// Microseconds since the first window began, up to the end of the last one.
    #[must_use]
    pub fn now(&self) -> u64 {
        self.now
    }

    /// One window on a group.
    ///
    /// # Errors
    /// [`Trouble`] when link or probe fail.
    pub fn window(&mut self, at: usize, group: &Group, span: Micros) -> Result<Window, Trouble> {
        let span = Micros(span.0.min(MAX_WATCH.0));
        match self.limits {
            None => self.guard(at, group, span),
            Some(limits) => self.watch(at, group, limits, span),
        }
    }

    fn guard(&mut self, group: usize, of: &Group, span: Micros) -> Result<Window, Trouble> {
        let request = Request::Guard(Guard {
            low: of.low,
            watched: of.watched,
            span,
        });
        match self.link.exchange(&request)? {
            Reply::Guarded {
                breaks,
                more,
                at,
                took,
                round,
            } => {
                let loose = breaks.iter().map(|found| Loose {
                    lead: found.lead,
                    count: u32::from(found.count),
                    first: u64::from(found.first.0),
                    longest: u64::from(found.longest.0),
                    open_at_end: found.open_at_end,
                });
                Ok(self.taken(group, (at, took, round), loose.collect(), more))
            }
            Reply::Refused(refusal) => Err(Trouble::Refused(refusal)),
            _ => Err(Trouble::WrongReply),
        }
    }

    fn watch(
        &mut self,
        group: usize,
        of: &Group,
        (low, high): (MilliVolts, MilliVolts),
        span: Micros,
    ) -> Result<Window, Trouble> {
        let request = Request::Watch(Watch {
            leads: of.watched,
            low,
            high,
            span,
        });
        match self.link.exchange(&request)? {
            Reply::Watched {
                seen,
                at,
                took,
                round,
            } => {
                let seen = of.watched.iter().zip(&seen);
                let loose = seen
                    .filter_map(|(lead, seen)| let_go(lead, seen, of.high.contains(lead), took));
                let loose = loose.collect();
                Ok(self.taken(group, (at, took, round), loose, 0))
            }
            Reply::Refused(refusal) => Err(Trouble::Refused(refusal)),
            _ => Err(Trouble::WrongReply),
        }
    }

    fn taken(
        &mut self,
        group: usize,
        (at, took, round): (Micros, Micros, Micros),
        loose: Vec<Loose>,
        more: u8,
    ) -> Window {
        let passed = self.clock.map_or(0, |before| at.0.wrapping_sub(before.0));
        let began = self.now + u64::from(passed);
        self.clock = Some(Micros(at.0.wrapping_add(took.0)));
        self.now = began + u64::from(took.0);
        Window {
            group,
            began,
            took: u64::from(took.0),
            round,
            loose,
            more,
        }
    }

    /// The ohms between a watched lead and what it is measured against, clips
    /// included; infinite while it is open.
    ///
    /// # Errors
    /// [`Trouble`] when link or probe fail.
    pub fn ohms(&mut self, lead: LeadId, against: Option<LeadId>) -> Result<Ohms, Trouble> {
        let senses = [Some(lead), against].into_iter().flatten();
        let request = Request::Step(Step {
            high: LeadSet::from_iter([lead]),
            low: against.into_iter().collect(),
            settle: SETTLE,
            pulled: SETTLE,
            samples: SAMPLES,
            senses: senses
                .map(|lead| Sense {
                    lead,
                    mode: SenseMode::Plain,
                })
                .collect(),
        });
        match self.link.exchange(&request)? {
            Reply::Readings { readings, .. } => {
                let mut volts = readings.iter().map(|reading| match reading {
                    Reading::Volts(volts) | Reading::NotSettled(volts) => volts.volts(),
                    Reading::Above => loomproof_core::instrument::REFERENCE,
                    Reading::Below => Volts(0.0),
                });
                let near = volts.next().ok_or(Trouble::WrongReply)?;
                let far = volts.next();
                let sources = if far.is_some() { 2 } else { 1 };
                let ohms = path_ohms(sources, near - far.unwrap_or(Volts(0.0)));
                Ok(Ohms(ohms.0.max(0.0)))
            }
            Reply::Refused(refusal) => Err(Trouble::Refused(refusal)),
            _ => Err(Trouble::WrongReply),
        }
    }
}

/// What one window of a live watch says of one lead: away from where it belongs.
fn let_go(lead: LeadId, seen: &Seen, belongs_high: bool, took: Micros) -> Option<Loose> {
    let well = |high: bool| high == belongs_high;
    let (leaves, longest_away) = if belongs_high {
        (seen.falls, seen.longest_low)
    } else {
        (seen.rises, seen.longest_high)
    };
    let (starts, ends) = (well(seen.high_at_start), well(seen.high_at_end));
    if starts && leaves == 0 {
        return None;
    }
    let edges = seen.falls > 0 || seen.rises > 0;
    let mut longest = longest_away.0;
    let first = if starts {
        seen.first_edge.0
    } else {
        longest = longest.max(if edges { seen.first_edge.0 } else { took.0 });
        0
    };
    if !ends && edges {
        longest = longest.max(took.0.saturating_sub(seen.last_edge.0));
    }
    Some(Loose {
        lead,
        count: u32::from(leaves) + u32::from(!starts),
        first: u64::from(first),
        longest: u64::from(longest),
        open_at_end: !ends,
    })
}

/// The shortest dropout that is certain in a dead group, by the longest round that
/// its windows had; before the first, by bits and waits.
#[must_use]
pub fn certain_dead(group: &Group, round: Option<Micros>) -> Micros {
    let n = u8::try_from(group.watched.len()).unwrap_or(u8::MAX);
    if n == 1 {
        return shortest_alone(SPI_KHZ);
    }
    let round = round.unwrap_or_else(|| loomproof_firmware::guard::round(n, SPI_KHZ));
    let Farads(wiring) = group.wiring;
    Micros(rise(Farads(wiring)).0 + set_back(SPI_KHZ).0 + round.0)
}

/// One look, conversion and routing, and the longest time between two at one lead
/// alone (docs/probe-hardware.md, "Watching live wiring").
const LOOK: f64 = 10.6;
const ALONE: f64 = 18.0;

/// The same in a live group: what floats is drawn down only while it is looked at,
/// and is looked at again twice within that.
#[must_use]
pub fn certain_live(group: &Group, round: Option<Micros>) -> Micros {
    let n = group.watched.len().max(1) as f64;
    let round = round.map_or(if n > 1.0 { LOOK * n } else { ALONE } as u32, |round| {
        round.0
    });
    Micros((FALL * n * 1e6) as u32 + 2 * round)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_lead_that_leaves_its_level_let_go() {
        let seen = Seen {
            high_at_start: true,
            high_at_end: true,
            falls: 2,
            rises: 2,
            first_edge: Micros(70),
            last_edge: Micros(900),
            longest_low: Micros(300),
            ..Seen::default()
        };
        let took = Micros(1_000);
        let one = let_go(LeadId(3), &seen, true, took).expect("it fell");
        assert_eq!((one.count, one.first, one.longest), (2, 70, 300));
        assert!(!one.open_at_end);
        // The same of a lead that belongs low: away at both ends.
        let other = let_go(LeadId(3), &seen, false, took).expect("it is high");
        assert_eq!((other.count, other.first, other.longest), (3, 0, 100));
        assert!(other.open_at_end);
        let quiet = Seen {
            high_at_start: true,
            high_at_end: true,
            ..Seen::default()
        };
        assert_eq!(let_go(LeadId(3), &quiet, true, took), None);
        let away = let_go(LeadId(3), &quiet, false, took).expect("high all the time");
        assert_eq!(
            (away.count, away.longest, away.open_at_end),
            (1, 1_000, true)
        );
    }
}
