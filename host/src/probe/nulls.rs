//! The resistance of each clip with its probe lead: measured with all clips on one
//! piece of metal, kept in the probe, and put into the expected circuit.

use loomproof_core::null::{clip, steps};
use loomproof_core::units::Ohms;
use loomproof_core::wire::{
    CLIPS_A_MESSAGE, ClipOhms, LeadId, Nulls, Place, Refusal, Reply, Request,
};

use crate::circuit::Model;
use crate::link::{Link, LinkError};

/// The clips of a probe, in lead order; `None` for one that was never nulled.
pub type Clips = Vec<Option<Ohms>>;

/// Measures every clip. `None` stands for one that is not on the metal.
///
/// # Errors
/// [`NullError`].
pub fn measure(link: &mut dyn Link) -> Result<Clips, NullError> {
    let leads = link.hello().leads;
    if let Reply::Refused(refusal) = link.exchange(&Request::Arm(Place::Vehicle))? {
        return Err(NullError::Refused(refusal));
    }
    let mut clips = Vec::new();
    for lead in (0..leads).map(LeadId) {
        let other = LeadId(if lead.0 == 0 { 1 } else { 0 });
        let [driven, idle] = steps(lead, other).map(Request::Step);
        let mut readings = |request| match link.exchange(request)? {
            Reply::Readings { readings, .. } => Ok(readings),
            Reply::Refused(refusal) => Err(NullError::Refused(refusal)),
            _ => Ok(heapless::Vec::new()),
        };
        let (driven, idle) = (readings(&driven)?, readings(&idle)?);
        clips.push(clip(&driven, &idle));
    }
    link.exchange(&Request::Release)?;
    Ok(clips)
}

/// Has the probe keep them.
///
/// # Errors
/// [`NullError`].
pub fn keep(link: &mut dyn Link, clips: &Clips) -> Result<(), NullError> {
    let firsts = (0..=u8::MAX).step_by(CLIPS_A_MESSAGE);
    for (first, part) in firsts.zip(clips.chunks(CLIPS_A_MESSAGE)) {
        let of = |clip: &Option<Ohms>| clip.map_or(ClipOhms::NONE, ClipOhms::of);
        let request = Request::Keep(Nulls {
            first: LeadId(first),
            clips: part.iter().map(of).collect(),
        });
        if let Reply::Refused(refusal) = link.exchange(&request)? {
            return Err(NullError::Refused(refusal));
        }
    }
    Ok(())
}

/// What the probe keeps.
///
/// # Errors
/// [`LinkError`].
pub fn kept(link: &mut dyn Link) -> Result<Clips, LinkError> {
    let leads = link.hello().leads;
    let mut clips = Clips::new();
    for first in (0..leads).step_by(CLIPS_A_MESSAGE) {
        if let Reply::Nulls(nulls) = link.exchange(&Request::Nulls(LeadId(first)))? {
            clips.extend(nulls.clips.iter().map(|clip| clip.ohms()));
        }
    }
    clips.resize(usize::from(leads), None);
    Ok(clips)
}

/// Gives the clips of the expected circuit what was measured of them.
pub fn apply(model: &mut Model, clips: &Clips) {
    for (lead, clip) in (0..=u8::MAX).map(LeadId).zip(clips) {
        if let Some(ohms) = clip {
            model.circuit.null(lead, *ohms);
        }
    }
}

/// Why the clips could not be nulled.
#[derive(Debug, thiserror::Error)]
pub enum NullError {
    /// The way to the probe failed.
    #[error(transparent)]
    Link(#[from] LinkError),
    /// The probe would not drive, or not keep.
    #[error("{}", refused(*.0))]
    Refused(Refusal),
}

fn refused(refusal: Refusal) -> String {
    match refusal {
        Refusal::Memory => "the probe's memory did not take the values: null the leads again; if \
                            it stays, have the memory looked at"
            .to_owned(),
        Refusal::Live(lead, mv) => {
            format!("{lead} stands at {mv} mV: the metal must carry no voltage; use a bare bar")
        }
        Refusal::Hardware => {
            "a chip of the probe does not answer as it should; run `loomproof probe self-test`"
                .to_owned()
        }
        other => format!(
            "the probe will not drive ({other:?}): put both chassis leads and every clip on one \
             bare piece of metal and try again"
        ),
    }
}
