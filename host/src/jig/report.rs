//! What the check of a jig reports, as data: printed as JSON as it stands, and put into
//! plain words by [`super::text`].

use jiff::Timestamp;
use loomproof_core::units::Ohms;
use loomproof_core::wire::LeadId;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::check::OtherJig;
use super::code::{Identity, LEADS, exchanged};
use super::history::History;
use super::{Code, Jig};
use crate::diagnosis::words::{capital, ohms_text};
use crate::ringout::report::{ProbeReport, Verdict};
use crate::touch::CHASSIS;

/// The report of one check.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[schemars(title = "Report of a bench jig's check")]
pub struct Report {
    /// `pass`: number, wires and contacts are as the jig's file says. `faults`: something
    /// is not.
    pub verdict: Verdict,
    /// What the jig is called.
    pub title: String,
    /// Its number.
    pub number: u16,
    /// Its file.
    pub file: String,
    /// The probe.
    pub probe: ProbeReport,
    /// Matings since its halves were new.
    pub matings: u32,
    /// How often they can be mated, where the file says so.
    pub good_for: Option<u32>,
    /// Its halves, one after the other.
    pub halves: Vec<HalfReport>,
    /// What is wrong.
    pub findings: Vec<Found>,
    /// What to think of, a sentence each.
    pub warnings: Vec<String>,
}

/// One mating half.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct HalfReport {
    /// Its name in the plan.
    pub half: String,
    /// Its contacts that have a lead.
    pub contacts: usize,
    /// The worst that reached the shorting plug, clip and lead included; null where none
    /// did.
    pub worst_ohms: Option<f64>,
}

impl HalfReport {
    /// Of a half.
    #[must_use]
    pub fn new(half: &str, contacts: usize, worst: Option<Ohms>) -> Self {
        Self {
            half: half.to_owned(),
            contacts,
            worst_ohms: worst.map(|ohms| (ohms.0 * 1e3).round() / 1e3),
        }
    }
}

/// What kind of thing is wrong with a jig.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Kind {
    /// The number does not read as the file says.
    Number,
    /// Two wires touch, or leak into each other.
    Touching,
    /// A wire touches the chassis leads' wire, or leaks into it.
    Grounded,
    /// A wire does not reach its half.
    Open,
    /// It does, but through too much.
    Poor,
    /// It reaches another half.
    Elsewhere,
}

/// Something that is wrong.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Found {
    /// What kind of thing.
    pub kind: Kind,
    /// The leads that it is about.
    pub leads: Vec<String>,
    /// The points that these are wired to by the file.
    pub points: Vec<String>,
    /// What is wrong.
    pub say: String,
    /// What to do.
    #[serde(rename = "do")]
    pub to_do: String,
}

/// Collects what is found while a jig is checked.
pub struct Findings<'j> {
    jig: &'j Jig,
    number: Option<Found>,
    touching: Vec<(LeadId, LeadId)>,
    grounded: Vec<LeadId>,
    open: Vec<LeadId>,
    poor: Vec<(LeadId, Ohms)>,
    elsewhere: Vec<(LeadId, String)>,
}

impl<'j> Findings<'j> {
    /// Nothing yet.
    #[must_use]
    pub fn new(jig: &'j Jig) -> Self {
        Self {
            jig,
            number: None,
            touching: Vec::new(),
            grounded: Vec::new(),
            open: Vec::new(),
            poor: Vec::new(),
            elsewhere: Vec::new(),
        }
    }

    /// The number that was read.
    pub fn identity(&mut self, read: &Identity) {
        let Err(OtherJig { say, to_do }) = self.jig.is_plugged(read) else {
            return;
        };
        self.number = Some(Found {
            kind: Kind::Number,
            leads: LEADS.map(|lead| lead.to_string()).to_vec(),
            points: Vec::new(),
            say,
            to_do,
        });
    }

    /// Two leads are joined with nothing plugged in.
    pub fn touching(&mut self, a: LeadId, b: LeadId) {
        self.touching.push((a, b));
    }

    /// A lead is joined to the chassis with nothing plugged in.
    pub fn grounded(&mut self, lead: LeadId) {
        self.grounded.push(lead);
    }

    /// A lead reaches the shorting plug on its half.
    pub fn reaches(&mut self, lead: LeadId, ohms: Ohms) {
        if ohms.0 > CHASSIS.0 {
            self.poor.push((lead, ohms));
        }
    }

    /// A lead does not.
    pub fn open(&mut self, lead: LeadId) {
        self.open.push(lead);
    }

    /// A lead reaches the shorting plug on a half that it does not belong to.
    pub fn elsewhere(&mut self, lead: LeadId, half: &str) {
        self.elsewhere.push((lead, half.to_owned()));
    }

    fn found(&self, kind: Kind, leads: &[LeadId], say: String, to_do: String) -> Found {
        let points = leads.iter().filter_map(|lead| self.jig.wired(*lead));
        Found {
            kind,
            leads: leads.iter().map(ToString::to_string).collect(),
            points: points.map(ToOwned::to_owned).collect(),
            say,
            to_do,
        }
    }

    /// A lead and the point it is wired to.
    fn named(&self, lead: LeadId) -> String {
        let at = self.jig.wired(lead).unwrap_or("no point");
        format!("{lead} ({at})")
    }

