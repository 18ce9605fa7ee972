//! Carries out the scan over a link: the first pass, then the readings that
//! tell what is wrong where something is.

use std::collections::BTreeSet;

use loomproof_core::judge::Value;
use loomproof_core::layout::Layout;
use loomproof_core::scan::{self, Planned, Purpose};
use loomproof_core::units::Volts;
use loomproof_core::wire::{LeadId, Place, Refusal, Reply, Request, SenseMode};

use super::charge::Waits;
use super::{Outcome, Stop, Taken};
use loomproof_firmware::interlock;

use crate::circuit::Model;
use crate::diagnosis::evidence::Evidence;
use crate::link::{Link, LinkError};

/// A lead that reads above this behind the pull-down follows the driven one:
/// half of what 300 kΩ in the way would leave (3.3 V·100 k/422 k).
pub(super) const FOLLOWS: Volts = Volts(0.4);

/// The most leads that are walked from; beyond that the harness is so far off
/// that more readings would not make it clearer.
const MAX_WALKS: usize = 40;

/// The most leads pairs that ohms are taken between.
const MAX_PAIRS: usize = 120;

/// The most steps that follow a first pass: each walk is at most two halves of
/// 128 leads, with and without module inputs.
pub const MOST_FURTHER_STEPS: usize = 4 * MAX_WALKS + MAX_PAIRS;

/// How often one step waits for charge: what seeps back through a module's loads is
/// less each time.
const MOST_WAITS: usize = 4;

/// What the caller is told while the scan goes on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Progress {
    /// Looking whether every lead is dead.
    Looking,
    /// Charge runs off: where it is highest, and how many millivolts are left.
    Charge(LeadId, i32),
    /// This step of that many (so far as known).
    Step(usize, usize),
    /// The first pass found something; taking the readings that tell what.
    Following(usize),
}

/// Why a scan gave no result.
#[derive(Debug, thiserror::Error)]
pub enum RunError {
    /// The link failed.
    #[error(transparent)]
    Link(#[from] LinkError),
    /// The probe answered a request with the wrong kind of reply.
    #[error(
        "the probe answered \"{asked}\" with something else; update its firmware, or unplug it and plug it in again"
    )]
    WrongReply {
        /// What was asked.
        asked: &'static str,
    },
    /// The probe would not carry out a step for a reason that is not the wiring's.
    #[error("{}", refusal_words(*.0))]
    Refusal(Refusal),
    /// The model could not be solved.
    #[error("the expected circuit cannot be computed: {0}")]
    Model(String),
}

/// Runs the whole scan.
///
/// # Errors
/// [`RunError`] when the link or the probe fails; a refusal for safety is an
/// [`Outcome`], not an error.
pub fn run(
    link: &mut dyn Link,
    model: &Model,
    place: Place,
    progress: &mut dyn FnMut(Progress),
) -> Result<Outcome, RunError> {
    progress(Progress::Looking);
    let mut scan = Scan {
        link,
        place,
        taken: Vec::new(),
        waits: Waits::new(),
    };
    if let Some(refusal) = scan.arm(progress)? {
        return Ok(scan.stop(refusal));
    }
    let layout = model.layout();
    let first: Vec<Planned> = scan::first_pass(&layout).collect();
    let total = first.len();
    for (at, planned) in first.into_iter().enumerate() {
        progress(Progress::Step(at + 1, total));
        if let Some(refusal) = scan.step(planned, progress)? {
            return Ok(scan.stop(refusal));
        }
    }
    let off = off(model, &scan.taken).map_err(RunError::Model)?;
    if !off.is_empty()
        && let Some(refusal) = follow(&mut scan, &layout, off, progress)?
    {
        return Ok(scan.stop(refusal));
    }
    scan.release()
}

