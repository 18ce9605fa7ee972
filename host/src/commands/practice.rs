//! Practising a comeback on a virtual vehicle with a hidden fault.

use std::collections::{BTreeMap, BTreeSet};

use super::asking::line;
use super::comeback::hide;
use super::exit::Status;
use super::{Failure, note, print};
use crate::bench::Settings;
use crate::comeback::next::{self, settled};
use crate::comeback::report::spent;
use crate::comeback::{
    Answer, Ask, Field, How, Inquiry, Position, Reply, VirtualVehicle, What, session, text,
};
use crate::powered::Cause;
use std::fmt::Write as _;

/// One a line, none wider than a terminal of 80 columns.
const COMMANDS: &str = "\
  set ignition on   moves a switch
  at X10:1          reads the volts at a place
  places            where a tip can go
  try chiller       does it work now?
  next              what loomproof would ask
  say open@X10:1    names what is wrong, and ends it
  give up           ends it, too";

/// The most asks that are made by itself.
const MOST: usize = 60;

/// What the trainee has done.
struct Trainee {
    switches: BTreeMap<String, String>,
    answers: Vec<Answer>,
    said: Option<Cause>,
}

/// Lets somebody find the hidden fault, and says how they did.
///
/// # Errors
/// [`Failure`] where nothing can be hidden, or the vehicle does not stand.
pub fn run(
    inquiry: &mut Inquiry<'_>,
    causes: &[Cause],
    settings: &Settings,
) -> Result<Status, Failure> {
    let causes = hide(inquiry, causes, settings)?;
    let job = inquiry.job;
    let mut vehicle = VirtualVehicle::new(job, &causes, settings)?;
    note(&format!("Battery: {:.1} V", vehicle.battery()));
    let symptoms = vehicle.symptoms(inquiry)?;
    note("The vehicle came back. Somebody tells:");
    for symptom in &symptoms {
        let name = job
            .functions
            .get(symptom.function)
            .map_or("", |it| it.name.as_str());
        note(&format!(
            "  {name} {}",
            match symptom.how {
                How::Works => "works",
                How::Fails => "does not work",
                How::StaysOn => "is on when it must be off",
            }
        ));
    }
    note(COMMANDS);
    inquiry.suspect(&symptoms, false).map_err(Failure::usage)?;
    let mut trainee = Trainee {
        switches: inquiry.asks.named(job, 0),
        answers: Vec::new(),
        said: None,
    };
    while let Ok(Some(said)) = line("> ") {
        if !trainee.does(inquiry, &mut vehicle, said.trim())? {
            break;
        }
    }
    let own = alone(inquiry, &causes, settings)?;
    let mut out = String::new();
    let right = trainee
        .said
        .as_ref()
        .map(|said| judge(inquiry, &causes, said));
    let line = match right {
        Some(Judged::Right) => "RIGHT: that is it",
        Some(Judged::Alike) => "RIGHT as far as readings go: it looks the same from everywhere",
        Some(Judged::Wrong) => "WRONG: that is not it",
        None => "GIVEN UP",
    };
    let _ = writeln!(out, "{line}");
    let speaker = crate::diagnosis::words::Speaker::new(job);
    for cause in &causes {
        let words = crate::live::text::cause(&speaker, cause);
        let _ = writeln!(out, "Hidden was {cause}: {}\nDo: {}", words.say, words.act);
    }
    let none = BTreeSet::new();
    let _ = writeln!(
        out,
        "You: {} readings, effort {:.1}. The program by itself: {} readings, effort {:.1}.",
        trainee.answers.len(),
        spent(inquiry, &trainee.answers, &none),
        own.len(),
        spent(inquiry, &own, &none),
    );
    print(&out)?;
    Ok(match right {
        Some(Judged::Right | Judged::Alike) => Status::Pass,
        Some(Judged::Wrong) => Status::Faults,
        None => Status::Undecided,
    })
}

/// What an answer is worth.
enum Judged {
    Right,
    Alike,
    Wrong,
}

fn judge(inquiry: &Inquiry<'_>, causes: &[Cause], said: &Cause) -> Judged {
    let same = |a: &Cause, b: &Cause| a.kind() == b.kind() && a.place() == b.place();
    if causes.iter().any(|cause| same(cause, said)) {
        return Judged::Right;
    }
    let find = |wanted: &Cause| {
        inquiry
            .suspects
            .iter()
            .find(|suspect| matches!(suspect.causes.as_slice(), [only] if same(only, wanted)))
    };
    let hidden = causes.first().filter(|_| causes.len() == 1).and_then(find);
    match (hidden, find(said)) {
        (Some(a), Some(b)) if next::alike(&inquiry.asks, a, b, &BTreeSet::new()) => Judged::Alike,
        _ => Judged::Wrong,
    }
}

