//! Asks the probe to show that it works, and judges it with `core`'s self-test.

use loomproof_core::self_test::{
    Chip, Trouble, Troubles, add_joined, between, channels, chips, free, gathered, isolation,
    of_the_bus,
};
use loomproof_core::wire::{
    Channel, Inspection, LeadId, MAX_SENSES, Place, Proof, Refusal, Reply, Request,
};

use crate::link::{Link, LinkError};

/// What the probe showed.
#[derive(Debug, Clone)]
pub struct Shown {
    /// What is wrong with it.
    pub troubles: Vec<Trouble>,
    /// Why it would not drive, if so: not all channels are tested then.
    pub refused: Option<Refusal>,
    /// Channels that were tested.
    pub tested: Vec<Channel>,
    /// Pairs of leads that were tested for being joined.
    pub pairs: usize,
}

impl Shown {
    /// Whether the probe showed that it works.
    #[must_use]
    pub fn healthy(&self) -> bool {
        self.troubles.is_empty() && self.refused.is_none()
    }
}

/// The whole self-test: the leads hang free, the chassis leads are joined.
///
/// # Errors
/// [`LinkError`].
pub fn full(link: &mut dyn Link) -> Result<Shown, LinkError> {
    let leads = link.hello().leads;
    let all: Vec<LeadId> = (0..leads).map(LeadId).collect();
    let (inspection, proofs, mut shown) = prove(link, &all, Place::Bench)?;
    if shown.refused.is_some() {
        return Ok(shown);
    }
    let mut found: Troubles = shown.troubles.iter().copied().collect();
    let mut joined = Vec::new();
    if !found.iter().any(of_the_bus) {
        for pair in all.iter().flat_map(|lead| isolation(*lead, leads)) {
            let mut taken = [const { heapless::Vec::<_, MAX_SENSES>::new() }; 2];
            for (step, into) in pair.iter().zip(&mut taken) {
                match link.exchange(&Request::Step(step.clone()))? {
                    Reply::Readings { readings, .. } => *into = readings,
                    Reply::Refused(refusal) => {
                        shown.refused = Some(refusal);
                        return Ok(shown);
                    }
                    _ => {}
                }
            }
            let [low, high] = &taken;
            shown.pairs += high.len();
            joined.extend(between(&pair, [low, high]));
        }
    }
    link.exchange(&Request::Release)?;
    add_joined(&mut found, joined.into_iter());
    let more = free(&inspection, &proofs, &found);
    shown.troubles = found.into_iter().chain(more).collect();
    Ok(shown)
}

/// The short self-test, with the leads clipped where they are: chips, sense bus, and
/// each of `leads` and C2 by itself. Leaves the probe idle.
///
/// # Errors
/// [`LinkError`].
pub fn short(link: &mut dyn Link, leads: &[LeadId], place: Place) -> Result<Shown, LinkError> {
    let (.., mut shown) = prove(link, leads, place)?;
    // A live lead trips the comparators as a broken circuit of theirs does; either way
    // nothing can be driven, which is not for this test to blame on the probe.
    let found = shown.troubles.len();
    shown
        .troubles
        .retain(|trouble| *trouble != Trouble::Tripped);
    if shown.troubles.len() < found {
        shown.refused.get_or_insert(Refusal::Tripped);
    }
    if shown.refused.is_none() {
        link.exchange(&Request::Release)?;
    }
    Ok(shown)
}

type Proved = (Inspection, Vec<(Channel, Proof)>, Shown);

fn prove(link: &mut dyn Link, leads: &[LeadId], place: Place) -> Result<Proved, LinkError> {
    let mut shown = Shown {
        troubles: Vec::new(),
        refused: None,
        tested: Vec::new(),
        pairs: 0,
    };
    let mut inspection = Inspection::default();
    match link.exchange(&Request::Inspect)? {
        Reply::Inspected(seen) => inspection = seen,
        Reply::Refused(refusal) => {
            shown.refused = Some(refusal);
            return Ok((inspection, Vec::new(), shown));
        }
        _ => {}
    }
    let mut found = chips(&inspection);
    let mut proofs = Vec::new();
    // Where chips do not answer there is nothing that could be driven, and a broken
    // sense bus shows nothing of any channel.
    let none = found.iter().any(|trouble| {
        matches!(
            trouble,
            Trouble::NoneAnswers(_) | Trouble::Silent(Chip::Select, 0) | Trouble::Converter(_)
        ) || of_the_bus(trouble)
    });
    if !none {
        match link.exchange(&Request::Arm(place))? {
            Reply::Refused(refusal) => shown.refused = Some(refusal),
            _ => shown.refused = channels_of(link, leads, place, &mut proofs)?,
        }
    }
    let each = channels(proofs.iter().copied());
    for trouble in each {
        // The list ends where there is no more room; the rest says no more.
        let _ = found.push(trouble);
    }
    shown.tested = proofs.iter().map(|(channel, _)| *channel).collect();
    shown.troubles = gathered(&found, link.hello().leads).into_iter().collect();
    Ok((inspection, proofs, shown))
}

fn channels_of(
    link: &mut dyn Link,
    leads: &[LeadId],
    place: Place,
    proofs: &mut Vec<(Channel, Proof)>,
) -> Result<Option<Refusal>, LinkError> {
    let channels = leads.iter().map(|lead| Channel::Lead(*lead));
    for channel in channels.chain([Channel::Chassis]) {
        let request = Request::Prove(channel);
        let mut reply = link.exchange(&request)?;
        if reply == Reply::Refused(Refusal::NotArmed) {
            // The permission ran out, or the probe started anew: ask again, once.
            if let Reply::Refused(refusal) = link.exchange(&Request::Arm(place))? {
                return Ok(Some(refusal));
            }
            reply = link.exchange(&request)?;
        }
        match reply {
            Reply::Proved(proof) => proofs.push((channel, proof)),
            Reply::Refused(refusal) => return Ok(Some(refusal)),
            _ => {}
        }
    }
    Ok(None)
}