/// Carries out one more step on wiring that was rung out, and lets go again.
///
/// # Errors
/// As [`run`]; a refusal for safety is an [`Outcome`].
pub fn one_more(
    link: &mut dyn Link,
    place: Place,
    planned: Planned,
    taken: Vec<Taken>,
    progress: &mut dyn FnMut(Progress),
) -> Result<Outcome, RunError> {
    let mut scan = Scan {
        link,
        place,
        taken,
        waits: Waits::new(),
    };
    let refusal = match scan.arm(progress)? {
        None => scan.step(planned, progress)?,
        refusal => refusal,
    };
    match refusal {
        Some(refusal) => Ok(scan.stop(refusal)),
        None => scan.release(),
    }
}

/// Whether a probe refuses for what it found in the wiring, not in itself.
fn for_safety(refusal: Refusal) -> bool {
    matches!(
        refusal,
        Refusal::Live(..) | Refusal::Moves(..) | Refusal::Chassis(_) | Refusal::Tripped
    )
}

fn refusal_words(refusal: Refusal) -> String {
    match refusal {
        Refusal::Hardware => "a chip of the probe does not answer as it should; unplug the probe \
                              and plug it in again, and if that does not help have it repaired: \
                              nothing that it reads can be trusted"
            .to_owned(),
        Refusal::NotArmed => "the probe lost the leave to drive twice within one step: it started \
                              anew in between, or another program speaks to it; nothing is driven. \
                              Close other programs that use the probe, check its cable and supply, \
                              and start the test again"
            .to_owned(),
        Refusal::NoSuchLead(lead) => format!(
            "the probe has no lead {lead}; a bank of leads is missing or loose: unplug the probe, \
             seat its boards, and plug it in again"
        ),
        other => format!(
            "the probe would not carry out a step ({other:?}); its firmware and this program do \
             not fit each other: update both"
        ),
    }
}

/// Asks once for permission to drive; a refusal for safety is returned.
pub(super) fn ask(link: &mut dyn Link, place: Place) -> Result<Option<Refusal>, RunError> {
    match link.exchange(&Request::Arm(place))? {
        Reply::Armed => Ok(None),
        Reply::Refused(refusal) if for_safety(refusal) => Ok(Some(refusal)),
        Reply::Refused(other) => Err(RunError::Refusal(other)),
        _ => Err(RunError::WrongReply { asked: "arm" }),
    }
}

struct Scan<'l> {
    link: &'l mut dyn Link,
    place: Place,
    taken: Vec<Taken>,
    waits: Waits,
}

impl Scan<'_> {
    /// Asks for permission to drive; a refusal for safety is returned, after charge
    /// that runs off has been waited for.
    fn arm(&mut self, progress: &mut dyn FnMut(Progress)) -> Result<Option<Refusal>, RunError> {
        match ask(self.link, self.place)? {
            None => Ok(None),
            Some(refusal) => self.wait_out(refusal, progress),
        }
    }

    /// Waits for charge to run off; what else stands in the way is returned.
    fn wait_out(
        &mut self,
        refusal: Refusal,
        progress: &mut dyn FnMut(Progress),
    ) -> Result<Option<Refusal>, RunError> {
        let mut falling = |refusal| {
            if let Refusal::Live(lead, mv) = refusal {
                progress(Progress::Charge(lead, mv));
            }
        };
        self.waits.out(self.link, self.place, refusal, &mut falling)
    }

    /// Lets go of everything; the scan is complete.
    fn release(self) -> Result<Outcome, RunError> {
        match self.link.exchange(&Request::Release)? {
            Reply::Released => Ok(Outcome::Complete(self.taken)),
            _ => Err(RunError::WrongReply { asked: "release" }),
        }
    }

    /// A refusal, with all leads that are live where one is. The look drives
    /// nothing; where it fails, the refusal stands without it.
    fn stop(self, refusal: Refusal) -> Outcome {
        let mut live = Vec::new();
        if matches!(refusal, Refusal::Live(..))
            && let Ok(Reply::Survey { looks, .. }) = self.link.exchange(&Request::Survey)
        {
            let levels = looks.iter().map(|look| interlock::worst(*look));
            live = (0..=u8::MAX)
                .map(LeadId)
                .zip(levels)
                .filter(|(_, mv)| !interlock::dead(*mv))
                .collect();
        }
        Outcome::Refused(Stop {
            refusal,
            live,
            taken: self.taken,
        })
    }

    /// Carries out one step; a refusal for safety is returned. Charge that the step finds
    /// on its leads, a module's that the steps before put there, is waited for.
    fn step(
        &mut self,
        planned: Planned,
        progress: &mut dyn FnMut(Progress),
    ) -> Result<Option<Refusal>, RunError> {
        let request = Request::Step(planned.step.clone());
        let mut asked_again = false;
        let mut waited = 0;
        loop {
            let refusal = match self.link.exchange(&request)? {
                Reply::Readings { readings, .. } if readings.len() == planned.step.senses.len() => {
                    self.taken.push(Taken {
                        planned,
                        readings: readings.iter().copied().collect(),
                    });
                    return Ok(None);
                }
                Reply::Refused(refusal) => refusal,
                _ => return Err(RunError::WrongReply { asked: "step" }),
            };
            let stands = match refusal {
                // The permission ran out (a slow host): ask again, once.
                Refusal::NotArmed if !asked_again => {
                    asked_again = true;
                    self.arm(progress)?
                }
                // Charge that was waited for does not come back; a source may.
                Refusal::Live(..) if waited < MOST_WAITS => {
                    waited += 1;
                    self.wait_out(refusal, progress)?
                }
                refusal if for_safety(refusal) => Some(refusal),
                other => return Err(RunError::Refusal(other)),
            };
            if stands.is_some() {
                return Ok(stands);
            }
        }
    }
}

