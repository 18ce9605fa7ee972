//! Whether what is read again and again stays where it was.

/// So much of a run is its beginning, and as much its end.
const SHARE: f64 = 0.1;

/// A mean that strayed by more standard deviations than this has moved.
const SIGMAS: f64 = 6.0;

#[derive(Debug, Clone, Copy, Default)]
struct Sums {
    count: f64,
    mean: f64,
    squares: f64,
}

impl Sums {
    /// By Welford's method, which subtracts no large numbers.
    fn add(&mut self, value: f64) {
        self.count += 1.0;
        let off = value - self.mean;
        self.mean += off / self.count;
        self.squares += off * (value - self.mean);
    }

    /// Variance of the mean.
    fn doubt(&self) -> f64 {
        self.squares / (self.count - 1.0) / self.count
    }
}

/// One quantity, at the beginning and at the end of a run.
#[derive(Debug, Clone, Copy, Default)]
pub struct Course {
    early: Sums,
    late: Sums,
}

/// By how much a quantity moved.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Moved {
    /// Mean of the end less mean of the beginning.
    pub by: f64,
    /// Standard deviation of that, by the spread of the readings themselves.
    pub sigma: f64,
}

impl Course {
    /// Takes a value in, `share` of the run being over.
    pub fn add(&mut self, share: f64, value: f64) {
        if share < SHARE {
            self.early.add(value);
        } else if share >= 1.0 - SHARE {
            self.late.add(value);
        }
    }

    /// By how much it moved; `None` with fewer than two values at either end.
    #[must_use]
    pub fn moved(&self) -> Option<Moved> {
        let enough = self.early.count >= 2.0 && self.late.count >= 2.0;
        enough.then(|| Moved {
            by: self.late.mean - self.early.mean,
            sigma: (self.early.doubt() + self.late.doubt()).sqrt(),
        })
    }
}

impl Moved {
    /// Whether it is more than the spread makes by itself, and more than one step of
    /// what is read.
    #[must_use]
    pub fn drifted(&self, step: f64) -> bool {
        self.by.abs() > SIGMAS * self.sigma && self.by.abs() > step
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn course(slope: f64) -> Moved {
        let mut course = Course::default();
        for at in 0..1_000_u32 {
            let share = f64::from(at) / 1_000.0;
            // Spread that repeats, of one on average.
            let spread = f64::from(at * 7 % 11) / 11.0 - 0.5;
            course.add(share, 5.0 + spread + slope * share);
        }
        course.moved().expect("enough of it")
    }

    #[test]
    fn a_slow_drift_is_found_and_spread_is_none() {
        assert!(!course(0.0).drifted(0.0), "{:?}", course(0.0));
        assert!(course(0.5).drifted(0.0), "{:?}", course(0.5));
        assert!((course(0.5).by - 0.45).abs() < 0.05);
        // Less than what is read in.
        assert!(!course(0.5).drifted(1.0));
        assert_eq!(Course::default().moved(), None);
    }
}
