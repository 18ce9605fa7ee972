//! Reading a small voltage between two live points with two leads of the probe.

use loomproof_core::units::{Micros, MilliVolts, Volts};
use loomproof_core::wire::{LeadId, Reply, Request, Watch};

use crate::link::Link;
use crate::live::observe::ObserveError;

/// The lead on the battery's side.
pub const BEFORE: LeadId = LeadId(0);
/// The lead on the other side.
pub const BEHIND: LeadId = LeadId(1);

/// Looks at each lead for one sample, and for the null.
pub const LOOKS: usize = 64;
/// See [`LOOKS`].
pub const NULL_LOOKS: usize = 1024;

/// Mean voltages of the two leads.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Both {
    /// Before.
    pub before: Volts,
    /// Behind.
    pub behind: Volts,
}

/// Looks at both leads so many times. Every look is asked for by itself: a window's mean
/// comes in whole millivolts, a single look's rounding is smoothed by its own noise.
///
/// # Errors
/// [`ObserveError`] when link or probe fail.
pub fn both(link: &mut dyn Link, looks: usize) -> Result<Both, ObserveError> {
    let request = Request::Watch(Watch {
        leads: [BEFORE, BEHIND].into_iter().collect(),
        low: MilliVolts(0),
        high: MilliVolts(0),
        span: Micros(0),
    });
    let (mut before, mut behind) = (0.0, 0.0);
    for _ in 0..looks {
        match link.exchange(&request)? {
            Reply::Watched { seen, .. } => {
                let mean = |at: usize| seen.get(at).map(|seen| seen.mean.volts().0);
                let (Some(one), Some(other)) = (mean(0), mean(1)) else {
                    return Err(ObserveError::WrongReply);
                };
                before += one;
                behind += other;
            }
            Reply::Refused(refusal) => return Err(ObserveError::Refused(refusal)),
            _ => return Err(ObserveError::WrongReply),
        }
    }
    let looks = looks.max(1) as f64;
    Ok(Both {
        before: Volts(before / looks),
        behind: Volts(behind / looks),
    })
}

/// Both leads on one point: what the second reads of what the first does; `None` where
/// they cannot be on one point, or nothing is there.
#[must_use]
pub fn ratio(both: Both, supply: Volts) -> Option<f64> {
    // Protection resistors of ±0.5 % each, and multiplexers (docs/probe-hardware.md).
    const APART: f64 = 0.015;
    let ratio = both.behind.0 / both.before.0;
    let there = both.before.0 > supply.0 * 0.5;
    (there && (ratio - 1.0).abs() < APART).then_some(ratio)
}

/// The voltage from before to behind.
#[must_use]
pub fn difference(both: Both, ratio: f64) -> Volts {
    Volts(both.before.0 - both.behind.0 / ratio)
}
