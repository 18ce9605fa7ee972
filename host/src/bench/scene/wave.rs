//! What comes and goes by the clock.

/// Something that is on for a while, again and again.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(in crate::bench) struct Wave {
    /// When it is on for the first time, ns.
    pub(in crate::bench) first: u64,
    /// From one beginning to the next, ns.
    pub(in crate::bench) period: f64,
    /// How long it is on, ns; less than the period.
    pub(in crate::bench) on: f64,
}

impl Wave {
    fn rise(self, turn: u64) -> u64 {
        self.first + (turn as f64 * self.period).round() as u64
    }

    fn fall(self, turn: u64) -> u64 {
        self.first + (turn as f64 * self.period + self.on).round() as u64
    }

    /// The turn that `now` is in; `None` before the first.
    fn turn(self, now: u64) -> Option<u64> {
        let since = now.checked_sub(self.first)?;
        let turn = (since as f64 / self.period) as u64;
        // The division rounds, and so do the edges.
        let turns = [turn + 1, turn, turn.saturating_sub(1)];
        turns.into_iter().find(|turn| self.rise(*turn) <= now)
    }

    /// Whether it is on at `now`; an edge belongs to what begins with it.
    pub(in crate::bench) fn is_on(self, now: u64) -> bool {
        self.turn(now).is_some_and(|turn| now < self.fall(turn))
    }

    /// The first edge after `now`, ns.
    pub(in crate::bench) fn next(self, now: u64) -> u64 {
        let Some(turn) = self.turn(now) else {
            return self.first;
        };
        let edges = [self.fall(turn), self.rise(turn + 1)];
        let after = edges.into_iter().find(|edge| *edge > now);
        after.unwrap_or(now + 1)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn edges_come_in_order_and_do_not_drift() {
        // 90 a minute is no whole number of nanoseconds: 666,666,666.67.
        let wave = Wave {
            first: 7,
            period: 60e9 / 90.0,
            on: 30e9 / 90.0,
        };
        assert!(!wave.is_on(6) && wave.next(0) == 7);
        let (mut now, mut edges) = (0, Vec::new());
        for _ in 0..1_801 {
            now = wave.next(now);
            edges.push((now, wave.is_on(now)));
        }
        assert!(edges.iter().enumerate().all(|(n, e)| e.1 == (n % 2 == 0)));
        assert!(edges.windows(2).all(|pair| pair[0].0 < pair[1].0));
        // 900 flashes take ten minutes to the nanosecond.
        assert_eq!(edges[1_800].0, 600_000_000_007);
        assert_eq!(edges[1].0, 333_333_340);
    }

    #[test]
    fn it_is_on_for_its_part_of_the_time() {
        let wave = Wave {
            first: 1_000,
            period: 1e6,
            on: 50_000.0,
        };
        assert!(wave.is_on(1_000) && wave.is_on(50_999) && !wave.is_on(51_000));
        assert!(!wave.is_on(1_000_999) && wave.is_on(1_001_000));
        assert_eq!((wave.next(50_998), wave.next(50_999)), (51_000, 51_000));
        assert_eq!(wave.next(51_000), 1_001_000);
    }
}
