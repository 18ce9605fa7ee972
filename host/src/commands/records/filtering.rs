//! The options that say which records are meant.

use clap::ValueEnum;

use super::super::Failure;
use crate::records::filter::{Filter, time};
use crate::records::record::Test;
use crate::ringout::report::Verdict;

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum VerdictArg {
    Pass,
    Faults,
    Undecided,
    Refused,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum TestArg {
    Ringout,
    Live,
    Wiggle,
    Comeback,
    Drain,
    Own,
    Power,
}

/// Which records are meant.
#[derive(Debug, clap::Args)]
pub(super) struct FilterArgs {
    /// Of this plan only, by its title.
    #[arg(long, value_name = "TITLE")]
    plan: Option<String>,
    /// Of this harness only.
    #[arg(long, value_name = "NUMBER")]
    unit: Option<String>,
    /// Of this vehicle only.
    #[arg(long, value_name = "NUMBER")]
    vehicle: Option<String>,
    /// Of this batch only.
    #[arg(long, value_name = "NUMBER")]
    batch: Option<String>,
    /// By this person only.
    #[arg(long, value_name = "NAME")]
    who: Option<String>,
    /// Of this test only.
    #[arg(long)]
    test: Option<TestArg>,
    /// With this verdict only.
    #[arg(long)]
    verdict: Option<VerdictArg>,
    /// From this day on, such as 2026-11-25, or time (RFC 3339).
    #[arg(long, value_name = "DAY")]
    since: Option<String>,
    /// Before this day or time.
    #[arg(long, value_name = "DAY")]
    until: Option<String>,
}

impl FilterArgs {
    /// The filter.
    ///
    /// # Errors
    /// [`Failure`] for a day that is none.
    pub(super) fn filter(&self) -> Result<Filter, Failure> {
        let at = |text: &Option<String>| {
            let read = text.as_deref().map(time).transpose();
            read.map_err(Failure::usage)
        };
        Ok(Filter {
            title: self.plan.clone(),
            unit: self.unit.clone(),
            vehicle: self.vehicle.clone(),
            batch: self.batch.clone(),
            who: self.who.clone(),
            test: self.test.map(|test| match test {
                TestArg::Ringout => Test::Ringout,
                TestArg::Live => Test::Live,
                TestArg::Wiggle => Test::Wiggle,
                TestArg::Comeback => Test::Comeback,
                TestArg::Drain => Test::Drain,
                TestArg::Own => Test::Own,
                TestArg::Power => Test::Power,
            }),
            verdict: self.verdict.map(|verdict| match verdict {
                VerdictArg::Pass => Verdict::Pass,
                VerdictArg::Faults => Verdict::Faults,
                VerdictArg::Undecided => Verdict::Undecided,
                VerdictArg::Refused => Verdict::Refused,
            }),
            since: at(&self.since)?,
            until: at(&self.until)?,
        })
    }
}
