//! The harness as it was really fitted: the plan with the faults done to it,
//! still in the plan's words.

use crate::bench::error::BenchError;
use crate::fault::{Fault, Joint, Touches};
use crate::plan::model::{End, Job, Lead, Side};
use std::collections::BTreeMap;

/// A harness terminal that belongs into a connector cavity.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Terminal {
    /// Connector.
    pub(super) connector: String,
    /// Cavity that the plan gives it.
    pub(super) planned: u16,
    /// Cavity that it sits in.
    pub(super) cavity: u16,
    /// Home, so that it meets the mating half.
    pub(super) seated: bool,
}

/// A place where something touches what it should not.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Spot {
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
pub(super) struct Fitted<'a> {
    /// The plan.
    pub(super) job: &'a Job,
    /// Terminals in connectors.
    pub(super) terminals: Vec<Terminal>,
    /// Per tap of the plan: the conductor that it bites.
    pub(super) bites: Vec<Option<String>>,
    /// Resistance added to joints, Ω; infinite where they are open.
    pub(super) added: BTreeMap<Joint, f64>,
    /// Short circuits.
    pub(super) shorts: Vec<Short>,
    /// Sources: where, and how many volts.
    pub(super) live: Vec<(End, f64)>,
}

/// Says what is missing on behalf of one fault.
struct Speaker(String);

impl Speaker {
    fn unknown<T>(&self, what: impl Into<String>) -> Result<T, BenchError> {
        Err(BenchError::Unknown {
            who: self.0.clone(),
            what: what.into(),
        })
    }

    fn senseless<T>(&self, why: impl Into<String>) -> Result<T, BenchError> {
        Err(BenchError::Senseless {
            who: self.0.clone(),
            why: why.into(),
        })
    }
}

impl<'a> Fitted<'a> {
    /// Does the faults to the plan, one after the other.
    pub(super) fn new(job: &'a Job, faults: &[Fault]) -> Result<Self, BenchError> {
        let mut terminals: Vec<Terminal> = Vec::new();
        for end in job.leads.iter().flat_map(|lead| [&lead.from, &lead.to]) {
            let End::Cavity(connector, cavity) = end else {
                continue;
            };
            if !terminals
                .iter()
                .any(|t| t.connector == *connector && t.planned == *cavity)
            {
                terminals.push(Terminal {
                    connector: connector.clone(),
                    planned: *cavity,
                    cavity: *cavity,
                    seated: true,
                });
            }
        }
        let mut fitted = Self {
            job,
            terminals,
            bites: job.taps.iter().map(|tap| Some(tap.on.clone())).collect(),
            added: BTreeMap::new(),
            shorts: Vec::new(),
            live: Vec::new(),
        };
        for fault in faults {
            fitted.apply(fault)?;
        }
        Ok(fitted)
    }

