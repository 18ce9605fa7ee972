//! Counts of a campaign.

use super::stats::{Bin, bins, quantile};
use super::trial::{Class, FalseAlarm, Right, Tried, Unseen};

/// The outcome of the healthy runs of one harness.
#[derive(Debug, Clone, Default)]
pub struct Healthy {
    /// How many there were.
    pub runs: usize,
    /// Those that did not pass.
    pub alarms: Vec<FalseAlarm>,
}

/// The outcome of the covered single faults of one harness that were rung out
/// up to the verdict alone: all that are not in [`SiteResults::tried`].
#[derive(Debug, Clone, Default)]
pub struct Judged {
    /// How many there were.
    pub runs: usize,
    /// Those that were not seen.
    pub unseen: Vec<Unseen>,
}

/// What a campaign found on one harness.
#[derive(Debug, Clone)]
pub struct SiteResults {
    /// Name of harness and place.
    pub site: String,
    /// Test points that are touched.
    pub points: usize,
    /// Leads of the probe.
    pub leads: u8,
    /// Leads of the harness.
    pub wires: usize,
    /// Single faults that the plan allows.
    pub catalogue: usize,
    /// Those said beforehand to be seen.
    pub covered: usize,
    /// How-manyth of them was tried.
    pub stride: usize,
    /// Runs with faults.
    pub tried: Vec<Tried>,
    /// Single faults that were rung out up to the verdict.
    pub judged: Judged,
    /// Runs without.
    pub healthy: Healthy,
}

/// What a campaign found.
#[derive(Debug, Default)]
pub struct Results {
    /// Harness by harness.
    pub sites: Vec<SiteResults>,
    /// How many harnesses there are to be.
    pub wanted: usize,
}

/// The counts of a list of runs.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Counts {
    /// Runs.
    pub runs: usize,
    /// Those at least 3 σ outside the healthy band in some reading: severe.
    pub severe: usize,
    /// Severe ones that were detected.
    pub detected: usize,
    /// Severe ones in the best group.
    pub met: usize,
    /// Of these: those that the best group names as they were injected.
    pub named: usize,
    /// Single faults said beforehand to be seen.
    pub covered: usize,
    /// Covered ones that were passed.
    pub escapes: usize,
    /// Covered ones with no verdict that says so: undecided, or an error.
    pub unclear: usize,
    /// Not severe ones that were detected all the same.
    pub extra: usize,
    /// Detected ones whose best group has more than one set.
    pub grouped: usize,
    /// Detected ones, severe or not.
    pub seen: usize,
    /// Median, 95 % and largest size of the best group of these.
    pub sizes: [usize; 3],
}

impl Counts {
    /// Counts runs.
    pub fn of<'t>(runs: impl Iterator<Item = &'t Tried>) -> Self {
        let mut counts = Self::default();
        let mut sizes = Vec::new();
        for tried in runs {
            let detected = tried.detected();
            let severe = tried.severe();
            counts.runs += 1;
            counts.severe += usize::from(severe);
            counts.detected += usize::from(severe && detected);
            counts.met += usize::from(severe && tried.met());
            counts.named += usize::from(severe && tried.met() && tried.right == Right::Named);
            counts.covered += usize::from(tried.covered);
            counts.escapes += usize::from(tried.escaped());
            counts.unclear += usize::from(tried.covered && !detected && !tried.escaped());
            counts.extra += usize::from(!severe && detected);
            if detected {
                counts.seen += 1;
                counts.grouped += usize::from(tried.group > 1);
                sizes.push(tried.group);
            }
        }
        sizes.sort_unstable();
        counts.sizes = [0.5, 0.95, 1.0].map(|share| quantile(&sizes, share).unwrap_or(0));
        counts
    }

    /// Share of the severe ones that the best group holds; 1 where there are none.
    #[must_use]
    pub fn share(&self) -> f64 {
        if self.severe == 0 {
            return 1.0;
        }
        self.met as f64 / self.severe as f64
    }
}

impl Results {
    /// Every run with faults.
    pub fn tried(&self) -> impl Iterator<Item = &Tried> {
        self.sites.iter().flat_map(|site| site.tried.iter())
    }

    /// The runs of one class.
    pub fn class(&self, class: Class) -> impl Iterator<Item = &Tried> {
        self.tried().filter(move |tried| tried.class == class)
    }

    /// Healthy runs, and those that did not pass.
    #[must_use]
    pub fn healthy(&self) -> (usize, usize) {
        let sum = |(runs, alarms), site: &SiteResults| {
            (runs + site.healthy.runs, alarms + site.healthy.alarms.len())
        };
        self.sites.iter().fold((0, 0), sum)
    }

    /// Covered single faults that were rung out up to the verdict alone: all,
    /// those that passed and those with no verdict that says that something is
    /// wrong.
    #[must_use]
    pub fn judged(&self) -> [usize; 3] {
        let mut sum = [0; 3];
        for judged in self.sites.iter().map(|site| &site.judged) {
            let passed = judged.unseen.iter().filter(|unseen| unseen.passed).count();
            let counts = [judged.runs, passed, judged.unseen.len() - passed];
            for (sum, count) in sum.iter_mut().zip(counts) {
                *sum += count;
            }
        }
        sum
    }

    /// Runs drawn from the priors that were detected, by stated probability.
    #[must_use]
    pub fn calibration(&self) -> [Bin; 10] {
        let seen = self.class(Class::Drawn).filter(|tried| tried.detected());
        bins(seen.filter_map(|tried| Some((tried.stated?, tried.met()))))
    }

    /// Factors by which ohms of named bad joints were estimated wrongly (1 or
    /// more), sorted.
    #[must_use]
    pub fn ohms_off(&self) -> Vec<f64> {
        let mut off: Vec<f64> = self
            .tried()
            .flat_map(|tried| tried.ohms.iter())
            .map(|(own, said)| (said / own).max(own / said))
            .collect();
        off.sort_by(f64::total_cmp);
        off
    }
}
