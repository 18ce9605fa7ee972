//! How a point changes by itself: steady, flashing, dimmed.

use loomproof_core::units::Micros;

/// Slower than this flashes, faster is dimmed (pulse-width modulated): above what
/// any flasher does (60 to 120 a minute, SAE J945 as quoted in NHTSA interpretation
/// letters, read) and below what dims (`common practice`: from 50 Hz).
const FASTEST_FLASH: f64 = 10.0;

/// What a point does while nobody moves a switch.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Rhythm {
    /// It stays.
    Steady,
    /// On and off, so many times a minute, on for this share of the time.
    Flashing {
        /// Cycles a minute.
        per_minute: f64,
        /// Share of the time that it is on, 0 to 1.
        on: f64,
    },
    /// On and off faster than the eye sees.
    Dimmed {
        /// Cycles a second.
        hertz: f64,
        /// Share of the time that it is on, 0 to 1.
        on: f64,
    },
    /// It changes without a rhythm.
    Unsteady,
}

impl Rhythm {
    /// By the length of a cycle, seconds, and the share of it that is on.
    #[must_use]
    pub fn of(cycle: f64, on: f64) -> Self {
        let hertz = 1.0 / cycle;
        if hertz > FASTEST_FLASH {
            Self::Dimmed { hertz, on }
        } else {
            let per_minute = 60.0 * hertz;
            Self::Flashing { per_minute, on }
        }
    }
}

/// Edges of a slow change, put together from windows.
#[derive(Debug, Clone, Default)]
pub struct Edges {
    /// When it changed, µs since the first window, and whether it rose.
    edges: Vec<(u64, bool)>,
    /// The level at the end of the last window, and when that was.
    last: Option<(bool, u64)>,
}

/// Cycles that are seen before they count, and cycles that are then averaged
/// (measured after 5 cycles, averaged over 3: SAE J945 as quoted in NHTSA
/// interpretation letters, read).
const BEFORE: usize = 5;
const AVERAGED: usize = 3;

impl Edges {
    /// Adds a window: when it began, how long it was, the level at both ends, and
    /// when the level changed in between (`None` where it did not).
    pub fn window(&mut self, began: u64, took: u64, level: (bool, bool), edges: (u64, u64)) {
        let (start, end) = level;
        if let Some((was, at)) = self.last
            && was != start
        {
            // Between two windows: in the middle of what was not seen.
            self.edges
                .push((at + (began.saturating_sub(at)) / 2, start));
        }
        let (first, last) = edges;
        if start != end {
            self.edges.push((began + first, end));
        } else if first != last {
            self.edges.push((began + first, !start));
            self.edges.push((began + last, start));
        }
        self.last = Some((end, began + took));
    }

    /// When it changed last, if it ever did, and now, µs since the first window.
    #[must_use]
    pub fn quiet_for(&self) -> u64 {
        let now = self.last.map_or(0, |(_, at)| at);
        now - self.edges.last().map_or(0, |(at, _)| *at).min(now)
    }

    /// Whether it ever changed.
    #[must_use]
    pub fn any(&self) -> bool {
        !self.edges.is_empty()
    }

    /// Whether enough whole cycles were seen.
    #[must_use]
    pub fn enough(&self) -> bool {
        self.rises().count() > BEFORE
    }

    fn rises(&self) -> impl Iterator<Item = u64> + '_ {
        let rises = self.edges.iter().filter(|(_, up)| *up);
        rises.map(|(at, _)| *at)
    }

    /// The rhythm, by the last cycles; `None` with less than one whole cycle.
    #[must_use]
    pub fn rhythm(&self) -> Option<Rhythm> {
        let rises: Vec<u64> = self.rises().collect();
        let end = *rises.last()?;
        let cycles = (rises.len() - 1).min(AVERAGED);
        let start = *rises.get(rises.len() - 1 - cycles)?;
        if cycles == 0 || end == start {
            return None;
        }
        let mut on = 0;
        let mut up = None;
        for (at, rises) in &self.edges {
            if *at < start || *at > end {
                continue;
            }
            match (rises, up) {
                (true, _) => up = Some(*at),
                (false, Some(since)) => {
                    on += at - since;
                    up = None;
                }
                (false, None) => {}
            }
        }
        let span = (end - start) as f64;
        Some(Rhythm::of(span * 1e-6 / cycles as f64, on as f64 / span))
    }
}

/// The rhythm of a fast change, by what one window saw of it.
#[must_use]
pub fn fast(
    rises: u16,
    (first_rise, last_rise): (Micros, Micros),
    high_between: Micros,
) -> Option<Rhythm> {
    let span = f64::from(last_rise.0.checked_sub(first_rise.0)?);
    let cycles = f64::from(rises.checked_sub(1)?);
    (span > 0.0 && cycles > 0.0)
        .then(|| Rhythm::of(span * 1e-6 / cycles, f64::from(high_between.0) / span))
}
