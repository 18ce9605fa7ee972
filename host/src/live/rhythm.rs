//! How a point changes by itself: steady, flashing, dimmed.

use loomproof_core::units::Micros;

/// Slower than this flashes, faster is dimmed (pulse-width modulated): above what
/// any flasher does (60 to 120 a minute, SAE J945 as quoted in NHTSA interpretation
/// letters, read) and below what dims (`common practice`: from 50 Hz).
const FASTEST_FLASH: f64 = 10.0;

/// Flashes a minute that the rules allow, least and most: 90 ± 30 (UN R53 6.3.8.1,
/// quoted, read; SAE J945, variable load, in the same letters, read).
pub const ALLOWED: (f64, f64) = (60.0, 120.0);

/// Whether the rules allow so many flashes a minute.
#[must_use]
pub fn allowed(per_minute: f64) -> bool {
    (ALLOWED.0..=ALLOWED.1).contains(&per_minute)
}

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
    /// When the first window began, of those that follow each other.
    began: Option<u64>,
    /// It changed before these.
    before: bool,
}

/// Cycles that a flasher does before it counts, and cycles that are then averaged
/// (measured after 5 cycles, averaged over 3: SAE J945 as quoted in NHTSA
/// interpretation letters, read).
const BEFORE: usize = 5;
const AVERAGED: usize = 3;

impl Edges {
    /// Adds a window: when it began, how long it was, the level at both ends, and
    /// when the level changed in between (`None` where it did not).
    pub fn window(&mut self, began: u64, took: u64, level: (bool, bool), edges: (u64, u64)) {
        let (start, end) = level;
        self.began.get_or_insert(began);
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

    /// The next window does not follow the last one: nothing is known of the time in
    /// between, and only that it changes is kept of what was before.
    pub fn begin_anew(&mut self) {
        *self = Self {
            before: self.any(),
            ..Self::default()
        };
    }

    /// For how long it has been seen not to change, µs.
    #[must_use]
    pub fn quiet_for(&self) -> u64 {
        let now = self.last.map_or(0, |(_, at)| at);
        let since = self.edges.last().map(|(at, _)| *at).or(self.began);
        now - since.unwrap_or(0).min(now)
    }

    /// Whether it ever changed.
    #[must_use]
    pub fn any(&self) -> bool {
        self.before || !self.edges.is_empty()
    }

    /// Whether enough whole cycles were seen.
    #[must_use]
    pub fn enough(&self) -> bool {
        self.cycles().count() >= BEFORE + AVERAGED
    }

    /// The whole cycles, each from one rise to the next: how long it took, seconds,
    /// and the share of it that is on.
    fn cycles(&self) -> impl Iterator<Item = (f64, f64)> + '_ {
        let mut rise = None;
        let mut on = 0;
        self.edges.iter().filter_map(move |&(at, up)| {
            let since = at - rise.unwrap_or(at);
            if !up {
                on = since;
                return None;
            }
            rise = Some(at);
            let on = std::mem::take(&mut on);
            (since > 0).then(|| (since as f64 * 1e-6, on as f64 / since as f64))
        })
    }

    /// The rhythm, by the last cycles; `None` with less than one whole cycle.
    ///
    /// Every cycle has a rate of its own, and these are averaged, as the letters
    /// do: of two short cycles and a long one the short ones count twice as much.
    #[must_use]
    pub fn rhythm(&self) -> Option<Rhythm> {
        let cycles: Vec<(f64, f64)> = self.cycles().collect();
        let last = cycles.len().min(AVERAGED);
        let (mut rate, mut share) = (0.0, 0.0);
        for (took, on) in cycles.iter().rev().take(last) {
            rate += 1.0 / took / last as f64;
            share += on / last as f64;
        }
        (last > 0).then(|| Rhythm::of(1.0 / rate, share))
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

#[cfg(test)]
mod tests {
    use super::*;

    /// Edges of what is on and off for so many milliseconds in turn, seen in
    /// windows of 70 ms with 5 ms between them.
    fn seen(pattern: &[u64]) -> Edges {
        let mut at = 20_000;
        let mut changes = vec![];
        for (number, ms) in pattern.iter().enumerate() {
            changes.push((at, number % 2 == 0));
            at += ms * 1000;
        }
        let level = |at: u64| {
            changes
                .iter()
                .rfind(|(when, _)| *when <= at)
                .is_some_and(|it| it.1)
        };
        let mut edges = Edges::default();
        for began in (0..at).step_by(75_000) {
            let inside = |(when, _): &&(u64, bool)| *when > began && *when <= began + 70_000;
            let mut inside = changes.iter().filter(inside).map(|(when, _)| when - began);
            let first = inside.next().unwrap_or(0);
            let last = inside.next_back().unwrap_or(first);
            edges.window(
                began,
                70_000,
                (level(began), level(began + 70_000)),
                (first, last),
            );
        }
        edges
    }

    #[test]
    fn what_is_seen_between_windows_costs_little() {
        for (on, off) in [(333, 334), (150, 517), (600, 400)] {
            let edges = seen(&[on, off].repeat(10));
            assert!(edges.enough());
            let Some(Rhythm::Flashing {
                per_minute,
                on: share,
            }) = edges.rhythm()
            else {
                panic!("it flashes");
            };
            let wanted = 60_000.0 / (on + off) as f64;
            assert!(
                (per_minute / wanted - 1.0).abs() < 0.01,
                "{per_minute} of {wanted}"
            );
            assert!(
                (share - on as f64 / (on + off) as f64).abs() < 0.01,
                "{share}"
            );
        }
    }

    #[test]
    fn a_flasher_that_starts_slowly_is_judged_by_what_follows() {
        let mut pattern = [600, 600].repeat(5);
        pattern.extend([300, 300].repeat(3));
        assert!(!seen(&pattern).enough(), "the eighth cycle has not ended");
        pattern.push(300);
        let edges = seen(&pattern);
        assert!(edges.enough());
        let Some(Rhythm::Flashing { per_minute, .. }) = edges.rhythm() else {
            panic!("it flashes");
        };
        assert!((per_minute - 100.0).abs() < 1.0, "{per_minute}");
    }

    #[test]
    fn time_that_nobody_looked_in_counts_for_nothing() {
        let mut edges = seen(&[300, 300]);
        assert!(edges.any() && !edges.enough());
        edges.begin_anew();
        // Twenty seconds later it still flashes: on at both ends of the first window.
        edges.window(20_000_000, 70_000, (true, true), (0, 0));
        assert!(edges.any(), "it is known to change");
        assert_eq!(edges.quiet_for(), 70_000);
        edges.window(20_075_000, 70_000, (true, false), (30_000, 30_000));
        assert_eq!(edges.quiet_for(), 40_000);
        assert_eq!(edges.rhythm(), None);
    }

    #[test]
    fn less_than_a_cycle_has_no_rhythm() {
        assert_eq!(seen(&[300, 300]).rhythm(), None);
        assert_eq!(seen(&[]).rhythm(), None);
        assert!(!allowed(59.9) && allowed(60.0) && allowed(120.0) && !allowed(120.1));
        assert!(!allowed(f64::NAN));
    }
}
