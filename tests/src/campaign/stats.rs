//! The arithmetic of the tables.

use statrs::distribution::{Beta, ContinuousCDF as _};

/// Upper limit of the one-sided 95 % Clopper–Pearson interval of a share:
/// `events` of `runs` were seen. It is the 0.95 quantile of the beta
/// distribution with parameters `events + 1` and `runs − events` (Clopper and
/// Pearson 1934 in its beta form, `from memory`); 1 where nothing was run.
#[must_use]
pub fn upper_95(events: usize, runs: usize) -> f64 {
    if events >= runs {
        return 1.0;
    }
    Beta::new(events as f64 + 1.0, (runs - events) as f64)
        .map_or(1.0, |beta| beta.inverse_cdf(0.95))
}

/// The value that so large a share of a sorted list does not exceed.
#[must_use]
pub fn quantile<T: Copy>(sorted: &[T], share: f64) -> Option<T> {
    let last = sorted.len().checked_sub(1)?;
    let at = (share * sorted.len() as f64).ceil() as usize;
    sorted.get(at.saturating_sub(1).min(last)).copied()
}

/// Runs whose stated probability lies in one tenth.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Bin {
    /// Runs.
    pub runs: usize,
    /// Those that were right.
    pub right: usize,
    /// Mean of the stated probabilities.
    pub stated: f64,
}

impl Bin {
    /// Share that was right.
    #[must_use]
    pub fn observed(&self) -> f64 {
        self.right as f64 / self.runs.max(1) as f64
    }
}

/// Sorts (stated probability, right) into ten bins of equal width.
pub fn bins(runs: impl Iterator<Item = (f64, bool)>) -> [Bin; 10] {
    let mut bins = [Bin::default(); 10];
    for (stated, right) in runs {
        let at = ((stated * 10.0) as usize).min(9);
        bins[at].runs += 1;
        bins[at].right += usize::from(right);
        bins[at].stated += stated;
    }
    for bin in &mut bins {
        bin.stated /= bin.runs.max(1) as f64;
    }
    bins
}

/// Expected calibration error: the mean distance between stated probability
/// and observed share, each bin weighing as many runs as it holds.
#[must_use]
pub fn calibration_error(bins: &[Bin]) -> f64 {
    let runs: usize = bins.iter().map(|bin| bin.runs).sum();
    let off = bins
        .iter()
        .map(|bin| bin.runs as f64 * (bin.stated - bin.observed()).abs());
    off.sum::<f64>() / runs.max(1) as f64
}

#[cfg(test)]
mod tests {
    use super::*;

    /// With no event the limit has a closed form: (1 − p)^n = 0.05.
    #[test]
    fn the_limit_is_the_closed_form_where_there_is_one() {
        for runs in [1, 10, 300, 10_000] {
            let closed = 1.0 - 0.05_f64.powf(1.0 / runs as f64);
            assert!((upper_95(0, runs) / closed - 1.0).abs() < 1e-6, "{runs}");
        }
        assert!(upper_95(1, 10_000) > upper_95(0, 10_000));
        assert_eq!(upper_95(3, 3), 1.0);
    }

    /// One event more than the limit allows for: so few or fewer events are
    /// seen in 5 % of all campaigns where the limit is the truth.
    #[test]
    fn the_limit_leaves_five_percent() {
        let (events, runs) = (2_i32, 40_i32);
        let p = upper_95(2, 40);
        let term = |k: i32| {
            let choose = (0..k).fold(1.0, |c, i| c * f64::from(runs - i) / f64::from(i + 1));
            choose * p.powi(k) * (1.0 - p).powi(runs - k)
        };
        let below: f64 = (0..=events).map(term).sum();
        assert!((below - 0.05).abs() < 1e-6, "{below}");
    }

    #[test]
    fn a_liar_is_seen() {
        let honest = bins((0..1000).map(|k| (0.8, k % 5 != 0)));
        assert!(calibration_error(&honest) < 1e-9);
        let boaster = bins((0..1000).map(|k| (0.99, k % 5 != 0)));
        assert!((calibration_error(&boaster) - 0.19).abs() < 1e-9);
        assert_eq!(boaster[9].runs, 1000);
    }

    #[test]
    fn quantiles_of_a_short_list() {
        assert_eq!(quantile(&[1, 2, 3, 4], 0.5), Some(2));
        assert_eq!(quantile(&[1, 2, 3, 4], 0.95), Some(4));
        assert_eq!(quantile::<u8>(&[], 0.5), None);
    }
}
