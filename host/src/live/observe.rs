//! What every test point does in one state of the switches.

use loomproof_core::units::{Micros, MilliVolts, Volts};
use loomproof_core::wire::{
    AllFelt, AllSeen, Feel, Felt, LeadId, LeadSet, MAX_WATCH, MAX_WATCHED, Reading, Refusal, Reply,
    Request, Seen, Watch,
};

use super::rhythm::{Edges, Rhythm};
use crate::link::{Link, LinkError};
use crate::powered::{HIGH, LOW};

/// How long the points are looked at before it is known what they do.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Patience {
    /// One window on a group of points.
    pub window: Micros,
    /// Every point is looked at again over this span.
    pub looked: Micros,
}

impl Patience {
    /// Long enough for the slowest flash that the rules allow (60 a minute) to show.
    pub const FULL: Self = Self {
        window: MAX_WATCH,
        looked: Micros(1_100_000),
    };

    /// For vehicles in which nothing flashes: a window holds a whole cycle of the
    /// slowest dimming (50 Hz).
    pub const SHORT: Self = Self {
        window: Micros(21_000),
        looked: Micros(1),
    };
}

/// A point that changed is watched until it flashed often enough, or rested for
/// twice the slowest cycle.
const RESTED: u64 = 4_200_000;

/// The longest that one group of points is watched for its rhythm: eight cycles of
/// 0.5 Hz and what comes before.
const LONGEST: u64 = 20_000_000;

/// More rises than this in one window is no flashing.
const FAST: u16 = 3;

/// How long a lead needs behind the weak pull: 100 kΩ into 10 nF, to a hundredth.
const PULLED: Micros = Micros(5_000);

/// Beyond what the narrow range reads.
const NARROW: f64 = 3.3;

/// What the probe found at one point.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Observed {
    /// The probe lead.
    pub lead: LeadId,
    /// Voltage while it is on; the voltage, where it is steady.
    pub on: Volts,
    /// Voltage while it is off; the same where it is steady.
    pub off: Volts,
    /// Behind the weak pulls down and up, where both could be tried.
    pub pulled: Option<(Volts, Volts)>,
    /// How it changes by itself.
    pub rhythm: Rhythm,
}

/// Both pulls must move a point by this much together for nothing to hold it:
/// more than 10 kΩ to chassis lets them (0.3 V), less than an open lead does (3.3 V).
pub const FLOATS: Volts = Volts(2.5);

impl Observed {
    /// Whether nothing holds the point: it follows the weak pulls both ways.
    #[must_use]
    pub fn floats(&self) -> bool {
        self.pulled
            .is_some_and(|(down, up)| (up - down).0 > FLOATS.0)
    }
}

/// Why nothing was observed.
#[derive(Debug, thiserror::Error)]
pub enum ObserveError {
    /// The link failed.
    #[error(transparent)]
    Link(#[from] LinkError),
    /// The probe did not carry it out.
    #[error(
        "the probe would not look ({0:?}); unclip it, run `loomproof probe self-test`, and check \
         again"
    )]
    Refused(Refusal),
    /// The probe answered something else.
    #[error(
        "the probe answered a look with something else; update its firmware, or unplug it and \
         plug it in again"
    )]
    WrongReply,
}

/// What windows showed of one lead.
#[derive(Debug, Clone)]
struct Track {
    lead: LeadId,
    edges: Edges,
    least: f64,
    most: f64,
    last: f64,
    dimmed: Option<Rhythm>,
    fast: bool,
}

impl Track {
    fn new(lead: LeadId) -> Self {
        Self {
            lead,
            edges: Edges::default(),
            least: f64::INFINITY,
            most: f64::NEG_INFINITY,
            last: 0.0,
            dimmed: None,
            fast: false,
        }
    }

    fn window(&mut self, seen: &Seen, began: u64, took: u64) {
        self.least = self.least.min(seen.least.volts().0);
        self.most = self.most.max(seen.most.volts().0);
        self.last = seen.mean.volts().0;
        self.fast |= seen.rises >= FAST;
        self.edges.window(
            began,
            took,
            (seen.high_at_start, seen.high_at_end),
            (u64::from(seen.first_edge.0), u64::from(seen.last_edge.0)),
        );
    }

    fn undecided(&self) -> bool {
        !self.fast && self.edges.any() && !self.edges.enough() && self.edges.quiet_for() < RESTED
    }

    fn rhythm(&self) -> Rhythm {
        if self.fast {
            return self.dimmed.unwrap_or(Rhythm::Unsteady);
        }
        if !self.edges.any() || self.edges.quiet_for() >= RESTED {
            return Rhythm::Steady;
        }
        if self.edges.enough() {
            return self.edges.rhythm().unwrap_or(Rhythm::Unsteady);
        }
        Rhythm::Unsteady
    }
}

