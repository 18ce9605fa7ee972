//! The harness as it was really fitted: the plan with the faults done to it,
//! still in the plan's words.

use crate::bench::error::BenchError;
use crate::fault::{Cavity, Fault, Joint, Touches};
use crate::hookup::{Hookup, Mated, Point};
use crate::plan::model::{Connector, End, Job, Lead, Side};
use loomproof_core::wire::LeadId;
use std::collections::{BTreeMap, BTreeSet};

/// A harness terminal that belongs into a connector cavity.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Terminal {
    /// Cavity that the plan gives it.
    pub(crate) planned: Cavity,
    /// Cavity that it sits in.
    pub(crate) sits: Cavity,
    /// Home, so that it meets the mating half.
    pub(crate) seated: bool,
}

/// A probe lead.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Clipped {
    /// Which one.
    pub(super) lead: LeadId,
    /// The point that the hook-up gives it.
    pub(super) meant: Point,
    /// The point that it is at.
    pub(crate) at: Point,
    /// It touches what is there.
    pub(crate) on: bool,
}

/// A place where something touches what it should not.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Spot {
    /// The middle of a lead (place in the job's list).
    Middle(usize),
    /// One end of a lead (place in the job's list; 0 = from, 1 = to).
    End(usize, usize),
    /// Chassis.
    Chassis,
}

/// A short circuit.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Short {
    /// What its resistance is drawn by.
    pub(super) label: String,
    /// One side.
    pub(super) a: Spot,
    /// Other side.
    pub(super) b: Spot,
}

/// The plan with its faults.
#[derive(Debug, Clone)]
pub(crate) struct Fitted<'a> {
    /// The plan.
    pub(crate) job: &'a Job,
    /// Terminals in connectors.
    pub(crate) terminals: Vec<Terminal>,
    /// Per tap of the plan: the conductor that it bites.
    pub(crate) bites: Vec<Option<String>>,
    /// Resistance added to joints, Ω; infinite where they are open.
    pub(crate) added: BTreeMap<Joint, f64>,
    /// Short circuits.
    pub(super) shorts: Vec<Short>,
    /// Sources: where, and how many volts.
    pub(crate) live: Vec<(End, f64)>,
    /// Wires of the vehicle in cavities that the plan thinks free: where, and
    /// how many ohms to chassis.
    pub(crate) foreign: Vec<(Cavity, f64)>,
    /// Diodes and relay coils the wrong way round.
    pub(crate) turned: BTreeSet<String>,
    /// Parts that join nothing: not there, or burnt through.
    pub(super) gone: BTreeSet<String>,
    /// Connectors of the vehicle that are pulled apart, and that are plugged as the
    /// plan says; others are not spoken of.
    pub(crate) mated: Mated,
    /// Joints that open now and then: which gap, and the ohms of a dropout (infinite
    /// where it opens).
    pub(crate) gaps: BTreeMap<Joint, (usize, f64)>,
    /// The probe leads.
    pub(crate) clips: Vec<Clipped>,
}

/// On whose behalf something is missing or senseless: a fault or a clip.
pub(crate) struct Who(String);

impl Who {
    /// Named in the sentence of an error.
    pub(crate) fn new(name: String) -> Self {
        Self(name)
    }

    /// The plan has no such thing.
    pub(crate) fn unknown<T>(&self, what: impl Into<String>) -> Result<T, BenchError> {
        Err(BenchError::Unknown {
            who: self.0.clone(),
            what: what.into(),
        })
    }

    /// It cannot be, and why.
    pub(crate) fn senseless<T>(&self, why: impl Into<String>) -> Result<T, BenchError> {
        Err(BenchError::Senseless {
            who: self.0.clone(),
            why: why.into(),
        })
    }
}