    fn apply(&mut self, fault: &Fault) -> Result<(), BenchError> {
        match fault {
            Fault::Open(joint) => {
                self.check_joint(joint, &Speaker(format!("open joint at {}", spell(joint))))?;
                self.added.insert(joint.clone(), f64::INFINITY);
            }
            Fault::HighResistance(joint, ohms) => {
                let speaker = Speaker(format!("high resistance at {}", spell(joint)));
                self.check_joint(joint, &speaker)?;
                if !ohms.is_finite() || *ohms < 0.0 {
                    return speaker
                        .senseless(format!("{ohms} ohms cannot be added; give 0 or more"));
                }
                *self.added.entry(joint.clone()).or_insert(0.0) += ohms;
            }
            Fault::Unseated(connector, cavity) => {
                let speaker = Speaker(format!("unseated terminal {connector}:{cavity}"));
                let terminal = self.terminal(connector, *cavity, &speaker)?;
                self.terminals[terminal].seated = false;
            }
            Fault::WrongCavity(connector, from, to) => self.move_terminal(connector, *from, *to)?,
            Fault::Exchanged(connector, a, b) => {
                let speaker = Speaker(format!(
                    "terminals {connector}:{a} and {connector}:{b} exchanged"
                ));
                let (a, b) = (
                    self.terminal(connector, *a, &speaker)?,
                    self.terminal(connector, *b, &speaker)?,
                );
                if a == b {
                    return speaker.senseless(
                        "a terminal cannot be exchanged with itself; name two cavities",
                    );
                }
                let cavity = self.terminals[a].cavity;
                self.terminals[a].cavity = self.terminals[b].cavity;
                self.terminals[b].cavity = cavity;
            }
            Fault::TapMissed(tap) => {
                let place = self.tap(tap, &Speaker(format!("missed tap {tap}")))?;
                self.bites[place] = None;
            }
            Fault::TapNeighbour(tap, on) => {
                let speaker = Speaker(format!("tap {tap} on its neighbour {on}"));
                let place = self.tap(tap, &speaker)?;
                if !self
                    .job
                    .conductors
                    .iter()
                    .any(|conductor| conductor.name == *on)
                {
                    return speaker.unknown(format!("conductor {on}"));
                }
                if self.job.taps[place].on == *on {
                    return speaker
                        .senseless("that is the conductor it should be on; name another");
                }
                self.bites[place] = Some(on.clone());
            }
            Fault::Short(lead, touches) => {
                let label = format!("short of lead {lead}");
                let a = Spot::Middle(self.lead(lead, &Speaker(label.clone()))?);
                self.touch(label, a, touches)?;
            }
            Fault::CapTouching(lead, touches) => {
                let label = format!("capped end of lead {lead} touching");
                let speaker = Speaker(label.clone());
                let place = self.lead(lead, &speaker)?;
                let ends = [&self.job.leads[place].from, &self.job.leads[place].to];
                let Some(end) = ends.iter().position(|end| **end == End::Cap) else {
                    return speaker
                        .senseless("this lead has no capped end; name one that ends in `cap`");
                };
                self.touch(label, Spot::End(place, end), touches)?;
            }
            Fault::Live(end, volts) => {
                let speaker = Speaker(format!("live at {end}"));
                self.check_place(end, &speaker)?;
                if !volts.is_finite() || volts.abs() > 60.0 {
                    return speaker.senseless(format!("{volts} volts; give at most 60"));
                }
                if self.live.iter().any(|(other, _)| other == end) {
                    return speaker.senseless("it is live already; name each place once");
                }
                self.live.push((end.clone(), *volts));
            }
        }
        Ok(())
    }

    fn touch(&mut self, label: String, a: Spot, touches: &Touches) -> Result<(), BenchError> {
        let speaker = Speaker(label.clone());
        let (label, b) = match touches {
            Touches::Chassis => (format!("{label} to chassis"), Spot::Chassis),
            Touches::Lead(other) => (
                format!("{label} with {other}"),
                Spot::Middle(self.lead(other, &speaker)?),
            ),
        };
        let same = match (&a, &b) {
            (Spot::Middle(a) | Spot::End(a, _), Spot::Middle(b)) => a == b,
            _ => false,
        };
        if same {
            return speaker.senseless("a lead cannot touch itself; name another");
        }
        self.shorts.push(Short { label, a, b });
        Ok(())
    }

    fn move_terminal(&mut self, connector: &str, from: u16, to: u16) -> Result<(), BenchError> {
        let speaker = Speaker(format!(
            "terminal {connector}:{from} in the wrong cavity {to}"
        ));
        let terminal = self.terminal(connector, from, &speaker)?;
        self.check_cavity(connector, to, &speaker)?;
        let by_lead = self
            .terminals
            .iter()
            .any(|t| t.connector == connector && t.cavity == to);
        let by_conductor = self
            .job
            .conductors
            .iter()
            .any(|conductor| conductor.at.iter().any(|(c, n)| c == connector && *n == to));
        if by_lead || by_conductor {
            return Err(BenchError::Taken {
                who: speaker.0,
                cavity: format!("{connector}:{to}"),
            });
        }
        self.terminals[terminal].cavity = to;
        Ok(())
    }