/// Looks at leads through one link; the limits are by the supply.
struct Eyes<'l> {
    link: &'l mut dyn Link,
    low: MilliVolts,
    high: MilliVolts,
    /// The probe's clock, unwrapped, and its last reading.
    now: u64,
    clock: Option<Micros>,
}

impl Eyes<'_> {
    /// A window on a few leads, and when it began.
    fn watch(
        &mut self,
        leads: &[LeadId],
        span: Micros,
    ) -> Result<(AllSeen, u64, u64), ObserveError> {
        let request = Request::Watch(Watch {
            leads: leads.iter().copied().collect(),
            low: self.low,
            high: self.high,
            span,
        });
        match self.link.exchange(&request)? {
            Reply::Watched { seen, at, took, .. } => {
                let passed = self.clock.map_or(0, |before| at.0.wrapping_sub(before.0));
                self.clock = Some(at);
                self.now += u64::from(passed);
                Ok((seen, self.now, u64::from(took.0)))
            }
            Reply::Refused(refusal) => Err(ObserveError::Refused(refusal)),
            _ => Err(ObserveError::WrongReply),
        }
    }

    fn feel(&mut self, leads: &[LeadId]) -> Result<AllFelt, ObserveError> {
        let leads: LeadSet = leads.iter().copied().collect();
        let request = Request::Feel(Feel {
            leads,
            pulled: PULLED,
        });
        match self.link.exchange(&request)? {
            Reply::Felt(felt) => Ok(felt),
            Reply::Refused(refusal) => Err(ObserveError::Refused(refusal)),
            _ => Err(ObserveError::WrongReply),
        }
    }

    fn window(&mut self, tracks: &mut [Track], span: Micros) -> Result<u64, ObserveError> {
        let leads: Vec<LeadId> = tracks.iter().map(|track| track.lead).collect();
        let (seen, began, took) = self.watch(&leads, span)?;
        for (track, seen) in tracks.iter_mut().zip(&seen) {
            track.window(seen, began, took);
        }
        Ok(began + took)
    }
}

/// Looks at leads (in rising order) until it is clear what each does.
///
/// # Errors
/// [`ObserveError`] when link or probe fail.
pub fn observe(
    link: &mut dyn Link,
    leads: &[LeadId],
    supply: Volts,
    patience: Patience,
) -> Result<Vec<Observed>, ObserveError> {
    let level = |share: f64| MilliVolts((supply.0 * share * 1e3) as i32);
    let mut eyes = Eyes {
        link,
        low: level(LOW),
        high: level(HIGH),
        now: 0,
        clock: None,
    };
    let mut tracks: Vec<Track> = leads.iter().copied().map(Track::new).collect();
    let mut now = 0;
    let mut passes = 0;
    // Twice at least: what comes to rest after a switch was moved is in the first.
    while now < u64::from(patience.looked.0) || passes < 2 {
        passes += 1;
        for group in tracks.chunks_mut(MAX_WATCHED) {
            now = eyes.window(group, patience.window)?;
        }
        if tracks.is_empty() {
            break;
        }
    }
    for group in tracks.chunks_mut(MAX_WATCHED) {
        let until = now + LONGEST;
        // The groups before this one took their time, in which nobody looked here.
        for track in group.iter_mut().filter(|track| track.undecided()) {
            track.edges.begin_anew();
        }
        while group.iter().any(Track::undecided) && now < until {
            now = eyes.window(group, MAX_WATCH)?;
        }
    }
    for track in tracks.iter_mut().filter(|track| track.fast) {
        let (seen, ..) = eyes.watch(&[track.lead], MAX_WATCH)?;
        track.dimmed = seen.first().and_then(|seen| {
            super::rhythm::fast(
                seen.rises,
                (seen.first_rise, seen.last_rise),
                seen.high_between,
            )
        });
    }
    let mut all = Vec::with_capacity(tracks.len());
    for group in tracks.chunks(MAX_WATCHED) {
        let leads: Vec<LeadId> = group.iter().map(|track| track.lead).collect();
        let felt = eyes.feel(&leads)?;
        all.extend(
            group
                .iter()
                .zip(&felt)
                .map(|(track, felt)| observed(track, felt)),
        );
    }
    Ok(all)
}

fn observed(track: &Track, felt: &Felt) -> Observed {
    let rhythm = track.rhythm();
    let (on, off) = match rhythm {
        Rhythm::Steady => (track.last, track.last),
        Rhythm::Flashing { .. } | Rhythm::Dimmed { .. } | Rhythm::Unsteady => {
            (track.most, track.least)
        }
    };
    Observed {
        lead: track.lead,
        on: Volts(on),
        off: Volts(off),
        pulled: felt.pulled.map(|(down, up)| (volts(down), volts(up))),
        rhythm,
    }
}

fn volts(reading: Reading) -> Volts {
    match reading {
        Reading::Volts(volts) | Reading::NotSettled(volts) => volts.volts(),
        Reading::Above => Volts(NARROW),
        Reading::Below => Volts(0.0),
    }
}