/// The leads behind every quantity that is out of its band.
fn off(model: &Model, taken: &[Taken]) -> Result<BTreeSet<LeadId>, String> {
    let evidence = Evidence::new(model, taken)?;
    let mut leads = BTreeSet::new();
    for judged in evidence.judged().iter().filter(|j| !j.is_within()) {
        leads.insert(judged.quantity.plus.lead);
        leads.extend(judged.quantity.minus);
        match taken.get(judged.step).map(|taken| taken.planned.purpose) {
            Some(Purpose::Continuity(a, b)) => {
                leads.insert(a);
                leads.extend(b);
            }
            Some(Purpose::Across(a, b)) => leads.extend([a, b]),
            _ => {}
        }
    }
    Ok(leads)
}

/// Walks from every suspect lead, and from every lead that turns out to
/// follow one; then takes the ohms of what hangs together.
fn follow(
    scan: &mut Scan<'_>,
    layout: &Layout,
    suspects: BTreeSet<LeadId>,
    progress: &mut dyn FnMut(Progress),
) -> Result<Option<Refusal>, RunError> {
    let mut queue: Vec<LeadId> = suspects.into_iter().collect();
    let mut walked = BTreeSet::new();
    let mut pairs = BTreeSet::new();
    while let Some(lead) = queue.pop() {
        if walked.len() >= MAX_WALKS || !walked.insert(lead) {
            continue;
        }
        progress(Progress::Following(walked.len()));
        for planned in scan::walk(layout, lead) {
            if let Some(refusal) = scan.step(planned, progress)? {
                return Ok(Some(refusal));
            }
            let Some(taken) = scan.taken.last() else {
                continue;
            };
            for (quantity, value) in taken.values() {
                let other = quantity.plus.lead;
                let follows = quantity.plus.mode == SenseMode::PullDown
                    && matches!(value, Value::Volts(volts) if volts > FOLLOWS);
                let planned = layout.net(other) == layout.net(lead);
                if follows {
                    pairs.insert((lead.min(other), lead.max(other)));
                }
                if follows != planned && other != lead && !layout.on_chassis(lead) {
                    queue.push(other);
                }
            }
        }
    }
    for (a, b) in pairs.into_iter().take(MAX_PAIRS) {
        let also: Vec<LeadId> = layout
            .leads()
            .iter()
            .filter(|other| {
                layout.net(*other) == layout.net(a) || layout.net(*other) == layout.net(b)
            })
            .collect();
        if let Some(refusal) = scan.step(scan::pair(layout, a, b, &also), progress)? {
            return Ok(Some(refusal));
        }
    }
    Ok(None)
}
