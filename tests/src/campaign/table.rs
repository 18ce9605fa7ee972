//! Counts of a campaign, and what was missed.

use std::collections::BTreeMap;
use std::fmt::Write as _;

use super::{Faulty, Healthy, Tried};

/// Least share of detected faults that must be in the best group.
pub const LEAST_NAMED: f64 = 0.99;

/// The counts of a list of tries.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Counts {
    /// Faults injected.
    pub faults: usize,
    /// Those said beforehand to be seen.
    pub covered: usize,
    /// Covered ones that were detected.
    pub detected: usize,
    /// Covered ones that were passed.
    pub escapes: usize,
    /// Covered ones with no verdict that says so: undecided, or an error.
    pub unclear: usize,
    /// Not covered ones that were detected all the same.
    pub extra: usize,
    /// Detected ones, covered or not, that the best group names.
    pub named: usize,
    /// Detected ones whose best group has more than one set.
    pub grouped: usize,
    /// Median size of the best group of the detected ones.
    pub median: usize,
    /// Largest best group.
    pub largest: usize,
}

impl Counts {
    /// Counts tries.
    pub fn of<'t>(tries: impl Iterator<Item = &'t Tried>) -> Self {
        let mut counts = Self::default();
        let mut sizes = Vec::new();
        for tried in tries {
            counts.faults += 1;
            let detected = tried.detected();
            counts.covered += usize::from(tried.covered);
            counts.detected += usize::from(tried.covered && detected);
            counts.escapes += usize::from(tried.escaped());
            counts.unclear += usize::from(tried.covered && !detected && !tried.escaped());
            counts.extra += usize::from(!tried.covered && detected);
            if detected {
                counts.named += usize::from(tried.named);
                counts.grouped += usize::from(tried.group > 1);
                sizes.push(tried.group);
            }
        }
        sizes.sort_unstable();
        counts.median = sizes.get(sizes.len() / 2).copied().unwrap_or(0);
        counts.largest = sizes.last().copied().unwrap_or(0);
        counts
    }

    /// Share of the detected faults that the best group names.
    #[must_use]
    pub fn share_named(&self) -> f64 {
        let detected = self.detected + self.extra;
        if detected == 0 {
            return 1.0;
        }
        self.named as f64 / detected as f64
    }

    fn row(&self, name: &str) -> String {
        format!(
            "| {name} | {} | {} | {} | {} | {} | {} | {} | {:.1} % | {} | {} | {} |\n",
            self.faults,
            self.covered,
            self.detected,
            self.escapes,
            self.unclear,
            self.faults - self.covered,
            self.extra,
            self.share_named() * 100.0,
            self.grouped,
            self.median,
            self.largest,
        )
    }
}

const HEAD: &str = "\
| | faults | covered | detected of these | escapes | unclear | not covered | detected of these | in best group | groups > 1 | median size | largest |
| --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- |
";

/// What a campaign found, site by site.
#[derive(Debug, Default)]
pub struct Results {
    /// Name of the site, its healthy runs, its faulty runs.
    pub sites: Vec<(String, Healthy, Faulty)>,
}

impl Results {
    /// Every goal that was missed, in words; empty when all were met.
    #[must_use]
    pub fn missed_goals(&self) -> Vec<String> {
        let mut missed = Vec::new();
        for (name, healthy, faulty) in &self.sites {
            let alarms = healthy.alarms.len();
            if alarms > 0 {
                let runs = healthy.runs;
                missed.push(format!("{name}: {alarms} of {runs} healthy did not pass"));
            }
            let counts = Counts::of(faulty.tried.iter());
            if counts.escapes + counts.unclear > 0 {
                missed.push(format!(
                    "{name}: {} covered faults passed, {} unclear",
                    counts.escapes, counts.unclear
                ));
            }
            if counts.share_named() < LEAST_NAMED {
                missed.push(format!(
                    "{name}: {:.1} % of the detected faults are in the best group",
                    counts.share_named() * 100.0
                ));
            }
            let live = |tried: &&Tried| tried.kind == "live" && !(tried.detected() && tried.named);
            let unnamed = faulty.tried.iter().filter(live).count();
            if unnamed > 0 {
                missed.push(format!("{name}: {unnamed} live leads not refused by name"));
            }
        }
        missed
    }

    /// The tables, without times: the same for the same program.
    #[must_use]
    pub fn tables(&self) -> String {
        let mut out = String::from("Healthy:\n\n| | runs | did not pass |\n| --- | --- | --- |\n");
        for (name, healthy, _) in &self.sites {
            let alarms = healthy.alarms.len();
            let _ = writeln!(out, "| {name} | {} | {alarms} |", healthy.runs);
        }
        out.push_str("\nFaults by site:\n\n");
        out.push_str(HEAD);
        for (name, _, faulty) in &self.sites {
            out.push_str(&Counts::of(faulty.tried.iter()).row(name));
        }
        out.push_str(&Counts::of(self.tries()).row("all"));
        out.push_str("\nFaults by kind, all sites:\n\n");
        out.push_str(HEAD);
        let mut kinds: Vec<&str> = Vec::new();
        for tried in self.tries() {
            if !kinds.contains(&tried.kind) {
                kinds.push(tried.kind);
            }
        }
        for kind in kinds {
            out.push_str(&Counts::of(self.tries().filter(|t| t.kind == kind)).row(kind));
        }
        for (name, _, faulty) in &self.sites {
            let _ = writeln!(out, "\n{name}, by kind:\n");
            out.push_str(HEAD);
            let mut by_kind: BTreeMap<&str, Vec<&Tried>> = BTreeMap::new();
            for tried in &faulty.tried {
                by_kind.entry(tried.kind).or_default().push(tried);
            }
            for (kind, tries) in by_kind {
                out.push_str(&Counts::of(tries.into_iter()).row(kind));
            }
        }
        out
    }

    /// Wall time of each site.
    #[must_use]
    pub fn times(&self) -> String {
        let mut out = String::new();
        for (name, healthy, faulty) in &self.sites {
            let _ = writeln!(
                out,
                "{name}: {} healthy in {:.1} s, {} faults in {:.1} s",
                healthy.runs,
                healthy.took.as_secs_f64(),
                faulty.tried.len(),
                faulty.took.as_secs_f64()
            );
            let mut slow: Vec<&Tried> = faulty.tried.iter().collect();
            slow.sort_by_key(|tried| std::cmp::Reverse(tried.took));
            for tried in slow.iter().take(3) {
                let _ = writeln!(out, "    {:.1?} {}", tried.took, tried.fault);
            }
        }
        out
    }

    /// Every run that was not as it should be, with what was said instead.
    #[must_use]
    pub fn misses(&self) -> String {
        let mut out = String::new();
        for (name, healthy, faulty) in &self.sites {
            for alarm in &healthy.alarms {
                let _ = writeln!(out, "{name}: healthy, seed {}: {}", alarm.seed, alarm.said);
            }
            for tried in &faulty.tried {
                let Some(what) = tried.miss() else {
                    continue;
                };
                let _ = writeln!(
                    out,
                    "{name}: {what}: {}{}, seed {}: {}",
                    tried.fault,
                    if tried.covered { "" } else { " (not covered)" },
                    tried.seed,
                    tried.said
                );
            }
        }
        out
    }

    fn tries(&self) -> impl Iterator<Item = &Tried> {
        self.sites
            .iter()
            .flat_map(|(_, _, faulty)| faulty.tried.iter())
    }
}