    /// The whole report.
    #[must_use]
    pub fn report(
        mut self,
        probe: ProbeReport,
        history: &History,
        halves: Vec<HalfReport>,
    ) -> Report {
        let mut findings: Vec<Found> = self.number.take().into_iter().collect();
        for &(a, b) in &self.touching {
            let say = format!(
                "{} and {} are joined with nothing plugged in.",
                self.named(a),
                self.named(b)
            );
            let to_do = "Look where their wires or contacts touch, and for damp.".to_owned();
            findings.push(self.found(Kind::Touching, &[a, b], say, to_do));
        }
        for &lead in &self.grounded {
            let say = format!(
                "{} is joined to C1 and C2 with nothing plugged in.",
                self.named(lead)
            );
            let to_do = "Look where its wire touches theirs or the ground post.".to_owned();
            findings.push(self.found(Kind::Grounded, &[lead], say, to_do));
        }
        // One that leaks to the chassis reaches it whatever is plugged in.
        let stray = |lead: LeadId| {
            let joined = self.touching.iter().any(|&(a, b)| lead == a || lead == b);
            joined || self.grounded.contains(&lead)
        };
        let there = |lead: LeadId| {
            let mut elsewhere = self.elsewhere.iter();
            elsewhere.any(|(other, _)| *other == lead) && !stray(lead)
        };
        for (lead, half) in self.elsewhere.iter().filter(|(lead, _)| !stray(*lead)) {
            let say = format!("{} ends at {half}.", self.named(*lead));
            let at = self.jig.wired(*lead).unwrap_or("its point");
            let to_do = format!(
                "Move its wire to {at}, or put the shorting plug on the half that is asked for."
            );
            findings.push(self.found(Kind::Elsewhere, &[*lead], say, to_do));
        }
        for &lead in self.open.iter().filter(|lead| !there(**lead)) {
            let say = format!("{} does not reach the shorting plug.", self.named(lead));
            let to_do = "Look at the contact, then at its wire and at the jig's plug.".to_owned();
            findings.push(self.found(Kind::Open, &[lead], say, to_do));
        }
        for &(lead, ohms) in &self.poor {
            let say = format!(
                "{} reaches the shorting plug through {}, more than {}.",
                self.named(lead),
                ohms_text(ohms.0),
                ohms_text(CHASSIS.0)
            );
            let to_do = "Clean or renew the contact; look at the jig's plug as well.".to_owned();
            findings.push(self.found(Kind::Poor, &[lead], say, to_do));
        }
        let verdict = if findings.is_empty() {
            Verdict::Pass
        } else {
            Verdict::Faults
        };
        // This is the check.
        let now = History {
            since_check: 0,
            checked: Some((verdict == Verdict::Pass, Timestamp::now())),
            ..history.clone()
        };
        Report {
            verdict,
            title: self.jig.title.clone(),
            number: self.jig.code.number(),
            file: self.jig.path.display().to_string(),
            probe,
            matings: history.matings,
            good_for: self.jig.matings,
            halves,
            findings,
            warnings: now.warnings(self.jig),
        }
    }
}

impl Identity {
    /// The number that was read.
    ///
    /// # Errors
    /// [`OtherJig`] where there is none.
    pub fn code(&self) -> Result<Code, OtherJig> {
        match self {
            Self::Jig(code) => Ok(*code),
            Self::Nothing => Err(OtherJig {
                say: "No jig is plugged in: nothing is on P1, P2 and P3.".to_owned(),
                to_do: "Push the jig's plug home.".to_owned(),
            }),
            Self::NoCode(read) => Err(OtherJig {
                say: no_code(read),
                to_do: "Clean the contacts of the jig's plug and push it home.".to_owned(),
            }),
        }
    }
}

impl Jig {
    /// Whether what was read is this jig.
    ///
    /// # Errors
    /// [`OtherJig`] where it is not.
    pub fn is_plugged(&self, read: &Identity) -> Result<(), OtherJig> {
        let code = self.code;
        let trouble = match read.code() {
            Ok(there) if there == code => return Ok(()),
            Ok(there) => OtherJig {
                say: format!(
                    "The jig that is plugged in is {there}; {} is {code}.",
                    self.path.display()
                ),
                to_do: "Plug in the right one, or give its file.".to_owned(),
            },
            Err(trouble) => trouble,
        };
        let Identity::NoCode(read) = read else {
            return Err(trouble);
        };
        let OtherJig { mut say, mut to_do } = trouble;
        if exchanged(code, read) {
            say.push_str(&format!(
                " Those are the resistors of {code} in another order."
            ));
            to_do = "Exchange the leads in the jig's plug.".to_owned();
        }
        to_do.push_str(&format!(" {}", resistors(code)));
        Err(OtherJig { say, to_do })
    }
}

/// What was read instead of a code.
fn no_code(read: &[Option<Ohms>; 3]) -> String {
    let each = LEADS.iter().zip(read).map(|(lead, ohms)| match ohms {
        Some(ohms) => format!("{lead} {}", ohms_text(ohms.0)),
        None => format!("{lead} nothing"),
    });
    let each: Vec<String> = each.collect();
    format!(
        "The jig's number cannot be read: {} to the chassis leads.",
        each.join(", ")
    )
}

/// The resistors of a number, in a sentence.
fn resistors(code: Code) -> String {
    let each = code.resistors();
    let each = each.map(|(lead, ohms)| format!("{lead} {}", ohms_text(ohms.0)));
    let jig = capital(&code.to_string());
    format!("{jig} has {}.", each.join(", "))
}
