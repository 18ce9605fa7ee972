//! Whether two sets of faults can be told apart, decided by the bench.
//!
//! The bench solves its own network with its own solver; core's is not asked.
//! For a scan that was taken, the readings of its steps are taken again
//!
//! * with every part at its nominal value and no noise, once per set: the mean
//!   (an unknown load stands at the geometric middle of its range; where the
//!   converter's steps matter, noise carries the mean over them, the same for
//!   both sets);
//! * with either set, part tolerance, clip resistance, contact and converter
//!   noise on, with [`MONTE_CARLO`] other seeds, or with [`CLOSER`] where that leaves
//!   it open: the larger of the two standard deviations is the reading's σ. (Where a
//!   clip is off, a conductor's load does not spread the reading; where it is on, the
//!   reading could be any that the load allows, that of a clip in the air among them.)
//!
//! What is compared is what is judged: single readings, and differences of two
//! readings of one step, in which the spread of the source resistors drops out.
//! Two sets are the same where no two means differ by [`APART`] σ or more.

use loomproof::bench::Settings;
use loomproof::fault::Fault;
use loomproof::ringout::Taken;
use loomproof::ringout::readings::purpose_word;
use loomproof_core::expect::quantities;
use loomproof_core::instrument::REFERENCE;
use loomproof_core::judge::Value;
use loomproof_core::scan::Planned;

use super::site::Loaded;

/// Means that differ by so many σ in one reading can be told apart.
pub const APART: f64 = 3.0;

/// Benches that a reading's σ is taken from: it is known to ±1/√(2·23) = 15 %.
pub const MONTE_CARLO: u64 = 24;

/// Benches that it is taken from where two sets are [`OPEN`] apart: ±1/√(2·399) = 3.5 %.
pub const CLOSER: u64 = 400;

/// Distances, σ, that could as well be on the other side of [`APART`]: twice 15 % off and
/// more.
pub const OPEN: std::ops::Range<f64> = 2.0..5.0;

/// Benches that a mean is averaged over where the converter's steps matter.
const DITHER: u64 = 16;

/// So many σ apart the steps of the converter do not matter any more: rounding
/// moves the difference of two differences by two steps, 101 µV, at most, which
/// is 8 of the least σ (that of 16 conversions).
const SURELY: f64 = 12.0;

/// Seeds of those benches start here.
const SEEDS: u64 = 9_000_001;

/// Noise of one conversion of the bench's converter, one σ, V (that of
/// `host/src/bench`), and its step: a reading's σ is never less than these.
const CONVERSION: f64 = 50e-6;
const STEP: f64 = REFERENCE.0 / 65_536.0;

/// Judged values of a scan, in the order of its steps; `None` where one did
/// not settle and proves nothing.
fn values(taken: &[Taken]) -> Vec<Option<f64>> {
    taken.iter().flat_map(one_step).collect()
}

fn one_step(taken: &Taken) -> Vec<Option<f64>> {
    let volts = |(_, value)| match value {
        Value::Volts(volts) => Some(volts.0),
        Value::Unsettled => None,
    };
    taken.values().map(volts).collect()
}

/// The readings of a scan with one set of faults, as others are held against it.
#[derive(Debug)]
pub struct Referee<'s> {
    site: &'s Loaded,
    injected: Vec<Fault>,
    steps: Vec<Planned>,
    /// What one bench without noise reads, step by step.
    means: Vec<Vec<Option<f64>>>,
}

impl<'s> Referee<'s> {
    /// For this injected set and the steps of its scan.
    ///
    /// # Errors
    /// What went wrong on the bench.
    pub fn new(site: &'s Loaded, injected: &[Fault], steps: Vec<Planned>) -> Result<Self, String> {
        let taken = site.take(injected, &site.nominal(), &steps)?;
        Ok(Self {
            site,
            injected: injected.to_vec(),
            means: taken.iter().map(one_step).collect(),
            steps,
        })
    }

    /// The reading that tells another set best from the injected one. Steps in
    /// which both read the same to a step of the converter are not looked at
    /// any closer.
    ///
    /// # Errors
    /// Where the bench cannot have the other set.
    pub fn apart(&self, other: &[Fault]) -> Result<Gap, String> {
        let taken = self.site.take(other, &self.site.nominal(), &self.steps)?;
        let (mut steps, mut own, mut its) = (Vec::new(), Vec::new(), Vec::new());
        for ((planned, means), taken) in self.steps.iter().zip(&self.means).zip(&taken) {
            let read = one_step(taken);
            if read != *means {
                steps.push(planned.clone());
                own.extend(means.iter().copied());
                its.extend(read);
            }
        }
        if steps.is_empty() {
            return Ok(Gap::default());
        }
        let compared = Compared {
            referee: self,
            other,
            steps,
            own,
            its,
        };
        let gap = compared.gap(MONTE_CARLO)?;
        if OPEN.contains(&gap.sigmas) {
            return compared.gap(CLOSER);
        }
        Ok(gap)
    }
}

/// The readings of two sets that differ.
struct Compared<'r> {
    referee: &'r Referee<'r>,
    other: &'r [Fault],
    steps: Vec<Planned>,
    own: Vec<Option<f64>>,
    its: Vec<Option<f64>>,
}