    fn terminal(
        &self,
        connector: &str,
        planned: u16,
        speaker: &Speaker,
    ) -> Result<usize, BenchError> {
        match self
            .terminals
            .iter()
            .position(|t| t.connector == connector && t.planned == planned)
        {
            Some(place) => Ok(place),
            None => speaker.unknown(format!("harness terminal {connector}:{planned}")),
        }
    }

    fn lead(&self, name: &str, speaker: &Speaker) -> Result<usize, BenchError> {
        match self.job.leads.iter().position(|lead| lead.name == name) {
            Some(place) => Ok(place),
            None => speaker.unknown(format!("lead {name}")),
        }
    }

    fn tap(&self, name: &str, speaker: &Speaker) -> Result<usize, BenchError> {
        match self.job.taps.iter().position(|tap| tap.name == name) {
            Some(place) => Ok(place),
            None => speaker.unknown(format!("tap {name}")),
        }
    }

    fn check_cavity(
        &self,
        connector: &str,
        cavity: u16,
        speaker: &Speaker,
    ) -> Result<(), BenchError> {
        let found = self.job.connectors.iter().find(|c| c.name == connector);
        match found {
            Some(found) if (1..=found.cavities).contains(&cavity) => Ok(()),
            _ => speaker.unknown(format!("cavity {connector}:{cavity}")),
        }
    }

    fn check_joint(&self, joint: &Joint, speaker: &Speaker) -> Result<(), BenchError> {
        let ends = |lead: &Lead, end: &End| lead.from == *end || lead.to == *end;
        match joint {
            Joint::At(End::Cap | End::Splice(_)) => speaker
                .senseless("a cap has no joint, and of a splice say which lead: `S1,lead=W3`"),
            Joint::At(end) if self.job.leads.iter().any(|lead| ends(lead, end)) => Ok(()),
            Joint::At(end) => speaker.unknown(format!("lead that ends at {end}")),
            Joint::Splice(splice, lead) => {
                let place = self.lead(lead, speaker)?;
                if ends(&self.job.leads[place], &End::Splice(splice.clone())) {
                    Ok(())
                } else {
                    speaker.unknown(format!("lead {lead} in splice {splice}"))
                }
            }
            Joint::Along(lead) => self.lead(lead, speaker).map(|_| ()),
            Joint::Mating(plug) if self.job.plugs.iter().any(|p| p.name == *plug) => Ok(()),
            Joint::Mating(plug) => speaker.unknown(format!("in-line plug {plug}")),
        }
    }

    /// Whether the plan has this place at all.
    fn check_place(&self, end: &End, speaker: &Speaker) -> Result<(), BenchError> {
        let known = match end {
            End::Cap => {
                return speaker.senseless("a cap is not a place; name the lead's other end");
            }
            End::Cavity(connector, cavity) => {
                return self.check_cavity(connector, *cavity, speaker);
            }
            other => has_place(self.job, other),
        };
        if known {
            Ok(())
        } else {
            speaker.unknown(end.to_string())
        }
    }

    /// The harness terminal that sits in this cavity now.
    pub(super) fn sitting(&self, connector: &str, cavity: u16) -> Option<&Terminal> {
        self.terminals
            .iter()
            .find(|t| t.connector == connector && t.cavity == cavity)
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
            &Speaker(format!("clip on the {side} of {connector}:{cavity}")),
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

fn spell(joint: &Joint) -> String {
    match joint {
        Joint::At(end) => end.to_string(),
        Joint::Splice(splice, lead) => format!("{splice}, lead {lead}"),
        Joint::Along(lead) => lead.clone(),
        Joint::Mating(plug) => plug.clone(),
    }
}
