//! What the looks of a watch add up to, lead by lead. Nothing but what is reported
//! is kept: there are sixteen of these at once.

use loomproof_core::units::{Micros, MilliVolts};
use loomproof_core::wire::{Seen, Watch};

/// The longest window and the shortest time between two looks (9 µs) make 28,000
/// looks of at most 38 V: their sum, in millivolts, fits.
const _: () = assert!(
    loomproof_core::wire::MAX_WATCH.0 / 9 * 38_000 < i32::MAX as u32,
    "the sum of all looks fits"
);

/// Adds a look at `at`, microseconds since the window began. Until [`finish`],
/// `mean` holds the sum of the looks and `high_for` the high phases that are over.
pub fn look(seen: &mut Seen, watch: &Watch, mv: i32, at: Micros) {
    if seen.looks == 0 {
        let (low, high) = (i64::from(watch.low.0), i64::from(watch.high.0));
        let high = i64::from(mv) * 2 >= low + high;
        *seen = Seen {
            least: MilliVolts(mv),
            most: MilliVolts(mv),
            high_at_start: high,
            high_at_end: high,
            ..Seen::default()
        };
    }
    seen.looks += 1;
    seen.mean.0 = seen.mean.0.saturating_add(mv);
    seen.least.0 = seen.least.0.min(mv);
    seen.most.0 = seen.most.0.max(mv);
    if seen.high_at_end && mv < watch.low.0 {
        fall(seen, at);
    } else if !seen.high_at_end && mv > watch.high.0 {
        rise(seen, at);
    }
}

fn rise(seen: &mut Seen, at: Micros) {
    if seen.rises == 0 {
        seen.first_rise = at;
    }
    // Before the first rise it can only have been high from the start to the first edge.
    let before = if seen.high_at_start {
        seen.first_edge.0
    } else {
        0
    };
    seen.high_between = Micros(seen.high_for.0.saturating_sub(before));
    seen.last_rise = at;
    let (shortest, longest) = (&mut seen.shortest_low, &mut seen.longest_low);
    phase(shortest, longest, seen.falls, seen.last_edge, at);
    seen.rises = seen.rises.saturating_add(1);
    edge(seen, at);
}

fn fall(seen: &mut Seen, at: Micros) {
    let lasted = at.0.saturating_sub(seen.last_edge.0);
    seen.high_for.0 = seen.high_for.0.saturating_add(lasted);
    let (shortest, longest) = (&mut seen.shortest_high, &mut seen.longest_high);
    phase(shortest, longest, seen.rises, seen.last_edge, at);
    seen.falls = seen.falls.saturating_add(1);
    edge(seen, at);
}

/// A phase that ends at `to`; whole only if an edge began it.
fn phase(shortest: &mut Micros, longest: &mut Micros, began: u16, from: Micros, to: Micros) {
    let lasted = Micros(to.0.saturating_sub(from.0));
    if began != 0 {
        *longest = lasted.max(*longest);
        if *shortest == Micros(0) || lasted < *shortest {
            *shortest = lasted;
        }
    }
}

fn edge(seen: &mut Seen, at: Micros) {
    if seen.rises.saturating_add(seen.falls) == 1 {
        seen.first_edge = at;
    }
    seen.last_edge = at;
    seen.high_at_end = !seen.high_at_end;
}

/// Closes the window, which lasted for `took`.
pub fn finish(seen: &mut Seen, took: Micros) {
    if seen.high_at_end {
        let lasted = took.0.saturating_sub(seen.last_edge.0);
        seen.high_for.0 = seen.high_for.0.saturating_add(lasted);
    }
    let looks = i32::try_from(seen.looks).unwrap_or(i32::MAX);
    seen.mean.0 = seen.mean.0.checked_div(looks).unwrap_or(0);
}

#[cfg(test)]
mod tests {
    use super::*;
    use loomproof_core::wire::LeadSet;

    const LIMITS: Watch = Watch {
        leads: LeadSet::EMPTY,
        low: MilliVolts(4_000),
        high: MilliVolts(8_000),
        span: Micros(100),
    };

    fn seen(looks: &[(u32, i32)], took: u32) -> Seen {
        let mut seen = Seen::default();
        for (at, mv) in looks {
            look(&mut seen, &LIMITS, *mv, Micros(*at));
        }
        finish(&mut seen, Micros(took));
        seen
    }

    #[test]
    fn steady_levels_have_no_edges() {
        let low = seen(&[(0, 10), (10, 30), (20, 7_999)], 30);
        assert!(!low.high_at_start && !low.high_at_end);
        assert_eq!((low.rises, low.falls, low.looks), (0, 0, 3));
        assert_eq!((low.least.0, low.most.0, low.mean.0), (10, 7_999, 2_679));
        assert_eq!((low.high_for, low.last_edge), (Micros(0), Micros(0)));
        let high = seen(&[(0, 12_000), (10, 4_001)], 30);
        assert!(high.high_at_start && high.high_at_end);
        assert_eq!(high.high_for, Micros(30));
        assert_eq!(
            (high.shortest_high, high.longest_high),
            (Micros(0), Micros(0))
        );
        // Between the limits at first: half way counts.
        assert!(seen(&[(0, 6_000)], 1).high_at_start);
        assert!(!seen(&[(0, 5_999)], 1).high_at_start);
        assert!(!seen(&[(0, -12_000)], 1).high_at_start);
    }

    #[test]
    fn edges_phases_and_what_is_cut_off() {
        // High to 10, low to 40, high to 60, low to 70, high to 100, low to the end.
        let edges = [
            (0, 12_000),
            (10, 0),
            (40, 12_000),
            (60, 0),
            (70, 12_000),
            (100, 0),
        ];
        let s = seen(&edges, 130);
        assert!(s.high_at_start && !s.high_at_end);
        assert_eq!((s.rises, s.falls), (2, 3));
        assert_eq!((s.first_edge, s.last_edge), (Micros(10), Micros(100)));
        assert_eq!((s.first_rise, s.last_rise), (Micros(40), Micros(70)));
        assert_eq!(s.high_between, Micros(20));
        assert_eq!(s.high_for, Micros(10 + 20 + 30));
        assert_eq!((s.shortest_low, s.longest_low), (Micros(10), Micros(30)));
        // The first high phase has no beginning, so it is no whole one.
        assert_eq!((s.shortest_high, s.longest_high), (Micros(20), Micros(30)));
        assert_eq!(
            (s.period(), s.duty_permille()),
            (Some(Micros(30)), Some(667))
        );
        // Low at first: the same counts from the first rise.
        let s = seen(&[(0, 0), (20, 9_000), (25, 0), (40, 9_000)], 50);
        assert_eq!(s.high_between, Micros(5));
        assert_eq!(s.high_for, Micros(15));
        assert_eq!((s.shortest_low, s.shortest_high), (Micros(15), Micros(5)));
        assert!(s.high_at_end);
    }

    #[test]
    fn what_stays_between_the_limits_makes_no_edge() {
        let s = seen(&[(0, 0), (1, 7_000), (2, 8_001), (3, 4_000), (4, 3_999)], 5);
        assert_eq!((s.rises, s.falls), (1, 1));
        assert_eq!(s.longest_high, Micros(2));
    }
}