impl<'a> Fitted<'a> {
    /// Does the faults to the plan and its hook-up, one after the other.
    pub(super) fn new(job: &'a Job, hookup: &Hookup, faults: &[Fault]) -> Result<Self, BenchError> {
        let mut terminals: Vec<Terminal> = Vec::new();
        for end in job.leads.iter().flat_map(|lead| [&lead.from, &lead.to]) {
            let End::Cavity(connector, number) = end else {
                continue;
            };
            let planned = Cavity::new(connector, *number);
            if !terminals.iter().any(|t| t.planned == planned) {
                terminals.push(Terminal {
                    sits: planned.clone(),
                    planned,
                    seated: true,
                });
            }
        }
        let clips = hookup.clips.iter().map(|clip| Clipped {
            lead: clip.lead,
            meant: clip.point.clone(),
            at: clip.point.clone(),
            on: true,
        });
        let mut fitted = Self {
            job,
            terminals,
            bites: job.taps.iter().map(|tap| Some(tap.on.clone())).collect(),
            added: BTreeMap::new(),
            shorts: Vec::new(),
            live: Vec::new(),
            foreign: Vec::new(),
            turned: BTreeSet::new(),
            gone: BTreeSet::new(),
            mated: hookup.mated.clone(),
            gaps: BTreeMap::new(),
            clips: clips.collect(),
        };
        for fault in faults {
            fault.fit(&mut fitted)?;
        }
        Ok(fitted)
    }

    /// What is touched from one side of a short.
    pub(crate) fn touch(
        &mut self,
        label: String,
        a: Spot,
        touches: &Touches,
    ) -> Result<(), BenchError> {
        let who = Who(label.clone());
        let (label, b) = match touches {
            Touches::Chassis => (format!("{label} to chassis"), Spot::Chassis),
            Touches::Lead(other) => (
                format!("{label} with {other}"),
                Spot::Middle(self.lead(other, &who)?),
            ),
        };
        let same = match (&a, &b) {
            (Spot::Middle(a) | Spot::End(a, _), Spot::Middle(b)) => a == b,
            _ => false,
        };
        if same {
            return who.senseless("a lead cannot touch itself; name another");
        }
        self.shorts.push(Short { label, a, b });
        Ok(())
    }

    /// Puts terminals into other cavities, all at once.
    pub(crate) fn put(&mut self, moves: Vec<(usize, Cavity)>, who: &Who) -> Result<(), BenchError> {
        for (at, (_, to)) in moves.iter().enumerate() {
            self.check_cavity(&to.connector, to.number, who)?;
            let others = self.terminals.iter().enumerate();
            let by_lead = others
                .filter(|(terminal, _)| !moves.iter().any(|(moved, _)| moved == terminal))
                .any(|(_, terminal)| terminal.sits == *to);
            let by_another = moves.iter().skip(at + 1).any(|(_, other)| other == to);
            let by_conductor = self.job.conductors.iter().any(|conductor| {
                let mut places = conductor.at.iter();
                places.any(|(name, number)| *name == to.connector && *number == to.number)
            });
            if by_lead || by_another || by_conductor {
                return Err(BenchError::Taken {
                    who: who.0.clone(),
                    cavity: to.to_string(),
                });
            }
        }
        for (terminal, to) in moves {
            self.terminals[terminal].sits = to;
        }
        Ok(())
    }

    /// Takes a part out of its place, or breaks it inside.
    pub(crate) fn take_out(&mut self, part: &str, who: &Who) -> Result<(), BenchError> {
        let job = self.job;
        if job.relays.iter().any(|it| it.name == part)
            || job.diodes.iter().any(|it| it.name == part)
            || job.lamps.iter().any(|it| it.name == part)
            || job.fuses.iter().any(|it| it.name == part)
        {
            self.gone.insert(part.to_owned());
            Ok(())
        } else {
            who.unknown(format!("part {part}"))
        }
    }

    /// The terminal that belongs in a cavity.
    pub(crate) fn terminal(&self, planned: &Cavity, who: &Who) -> Result<usize, BenchError> {
        match self.terminals.iter().position(|t| t.planned == *planned) {
            Some(place) => Ok(place),
            None => who.unknown(format!("harness terminal {planned}")),
        }
    }

    /// The probe lead that is meant for a point.
    pub(crate) fn clip(&self, point: &End, who: &Who) -> Result<usize, BenchError> {
        match self
            .clips
            .iter()
            .position(|clip| clip.meant.end() == *point)
        {
            Some(place) => Ok(place),
            None => who.unknown(format!("probe lead on {point}")),
        }
    }

