//! `clips-exchanged@X1:4,with=X1:5`: two probe leads sit on each other's point.

use loomproof_core::circuit::Edit;

use super::Kind;
use crate::bench::{BenchError, Fitted, Who};
use crate::circuit::Model;
use crate::diagnosis::edits;
use crate::diagnosis::words::{Speaker, Words};
use crate::fault::clips;
use crate::fault::nets::Nets;
use crate::fault::spell::{Keys, Reader};
use crate::hookup::Hookup;
use crate::plan::model::{End, Job};

/// Two probe leads on each other's point.
#[derive(Debug, Clone, PartialEq)]
pub struct ClipsExchanged {
    /// One test point; the first in the order of ends.
    pub a: End,
    /// The other.
    pub b: End,
}

impl ClipsExchanged {
    fn new(one: End, other: End) -> Self {
        Self {
            a: one.clone().min(other.clone()),
            b: one.max(other),
        }
    }
}

impl Kind for ClipsExchanged {
    const NAME: &'static str = "clips-exchanged";
    const EXAMPLE: &'static str = "clips-exchanged@X1:4,with=X1:5";
    const MEANING: &'static str = "two probe leads on each other's point";
    const NOT_TESTED: &'static str = "two probe leads exchanged at";

    fn read(place: &str, keys: &mut Keys<'_>, reader: Reader<'_>) -> Result<Self, String> {
        let one = reader.point(place)?;
        let other = reader.point(keys.need("with")?)?;
        if one == other {
            return Err("a probe lead cannot be exchanged with itself".to_owned());
        }
        Ok(Self::new(one, other))
    }

    fn place(&self) -> String {
        self.a.to_string()
    }

    fn keys(&self) -> Vec<(&'static str, String)> {
        vec![("with", self.b.to_string())]
    }

    /// Pairs that are reached together and are not one piece of metal anyway.
    fn all(job: &Job, hookup: &Hookup) -> Vec<Self> {
        let nets = Nets::of(job, hookup.place);
        let mut faults = Vec::new();
        for (at, one) in hookup.clips.iter().enumerate() {
            for other in hookup.clips.iter().skip(at + 1) {
                let (a, b) = (one.point.end(), other.point.end());
                if clips::together(job, hookup.place, &one.point, &other.point) && !nets.one(&a, &b)
                {
                    faults.push(Self::new(a, b));
                }
            }
        }
        faults
    }

    fn prior(&self) -> f64 {
        1e-3
    }

    fn edits(&self, model: &Model) -> Option<Vec<Edit>> {
        let (clip_a, a) = edits::clip(model, &self.a)?;
        let (clip_b, b) = edits::clip(model, &self.b)?;
        Some(vec![
            Edit::Move(clip_a, a.a, b.b),
            Edit::Move(clip_b, b.a, a.b),
        ])
    }

    fn fit(&self, fitted: &mut Fitted<'_>) -> Result<(), BenchError> {
        let who = Who::new(format!("clips on {} and {} exchanged", self.a, self.b));
        let (a, b) = (fitted.clip(&self.a, &who)?, fitted.clip(&self.b, &who)?);
        if a == b {
            return who.senseless("a clip cannot be exchanged with itself; name two points");
        }
        let at = |clip: usize| fitted.clips[clip].at.clone();
        let (at_a, at_b) = (at(a), at(b));
        fitted.clips[a].at = at_b;
        fitted.clips[b].at = at_a;
        Ok(())
    }

    fn words(&self, speaker: Speaker<'_>) -> Words {
        let second = match (&self.a, &self.b) {
            (End::Cavity(a, _), End::Cavity(b, cavity)) if a == b => {
                speaker.cavity_again(b, *cavity)
            }
            (_, b) => speaker.end(b),
        };
        Words {
            say: speaker.fill(
                "The probe leads meant for {point} and for {other} sit on each other's point.",
                &[("point", &speaker.end(&self.a)), ("other", &second)],
            ),
            act: speaker.fill(
                "Before you move any terminal: read the numbers on both clips against the \
                 hook-up, exchange the clips, then ring out again.",
                &[],
            ),
        }
    }
}
