//! Many runs, counted.

use std::collections::BTreeMap;
use std::time::Duration;

use super::ring::{Bed, End, Run};
use super::trouble::{THEMES, Theme};

/// What came of the runs with one kind of trouble.
#[derive(Debug, Clone, Default)]
pub struct Row {
    /// Ended as over a good line.
    pub right: u64,
    /// Ended with an error, by its kind.
    pub errors: BTreeMap<&'static str, u64>,
    /// Simulated time of those that ended with an error, milliseconds.
    times: Vec<u32>,
    /// The longest that one thing asked was waited for.
    pub longest: Duration,
}

/// What came of many runs.
#[derive(Debug, Clone, Default)]
pub struct Tally {
    /// By what went wrong.
    pub rows: BTreeMap<Theme, Row>,
    /// Seeds that ended otherwise, with what was wrong.
    pub wrong: Vec<(u64, String)>,
}

impl Tally {
    /// Runs these seeds.
    ///
    /// # Errors
    /// What is wrong with the bench, not with the product.
    pub fn of(bed: &Bed, seeds: impl Iterator<Item = u64>) -> Result<Self, String> {
        let mut tally = Self::default();
        for seed in seeds {
            tally.add(seed, bed.run(seed)?);
        }
        Ok(tally)
    }

    fn add(&mut self, seed: u64, run: Run) {
        let row = self.rows.entry(run.theme).or_default();
        row.longest = row.longest.max(run.longest);
        match run.end {
            End::Right => row.right += 1,
            End::Error(kind) => {
                *row.errors.entry(kind).or_default() += 1;
                row.times
                    .push(u32::try_from(run.spent.as_millis()).unwrap_or(u32::MAX));
            }
            End::Wrong(what) => self
                .wrong
                .push((seed, format!("{}: {what}", run.theme.words()))),
        }
    }

    /// Adds others.
    pub fn merge(&mut self, other: Self) {
        self.wrong.extend(other.wrong);
        for (theme, row) in other.rows {
            let own = self.rows.entry(theme).or_default();
            own.right += row.right;
            own.longest = own.longest.max(row.longest);
            own.times.extend(row.times);
            for (kind, count) in row.errors {
                *own.errors.entry(kind).or_default() += count;
            }
        }
    }

    /// How many runs.
    #[must_use]
    pub fn runs(&self) -> u64 {
        let rows = self.rows.values().map(|row| row.right + row.failed());
        rows.sum::<u64>() + self.wrong.len() as u64
    }

    /// As a table in Markdown.
    #[must_use]
    pub fn table(&self) -> String {
        let mut out = String::from(
            "| on the line | runs | right verdict | clear error | time to error, median / longest | \
             longest wait for one answer |\n| --- | ---: | ---: | ---: | ---: | ---: |\n",
        );
        for theme in THEMES {
            let Some(row) = self.rows.get(&theme) else {
                continue;
            };
            let mut times = row.times.clone();
            times.sort_unstable();
            let seconds = |ms: Option<&u32>| {
                ms.map_or("–".to_owned(), |ms| {
                    format!("{:.1} s", f64::from(*ms) / 1e3)
                })
            };
            out.push_str(&format!(
                "| {} | {} | {} | {} | {} / {} | {:.1} s |\n",
                theme.words(),
                row.right + row.failed(),
                row.right,
                row.failed(),
                seconds(times.get(times.len() / 2)),
                seconds(times.last()),
                row.longest.as_secs_f64(),
            ));
        }
        out
    }

    /// Errors by kind, over all.
    #[must_use]
    pub fn errors(&self) -> BTreeMap<&'static str, u64> {
        let mut all = BTreeMap::new();
        for row in self.rows.values() {
            for (kind, count) in &row.errors {
                *all.entry(*kind).or_default() += count;
            }
        }
        all
    }
}

impl Row {
    /// Ended with an error.
    #[must_use]
    pub fn failed(&self) -> u64 {
        self.errors.values().sum()
    }
}
