//! How the voltage went, and where it settled.

use std::time::Duration;

use loomproof_core::units::Volts;

/// One sample: when, since the beginning, and the voltage across the fuse or shunt.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sample {
    /// When.
    pub at: Duration,
    /// What.
    pub across: Volts,
}

/// It has settled once it kept to one value for so long (`common practice`).
pub const QUIET: Duration = Duration::from_secs(120);

/// A value that is kept is left by more than so many standard deviations of a sample
/// and this part of it.
const SIGMAS: f64 = 5.0;
/// See [`SIGMAS`].
const PART: f64 = 0.05;

/// What a course shows.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Settled {
    /// The mean of the last stretch that was quiet for [`QUIET`].
    pub across: Volts,
    /// Samples of it.
    pub samples: usize,
    /// When it was quiet for the first time.
    pub first: Duration,
    /// How often it rose above the settled value since then.
    pub woke: u32,
    /// The mean of everything since then.
    pub since: Volts,
    /// Samples since then.
    pub samples_since: usize,
}

/// Whether a sample keeps to a value.
fn keeps(sample: Volts, value: f64, sigma: Volts) -> bool {
    (sample.0 - value).abs() <= SIGMAS * sigma.0 + PART * value.abs()
}

fn mean(samples: &[Sample]) -> f64 {
    samples.iter().map(|it| it.across.0).sum::<f64>() / samples.len().max(1) as f64
}

/// The samples of the stretch of [`QUIET`] that ends with this one; none where there
/// were not so many yet.
fn stretch(samples: &[Sample], end: usize) -> Option<&[Sample]> {
    let until = samples.get(end)?.at;
    let from = until.checked_sub(QUIET)?;
    let began = samples.iter().position(|it| it.at >= from)?;
    samples.get(began..=end)
}

/// Whether the stretch that ends with this sample is quiet.
fn quiet(samples: &[Sample], end: usize, sigma: Volts) -> Option<&[Sample]> {
    let stretch = stretch(samples, end)?;
    let value = mean(stretch);
    let all = stretch.iter().all(|it| keeps(it.across, value, sigma));
    (all && stretch.len() > 2).then_some(stretch)
}

/// Whether it is quiet now.
#[must_use]
pub fn is_quiet(samples: &[Sample], sigma: Volts) -> bool {
    samples
        .len()
        .checked_sub(1)
        .is_some_and(|end| quiet(samples, end, sigma).is_some())
}

/// Where a course settled; `asleep` is when everything has to be asleep: what was quiet
/// before may still have been awake. `None` where it never did.
#[must_use]
pub fn settled(samples: &[Sample], asleep: Duration, sigma: Volts) -> Option<Settled> {
    let late = |end: &usize| samples.get(*end).is_some_and(|it| it.at >= asleep);
    let last = (0..samples.len())
        .rev()
        .take_while(late)
        .find_map(|end| quiet(samples, end, sigma))?;
    let across = mean(last);
    // Quiet at the settled value, however early.
    let mut ends = 0..samples.len();
    let first = ends.find(|end| {
        quiet(samples, *end, sigma).is_some_and(|it| keeps(Volts(mean(it)), across, sigma))
    })?;
    let since = samples.get(first..).unwrap_or_default();
    let above = |it: &Sample| it.across.0 > across && !keeps(it.across, across, sigma);
    let mut woke = 0;
    let mut up = false;
    for sample in since {
        let now = above(sample);
        woke += u32::from(now && !up);
        up = now;
    }
    Some(Settled {
        across: Volts(across),
        samples: last.len(),
        first: samples.get(first)?.at,
        woke,
        since: Volts(mean(since)),
        samples_since: since.len(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    const SIGMA: Volts = Volts(0.2e-3);

    /// A sample every two seconds, by what is drawn then.
    fn samples(seconds: u64, across: impl Fn(u64) -> f64) -> Vec<Sample> {
        let each = (0..seconds).step_by(2);
        each.map(|at| Sample {
            at: Duration::from_secs(at),
            across: Volts(across(at) + if at % 4 == 0 { 0.1e-3 } else { -0.1e-3 }),
        })
        .collect()
    }

    #[test]
    fn it_settles_where_it_stays() {
        let course = samples(900, |at| if at < 300 { 2.0 } else { 0.02 });
        let settled = settled(&course, Duration::from_secs(600), SIGMA).unwrap();
        assert!((settled.across.0 - 0.02).abs() < 1e-5, "{settled:?}");
        assert_eq!((settled.woke, settled.first.as_secs()), (0, 420));
        assert!(is_quiet(&course, SIGMA));
    }

    /// Two minutes of one value while awake are no sleep.
    #[test]
    fn quiet_before_everything_must_be_asleep_does_not_count() {
        let course = samples(500, |_| 2.0);
        assert_eq!(settled(&course, Duration::from_secs(600), SIGMA), None);
        assert!(settled(&course, Duration::from_secs(400), SIGMA).is_some());
    }

    #[test]
    fn waking_is_counted_and_weighed() {
        // Awake for ten seconds of every three hundred.
        let course = samples(1_500, |at| if at % 300 < 10 { 1.0 } else { 0.02 });
        let settled = settled(&course, Duration::from_secs(900), SIGMA).unwrap();
        assert!((settled.across.0 - 0.02).abs() < 1e-5, "{settled:?}");
        assert_eq!(settled.woke, 4);
        let share = settled.since.0 - 0.02;
        assert!((0.025..0.04).contains(&share), "{share}");
    }

    #[test]
    fn what_never_rests_never_settles() {
        let course = samples(1_500, |at| if at % 60 < 10 { 1.0 } else { 0.02 });
        assert_eq!(settled(&course, Duration::from_secs(900), SIGMA), None);
        assert!(!is_quiet(&course, SIGMA));
        assert_eq!(settled(&[], Duration::ZERO, SIGMA), None);
    }
}