    /// A connector of the plan.
    pub(crate) fn connector(&self, name: &str, who: &Who) -> Result<&'a Connector, BenchError> {
        match self.job.connectors.iter().find(|c| c.name == name) {
            Some(connector) => Ok(connector),
            None => who.unknown(format!("connector {name}")),
        }
    }

    pub(crate) fn lead(&self, name: &str, who: &Who) -> Result<usize, BenchError> {
        match self.job.leads.iter().position(|lead| lead.name == name) {
            Some(place) => Ok(place),
            None => who.unknown(format!("lead {name}")),
        }
    }

    pub(crate) fn tap(&self, name: &str, who: &Who) -> Result<usize, BenchError> {
        match self.job.taps.iter().position(|tap| tap.name == name) {
            Some(place) => Ok(place),
            None => who.unknown(format!("tap {name}")),
        }
    }

    pub(crate) fn check_cavity(
        &self,
        connector: &str,
        cavity: u16,
        who: &Who,
    ) -> Result<(), BenchError> {
        let found = self.job.connectors.iter().find(|c| c.name == connector);
        match found {
            Some(found) if (1..=found.cavities).contains(&cavity) => Ok(()),
            _ => who.unknown(format!("cavity {connector}:{cavity}")),
        }
    }

    pub(crate) fn check_joint(&self, joint: &Joint, who: &Who) -> Result<(), BenchError> {
        let ends = |lead: &Lead, end: &End| lead.from == *end || lead.to == *end;
        match joint {
            Joint::At(End::Cap | End::Splice(_)) => {
                who.senseless("a cap has no joint, and of a splice say which lead: `S1,lead=W3`")
            }
            Joint::At(end) if self.job.leads.iter().any(|lead| ends(lead, end)) => Ok(()),
            Joint::At(end) => who.unknown(format!("lead that ends at {end}")),
            Joint::Splice(splice, lead) => {
                let place = self.lead(lead, who)?;
                if ends(&self.job.leads[place], &End::Splice(splice.clone())) {
                    Ok(())
                } else {
                    who.unknown(format!("lead {lead} in splice {splice}"))
                }
            }
            Joint::Along(lead) => self.lead(lead, who).map(|_| ()),
            Joint::Mating(plug) if self.job.plugs.iter().any(|p| p.name == *plug) => Ok(()),
            Joint::Mating(plug) => who.unknown(format!("in-line plug {plug}")),
        }
    }

    /// Whether the plan has this place at all.
    pub(crate) fn check_place(&self, end: &End, who: &Who) -> Result<(), BenchError> {
        let known = match end {
            End::Cap => {
                return who.senseless("a cap is not a place; name the lead's other end");
            }
            End::Cavity(connector, cavity) => {
                return self.check_cavity(connector, *cavity, who);
            }
            other => has_place(self.job, other),
        };
        if known {
            Ok(())
        } else {
            who.unknown(end.to_string())
        }
    }

    /// The harness terminal that sits in this cavity now.
    pub(super) fn sitting(&self, connector: &str, cavity: u16) -> Option<&Terminal> {
        self.terminals
            .iter()
            .find(|t| t.sits.connector == connector && t.sits.number == cavity)
    }

    /// Whether a clip can be put on this cavity at all.
    pub(super) fn clip_cavity(
        &self,
        connector: &str,
        cavity: u16,
        side: Side,
    ) -> Result<(), BenchError> {
        let side = match side {
            Side::Wire => "wire side",
            Side::Mating => "mating side",
        };
        self.check_cavity(
            connector,
            cavity,
            &Who(format!("clip on the {side} of {connector}:{cavity}")),
        )
    }
}

/// Whether the plan has this place; cavities and caps are looked at elsewhere.
pub(super) fn has_place(job: &Job, end: &End) -> bool {
    match end {
        End::Cavity(..) | End::Cap => false,
        End::Tap(name) => job.taps.iter().any(|tap| tap.name == *name),
        End::Splice(name) => job.splices.iter().any(|splice| splice.name == *name),
        End::Ring(name) => job.rings.iter().any(|ring| ring.name == *name),
        End::Plug(name, _, way) => job
            .plugs
            .iter()
            .any(|plug| plug.name == *name && (1..=plug.ways).contains(way)),
        End::Part(name, terminal) => {
            let terminal = terminal.as_str();
            let two = ["1", "2"].contains(&terminal);
            job.relays.iter().any(|relay| {
                relay.name == *name
                    && (["85", "86", "30", "87"].contains(&terminal)
                        || relay.changeover && terminal == "87a")
            }) || job
                .diodes
                .iter()
                .any(|d| d.name == *name && ["A", "K"].contains(&terminal))
                || job.lamps.iter().any(|lamp| lamp.name == *name && two)
                || job.fuses.iter().any(|fuse| fuse.name == *name && two)
        }
    }
}