/// What the program asks by itself.
fn alone(
    inquiry: &mut Inquiry<'_>,
    causes: &[Cause],
    settings: &Settings,
) -> Result<Vec<Answer>, Failure> {
    let mut vehicle = VirtualVehicle::new(inquiry.job, causes, settings)?;
    let mut answers: Vec<Answer> = Vec::new();
    let mut position = Position::default();
    while answers.len() < MOST {
        let belief = inquiry.belief(&answers).map_err(Failure::usage)?;
        let barred: BTreeSet<Ask> = answers.iter().map(|answer| answer.ask).collect();
        let proposal = {
            let field = Field::new(&inquiry.asks, &inquiry.suspects, &belief, &barred);
            if settled(&field.groups(&belief), answers.len()) {
                None
            } else {
                field.best(&position)
            }
        };
        let Some(proposal) = proposal else { break };
        let reply = vehicle.reply(inquiry, &proposal.ask)?;
        position = position.after(&inquiry.asks, &proposal.ask);
        answers.push(Answer {
            ask: proposal.ask,
            reply,
        });
    }
    Ok(answers)
}

impl Trainee {
    /// Does what was typed; whether it goes on.
    fn does(
        &mut self,
        inquiry: &mut Inquiry<'_>,
        vehicle: &mut VirtualVehicle,
        said: &str,
    ) -> Result<bool, Failure> {
        let (verb, rest) = said.split_once(' ').unwrap_or((said, ""));
        match verb {
            "set" => self.set(inquiry, rest),
            "at" => {
                let sites = inquiry.asks.sites.iter();
                let exact = sites.clone().position(|site| site.name == rest);
                let site = exact.or_else(|| {
                    inquiry
                        .asks
                        .sites
                        .iter()
                        .position(|it| it.point.to_string() == rest)
                });
                match site {
                    Some(site) => self.read(inquiry, vehicle, What::Volts(site))?,
                    None => note("No tip goes there; `places` lists where."),
                }
            }
            "try" => {
                let function = inquiry.job.functions.iter().position(|it| it.name == rest);
                let function = function.filter(|at| inquiry.functions().any(|own| own == *at));
                match function {
                    Some(function) => self.read(inquiry, vehicle, What::Function(function))?,
                    None => note("There is no such function to look at."),
                }
            }
            "next" => {
                let belief = inquiry.belief(&self.answers).map_err(Failure::usage)?;
                let barred: BTreeSet<Ask> = self.answers.iter().map(|it| it.ask).collect();
                let mut position = Position::default();
                for answer in &self.answers {
                    position = position.after(&inquiry.asks, &answer.ask);
                }
                position.setting = self.setting(inquiry).unwrap_or(position.setting);
                let field = Field::new(&inquiry.asks, &inquiry.suspects, &belief, &barred);
                match field.best(&position) {
                    Some(proposal) => note(&text::ask(inquiry, &proposal.ask)),
                    None => note("Nothing more to read: say what it is."),
                }
            }
            "places" => {
                for site in &inquiry.asks.sites {
                    let place = inquiry.asks.places.get(site.place);
                    note(&format!(
                        "  {} ({})",
                        site.name,
                        place.map_or("", String::as_str)
                    ));
                }
            }
            "say" => match Cause::parse(rest.trim(), inquiry.job) {
                Ok(cause) => {
                    self.said = Some(cause);
                    return Ok(false);
                }
                Err(why) => note(&why),
            },
            "give" | "quit" => return Ok(false),
            "" => {}
            _ => note(COMMANDS),
        }
        Ok(true)
    }

    fn set(&mut self, inquiry: &Inquiry<'_>, rest: &str) {
        let (name, state) = rest.trim().split_once(' ').unwrap_or((rest, ""));
        let switch = inquiry
            .job
            .electrics
            .switches
            .iter()
            .find(|it| it.name == name);
        match switch {
            Some(switch) if switch.states.iter().any(|it| it == state.trim()) => {
                self.switches
                    .insert(name.to_owned(), state.trim().to_owned());
            }
            Some(switch) => note(&format!("{name} can be: {}", switch.states.join(", "))),
            None => {
                let all = inquiry.job.electrics.switches.iter();
                let all: Vec<&str> = all.map(|it| it.name.as_str()).collect();
                note(&format!("The switches are: {}", all.join(", ")));
            }
        }
    }

    /// The state of the switches by its number.
    fn setting(&self, inquiry: &Inquiry<'_>) -> Option<usize> {
        let mut settings = 0..inquiry.asks.settings.len();
        settings.find(|at| inquiry.asks.named(inquiry.job, *at) == self.switches)
    }

    fn read(
        &mut self,
        inquiry: &Inquiry<'_>,
        vehicle: &mut VirtualVehicle,
        what: What,
    ) -> Result<(), Failure> {
        let Some(setting) = self.setting(inquiry) else {
            note(
                "Nothing of this plan is tried with the switches like this; what shows something:",
            );
            for own in &inquiry.asks.settings {
                note(&format!(
                    "  {}",
                    crate::live::text::setting(inquiry.job, own)
                ));
            }
            return Ok(());
        };
        let ask = Ask { what, setting };
        let reply: Reply = vehicle.reply(inquiry, &ask)?;
        note(&format!("    {}", session::typed(&reply)));
        self.answers.push(Answer { ask, reply });
        Ok(())
    }
}
