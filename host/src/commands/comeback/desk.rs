//! One comeback, worked on: what was told, what is asked, and who reads.

use std::collections::BTreeSet;

use loomproof_core::units::Volts;
use loomproof_core::wire::LeadId;

use super::Args;
use super::before::{passed, posts};
use crate::comeback::next::settled;
use crate::comeback::report::{Came, Report, report};
use crate::comeback::session::{Session, parse};
use crate::comeback::vehicle::VirtualVehicle;
use crate::comeback::{Answer, Ask, Belief, Entry, Field, Inquiry, Position, Reply, What, text};
use crate::commands::asking::line;
use crate::commands::{Failure, note};
use crate::link::{Link, connect};
use crate::live::observe::{Patience, observe};
use crate::plan::model::Job;
use crate::ringout::report::ProbeReport;

/// Who reads.
pub(super) enum Source {
    /// Somebody with a multimeter types.
    Meter,
    /// A virtual vehicle.
    Virtual(Box<VirtualVehicle>),
    /// A probe, its first lead moved from place to place.
    Probe(Box<dyn Link>),
}

/// What one comeback is worked on with.
pub(super) struct Desk<'a> {
    pub(super) args: &'a Args,
    pub(super) job: &'a Job,
    pub(super) inquiry: Inquiry<'a>,
    pub(super) session: Session,
    pub(super) source: Source,
    pub(super) passed: bool,
}

/// How a question ended.
enum Taken {
    Reply(Reply),
    Undo,
    Quit,
    Again,
}

impl<'a> Desk<'a> {
    pub(super) fn new(args: &'a Args, job: &'a Job) -> Result<Self, Failure> {
        let kept = match &args.session {
            Some(path) => Session::load(path, job)?,
            None => None,
        };
        let battery = match (&kept, args.battery) {
            (Some(kept), None) => kept.battery_volts,
            (_, Some(volts)) if (job.supply.0 * 0.5..=job.supply.0 * 1.5).contains(&volts) => volts,
            (_, Some(volts)) => {
                return Err(Failure::usage(format!(
                    "--battery {volts}: that is no battery of {} V",
                    job.supply.0
                )));
            }
            (None, None) => 0.0,
        };
        let mut source = if args.is_virtual() {
            let vehicle = VirtualVehicle::new(job, &args.causes(job)?, &args.settings()?)?;
            Source::Virtual(Box::new(vehicle))
        } else {
            args.simulated.only_virtual()?;
            if !args.faults.is_empty() {
                return Err(Failure::usage(
                    "--fault is of the virtual vehicle; give --probe virtual, or leave it out"
                        .to_owned(),
                ));
            }
            if args.probe == "meter" {
                Source::Meter
            } else {
                Source::Probe(Box::new(connect(&args.probe)?))
            }
        };
        let battery = match &mut source {
            _ if battery > 0.0 => battery,
            Source::Virtual(vehicle) => vehicle.battery(),
            _ => posts(job)?,
        };
        let inquiry = Inquiry::new(job, Volts(battery)).map_err(Failure::usage)?;
        let mut session = kept.unwrap_or_else(|| Session::new(job, battery));
        session.battery_volts = battery;
        for place in &args.open {
            inquiry.asks.meant(place).map_err(Failure::usage)?;
            if !session.open.contains(place) {
                session.open.push(place.clone());
            }
        }
        if args.record.is_some() {
            session.record.clone_from(&args.record);
        }
        let passed = match &session.record {
            Some(which) => passed(args, job, which)?,
            None => false,
        };
        Ok(Self {
            args,
            job,
            inquiry,
            session,
            source,
            passed,
        })
    }

    pub(super) fn keep(&self) -> Result<(), Failure> {
        match &self.args.session {
            Some(path) => Ok(self.session.keep(path)?),
            None => Ok(()),
        }
    }

    fn answers(&self) -> Result<Vec<Answer>, Failure> {
        let path = self.args.session.as_deref();
        Ok(self.session.replies(self.job, &self.inquiry.asks, path)?)
    }

    /// Places open at the start.
    fn open(&self) -> Result<BTreeSet<usize>, Failure> {
        let mut open = BTreeSet::new();
        for place in &self.session.open {
            open.extend(self.inquiry.asks.meant(place).map_err(Failure::usage)?);
        }
        Ok(open)
    }

    /// Where things stand after the answers, and what cannot be asked (again).
    fn standing(&self, answers: &[Answer]) -> Result<(Position, BTreeSet<Ask>), Failure> {
        let asks = &self.inquiry.asks;
        let mut position = Position {
            setting: 0,
            open: self.open()?,
        };
        let mut barred = BTreeSet::new();
        for answer in answers {
            if answer.reply == Reply::NotPossible {
                let all = asks.list.iter().filter(|ask| ask.what == answer.ask.what);
                barred.extend(all.copied());
            } else {
                position = position.after(asks, &answer.ask);
                barred.insert(answer.ask);
            }
        }
        Ok((position, barred))
    }