impl Compared<'_> {
    /// The reading that tells them best, σ being taken from so many benches.
    fn gap(&self, benches: u64) -> Result<Gap, String> {
        let Self {
            referee: Referee { site, injected, .. },
            other,
            steps,
            own,
            its,
        } = self;
        let mut sigma = spread(site, injected, (steps, own), benches)?;
        if greatest(steps, own, its, &sigma).sigmas >= APART {
            let spread = spread(site, other, (steps, its), benches)?;
            for (own, its) in sigma.iter_mut().zip(spread) {
                *own = own.max(its);
            }
        }
        let coarse = greatest(steps, own, its, &sigma);
        if coarse.sigmas >= SURELY {
            return Ok(coarse);
        }
        let own = dithered(site, injected, steps)?;
        let its = dithered(site, other, steps)?;
        Ok(greatest(steps, &own, &its, &sigma))
    }
}

/// The greatest difference of two means, in σ.
fn greatest(steps: &[Planned], own: &[Option<f64>], other: &[Option<f64>], sigma: &[f64]) -> Gap {
    let mut gap = Gap::default();
    let judged = steps.iter().flat_map(|planned| {
        quantities(&planned.step).map(move |quantity| (planned.purpose, quantity))
    });
    for (((own, other), sigma), (purpose, quantity)) in own.iter().zip(other).zip(sigma).zip(judged)
    {
        let (Some(own), Some(other)) = (own, other) else {
            continue;
        };
        let sigmas = (own - other).abs() / sigma;
        if sigmas > gap.sigmas {
            let minus = quantity.minus.map(|lead| format!(" less {lead}"));
            gap = Gap {
                sigmas,
                reading: format!(
                    "{}{} ({}): {:.2} mV, not {:.2} mV, σ {:.3} mV",
                    quantity.plus.lead,
                    minus.unwrap_or_default(),
                    purpose_word(purpose),
                    own * 1e3,
                    other * 1e3,
                    sigma * 1e3
                ),
            };
        }
    }
    gap
}

/// A reading that tells two sets apart.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Gap {
    /// By so many σ.
    pub sigmas: f64,
    /// Which, and what it is with the injected set and the other.
    pub reading: String,
}

/// The standard deviation of every judged value about its mean, over so many
/// benches with everything on that strays.
fn spread(
    site: &Loaded,
    faults: &[Fault],
    (steps, means): (&[Planned], &[Option<f64>]),
    benches: u64,
) -> Result<Vec<f64>, String> {
    let mut sums = vec![(0.0_f64, 0.0_f64, 0.0_f64); means.len()];
    for seed in SEEDS..SEEDS + benches {
        let settings: Settings = site.settings(seed);
        let drawn = values(&site.take(faults, &settings, steps)?);
        for ((sum, mean), value) in sums.iter_mut().zip(means).zip(drawn) {
            if let (Some(mean), Some(value)) = (mean, value) {
                let d = value - mean;
                *sum = (sum.0 + 1.0, sum.1 + d, sum.2 + d * d);
            }
        }
    }
    let floors = steps.iter().flat_map(|planned| {
        let count = planned.step.senses.len();
        let samples = f64::from(planned.step.samples.max(1));
        let floor = (CONVERSION * CONVERSION / samples + STEP * STEP / 12.0).sqrt();
        std::iter::repeat_n(floor, count)
    });
    let deviation = |(&(n, sum, squares), floor): (&(f64, f64, f64), f64)| {
        if n < 2.0 {
            return floor;
        }
        let variance = (squares - sum * sum / n) / (n - 1.0);
        variance.max(0.0).sqrt().max(floor)
    };
    Ok(sums.iter().zip(floors).map(deviation).collect())
}

/// Means finer than a step of the converter: its noise is on and carries the
/// readings over the steps, with the same seeds for every set, so that it drops
/// out of the difference of two sets.
fn dithered(
    site: &Loaded,
    faults: &[Fault],
    steps: &[Planned],
) -> Result<Vec<Option<f64>>, String> {
    let mut sums: Vec<Option<f64>> = Vec::new();
    for seed in SEEDS..SEEDS + DITHER {
        let settings = Settings {
            seed,
            noise: true,
            ..site.nominal()
        };
        let read = values(&site.take(faults, &settings, steps)?);
        if sums.is_empty() {
            sums = vec![Some(0.0); read.len()];
        }
        for (sum, value) in sums.iter_mut().zip(read) {
            *sum = sum
                .zip(value)
                .map(|(sum, value)| sum + value / DITHER as f64);
        }
    }
    Ok(sums)
}

/// How far a set of faults lies outside the product's healthy bands, by the
/// bench's means: the worst reading of the first pass, in the band's σ. A
/// reading that does not settle counts for nothing.
///
/// # Errors
/// What went wrong on the bench.
pub fn severity(site: &Loaded, faults: &[Fault]) -> Result<f64, String> {
    let taken = site.take(faults, &site.nominal(), &site.first)?;
    let excess = taken
        .iter()
        .flat_map(Taken::values)
        .zip(&site.bands)
        .filter_map(|((_, value), band)| match value {
            Value::Volts(volts) => Some(band.excess(volts).abs()),
            Value::Unsettled => None,
        });
    Ok(excess.fold(0.0, f64::max))
}
