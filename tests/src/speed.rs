//! How fast the diagnosis is, beside solving every hypothesis anew.
//!
//! [`subject`] is a harness with its hypotheses and what is asked of each;
//! [`lu`] solves node equations by dense LU; [`rates`] times both ways on the
//! same questions and compares their volts; [`explaining`] times whole
//! explanations; [`growth`] does so over the number of test points;
//! [`document`] writes it down, [`plot`] draws it.
//!
//! Times are processor time of this thread, which other work on the machine
//! disturbs less than the time on the wall.

pub mod document;
pub mod explaining;
pub mod growth;
pub mod lu;
pub mod plot;
pub mod rates;
pub mod subject;

use std::time::Duration;

/// Processor time that this thread has used; time on the wall where the system
/// does not tell.
#[must_use]
pub fn used() -> Duration {
    #[cfg(target_os = "linux")]
    {
        let now = rustix::time::clock_gettime(rustix::time::ClockId::ThreadCPUTime);
        let seconds = u64::try_from(now.tv_sec).unwrap_or(0);
        let nanos = u64::try_from(now.tv_nsec).unwrap_or(0);
        Duration::from_secs(seconds) + Duration::from_nanos(nanos)
    }
    #[cfg(not(target_os = "linux"))]
    {
        use std::sync::OnceLock;
        use std::time::Instant;
        static START: OnceLock<Instant> = OnceLock::new();
        START.get_or_init(Instant::now).elapsed()
    }
}

/// What `work` gives, and the processor time it took.
pub fn timed<T>(work: impl FnOnce() -> T) -> (T, Duration) {
    let start = used();
    let result = work();
    (result, used().saturating_sub(start))
}

/// The middle one, or the mean of the middle two; 0 of none.
#[must_use]
pub fn median(values: &[f64]) -> f64 {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    let half = sorted.len() / 2;
    match (sorted.get(half), sorted.len() % 2) {
        (Some(high), 0) => f64::midpoint(sorted[half - 1], *high),
        (Some(middle), _) => *middle,
        (None, _) => 0.0,
    }
}

/// The exponent `p` of `y = c·xᵖ` by least squares over the logarithms.
#[must_use]
pub fn exponent(points: &[(f64, f64)]) -> f64 {
    let n = points.len() as f64;
    let logs = || points.iter().map(|(x, y)| (x.ln(), y.ln()));
    let mean = logs().fold((0.0, 0.0), |m, (x, y)| (m.0 + x / n, m.1 + y / n));
    let (mut above, mut below) = (0.0, 0.0);
    for (x, y) in logs() {
        above += (x - mean.0) * (y - mean.1);
        below += (x - mean.0) * (x - mean.0);
    }
    above / below
}