    /// Asks until nothing more is to be asked.
    pub(super) fn walk(&mut self) -> Result<Report, Failure> {
        loop {
            self.inquiry.looked(self.cleared()?);
            let answers = self.answers()?;
            let (position, barred) = self.standing(&answers)?;
            let belief = self.inquiry.belief(&answers).map_err(Failure::usage)?;
            let inquiry = &self.inquiry;
            let proposal = {
                let field = Field::new(&inquiry.asks, &inquiry.suspects, &belief, &barred);
                let groups = field.groups(&belief);
                if settled(&groups, answers.len()) {
                    None
                } else {
                    field.best(&position)
                }
            };
            let Some(proposal) = proposal else {
                let report = self.report(&belief, &answers, (&position, &barred), false)?;
                if self.look(&report, &position)? {
                    continue;
                }
                return Ok(report);
            };
            note(&format!(
                "[{}] {}",
                answers.len() + 1,
                text::ask(inquiry, &proposal.ask)
            ));
            match self.take(&proposal.ask, &belief, (&position, &barred, &answers))? {
                Taken::Reply(reply) => {
                    let entry = Entry::new(self.job, &self.inquiry.asks, &proposal.ask, &reply);
                    self.session.entries.push(entry);
                    self.keep()?;
                }
                Taken::Undo => self.undo()?,
                Taken::Again => {}
                Taken::Quit => {
                    self.keep()?;
                    if let Some(path) = &self.args.session {
                        note(&format!("Kept in {}.", path.display()));
                    }
                    return self.report(&belief, &answers, (&position, &barred), true);
                }
            }
        }
    }

    /// Takes the last step back.
    pub(super) fn undo(&mut self) -> Result<(), Failure> {
        let rounds = self.session.rounds.len();
        match self.session.take_back() {
            Some(what) => note(&format!("Taken back: {what}")),
            None => note("There is nothing to take back."),
        }
        if self.session.rounds.len() < rounds {
            self.suspect()?;
        }
        self.keep()
    }

    fn report(
        &self,
        belief: &Belief,
        answers: &[Answer],
        (position, barred): (&Position, &BTreeSet<Ask>),
        broken_off: bool,
    ) -> Result<Report, Failure> {
        Ok(report(&Came {
            inquiry: &self.inquiry,
            belief,
            symptoms: &self.symptoms()?,
            answers,
            barred,
            position,
            open: &self.open()?,
            battery_volts: self.session.battery_volts,
            passed: self.passed,
            simulated: matches!(self.source, Source::Virtual(_)),
            probe: match &self.source {
                Source::Probe(link) => Some(ProbeReport::of(link.hello())),
                Source::Meter | Source::Virtual(_) => None,
            },
            broken_off,
            repaired: &self.meant(self.session.repaired())?,
            sound: &self.meant(self.session.found_sound())?,
        }))
    }

    /// Takes the answer to an ask.
    fn take(
        &mut self,
        ask: &Ask,
        belief: &Belief,
        (position, barred, answers): (&Position, &BTreeSet<Ask>, &[Answer]),
    ) -> Result<Taken, Failure> {
        if let Source::Virtual(vehicle) = &mut self.source {
            let reply = vehicle.reply(&self.inquiry, ask)?;
            note(&format!("    {}", crate::comeback::session::typed(&reply)));
            return Ok(Taken::Reply(reply));
        }
        let by_probe = matches!((&self.source, ask.what), (Source::Probe(_), What::Volts(_)));
        let prompt = if by_probe {
            "    Probe lead P1 there, Enter reads it (help: all commands): "
        } else {
            "    answer (help: all commands): "
        };
        let Ok(Some(said)) = line(prompt) else {
            return Ok(Taken::Quit);
        };
        let said = said.trim();
        match said.split_once(' ').map_or(said, |(first, _)| first) {
            "undo" => return Ok(Taken::Undo),
            "quit" | "q" => return Ok(Taken::Quit),
            "help" | "?" => {
                note(text::HELP);
                return Ok(Taken::Again);
            }
            "why" => {
                let report = self.report(belief, answers, (position, barred), false)?;
                note(&text::suspects(&report.groups));
                return Ok(Taken::Again);
            }
            "open" => {
                let place = said.trim_start_matches("open").trim();
                match self.inquiry.asks.meant(place) {
                    Ok(_) => self.session.open.push(place.to_owned()),
                    Err(why) => note(&why),
                }
                return Ok(Taken::Again);
            }
            "" if by_probe => return self.read().map(Taken::Reply),
            _ => {}
        }
        match parse(said, ask.what) {
            Some(reply) => Ok(Taken::Reply(reply)),
            None => {
                note("That was not understood.");
                note(text::HELP);
                Ok(Taken::Again)
            }
        }
    }

    /// Reads the first lead of the probe.
    fn read(&mut self) -> Result<Reply, Failure> {
        let Source::Probe(link) = &mut self.source else {
            return Ok(Reply::NotPossible);
        };
        let seen = observe(link.as_mut(), &[LeadId(0)], self.job.supply, Patience::FULL);
        let seen = seen.map_err(|error| Failure::probe(error.to_string()))?;
        Ok(match seen.first() {
            Some(seen) => {
                note(&format!("    {:.2} V", seen.on.0));
                Reply::Volts {
                    volts: seen.on.0,
                    doubtful: false,
                }
            }
            None => Reply::NotPossible,
        })
    }
}
