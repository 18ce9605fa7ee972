//! What happens when a cause is named: somebody looks there, and the session goes on.

use std::collections::BTreeSet;

use super::desk::{Desk, Source};
use crate::comeback::report::{Report, SuspectReport};
use crate::comeback::{Entry, How, Position, text};
use crate::commands::asking::line;
use crate::commands::{Failure, note};
use crate::powered::Cause;

/// What somebody says after a look.
#[derive(Debug, PartialEq, Eq)]
enum Said {
    /// Nothing of it is so.
    Sound,
    /// The set of this number is so, and was put right.
    PutRight(usize),
    /// The step before is taken back.
    Undo,
    /// Nobody looked yet.
    Later,
}

impl Desk<'_> {
    /// Whether somebody looked at what is named, so that the session goes on.
    pub(super) fn look(&mut self, report: &Report, position: &Position) -> Result<bool, Failure> {
        if matches!(self.source, Source::Virtual(_)) {
            return Ok(false);
        }
        let Some(best) = report.groups.first() else {
            return Ok(false);
        };
        // Nothing is named where all is well, or where everything was looked at.
        let named = spelled(best.sets.iter().flatten());
        let named = self.meant(named.iter().map(String::as_str))?;
        let cleared = self.cleared()?;
        if best.sets.iter().any(Vec::is_empty)
            || named.iter().all(|cause| cleared.contains(&cause.name()))
        {
            return Ok(false);
        }
        note(&text::to_look(best));
        let said = loop {
            let Ok(Some(typed)) = line(&text::looked(best.sets.len())) else {
                return Ok(false);
            };
            match understood(&typed, best.sets.len()) {
                Some(said) => break said,
                None => note("That was not understood."),
            }
        };
        match said {
            Said::Later => return Ok(false),
            Said::Undo => self.undo()?,
            Said::Sound => {
                let all = spelled(best.sets.iter().flatten());
                self.session.entries.push(Entry::sound(&all));
            }
            Said::PutRight(which) => {
                let set = best.sets.get(which).map_or(&[][..], Vec::as_slice);
                let repaired = spelled(set.iter());
                let places = &self.inquiry.asks.places;
                let open = position.open.iter();
                let opened: Vec<String> = open.filter_map(|at| places.get(*at).cloned()).collect();
                self.session.put_right(repaired, opened.into_iter());
                note("Now every function again.");
                if !self.tell_again()? {
                    return Ok(false);
                }
            }
        }
        self.keep()?;
        Ok(true)
    }

    /// Whether the functions were told anew after a repair; where the input ended, the
    /// session stands as before the repair.
    fn tell_again(&mut self) -> Result<bool, Failure> {
        let before = self.session.rounds.last().map(|round| &round.symptoms);
        let wrong = before
            .into_iter()
            .flatten()
            .filter(|(_, how)| **how != How::Works);
        let wrong = wrong.map(|(name, _)| name.clone()).collect();
        let told = self.ask_symptoms(&wrong).is_some();
        if !told {
            self.session.take_back();
        }
        self.suspect()?;
        Ok(told)
    }

    /// Names of the causes that cannot be it any more.
    pub(super) fn cleared(&self) -> Result<BTreeSet<String>, Failure> {
        let all = self.session.found_sound().chain(self.session.repaired());
        let all = self.meant(all)?;
        Ok(all.iter().map(Cause::name).collect())
    }

    /// The causes that the session tells of.
    pub(super) fn meant<'n>(
        &self,
        causes: impl Iterator<Item = &'n str>,
    ) -> Result<Vec<Cause>, Failure> {
        let each = causes.map(|said| {
            Cause::parse(said, self.job).map_err(|why| {
                Failure::usage(format!(
                    "the session tells of {said}, which is no cause in this variant: {why}"
                ))
            })
        });
        each.collect()
    }
}

fn spelled<'r>(causes: impl Iterator<Item = &'r SuspectReport>) -> Vec<String> {
    causes.map(|one| one.fault.fault.clone()).collect()
}

fn understood(typed: &str, sets: usize) -> Option<Said> {
    match (typed.trim().to_lowercase().as_str(), sets) {
        ("" | "quit" | "q", _) => Some(Said::Later),
        ("undo", _) => Some(Said::Undo),
        ("n" | "no" | "none", _) => Some(Said::Sound),
        ("y" | "yes", 1) => Some(Said::PutRight(0)),
        (said, _) => {
            let mut letters = said.chars();
            let (letter, None) = (letters.next()?, letters.next()) else {
                return None;
            };
            let at = usize::try_from(u32::from(letter).checked_sub(u32::from('a'))?).ok()?;
            (at < sets && sets > 1).then_some(Said::PutRight(at))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_typed_after_a_look_is_understood() {
        assert_eq!(understood("y\n", 1), Some(Said::PutRight(0)));
        assert_eq!(understood("y\n", 2), None, "which of them?");
        assert_eq!(understood(" B ", 2), Some(Said::PutRight(1)));
        assert_eq!(understood("c", 2), None);
        assert_eq!(understood("a", 1), None);
        assert_eq!(understood("n", 8), Some(Said::Sound));
        assert_eq!(understood("", 8), Some(Said::Later));
        assert_eq!(understood("quit", 1), Some(Said::Later));
        assert_eq!(understood("undo", 1), Some(Said::Undo));
        assert_eq!(understood("11.8", 3), None);
    }
}
