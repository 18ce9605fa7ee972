//! Answering a plan's options: from a plan to one job.

use super::check::{lonely, occupied, occupied_end};
use super::electrics::{Electrics, Occupied, Proof, Terminal};
use super::model::{Conductor, End, Job, Lead};
use super::names::{list, suggest};
use super::plan_type::{Entry, OptionQuestion, Plan};
use super::problem::{Problem, Problems, Span, quote};
use super::when::Condition;
use std::collections::BTreeMap;

impl Plan {
    /// The job for these answers, option name to value. An option that is not
    /// answered takes its default.
    ///
    /// # Errors
    /// Unknown options and values, options without answer, and everything that
    /// is wrong with this variant of the plan.
    pub fn resolve(&self, answers: &BTreeMap<String, String>) -> Result<Job, Vec<Problem>> {
        self.resolve_with(answers, true)
    }

    /// The same for a part of a plan, in which no lead may be left.
    pub(crate) fn resolve_part(
        &self,
        answers: &BTreeMap<String, String>,
    ) -> Result<Job, Vec<Problem>> {
        self.resolve_with(answers, false)
    }

    fn resolve_with(
        &self,
        answers: &BTreeMap<String, String>,
        whole: bool,
    ) -> Result<Job, Vec<Problem>> {
        let values = self.values(answers)?;
        let mut problems = Problems::new(&self.source);
        let present =
            |when: Option<&Condition>| when.is_none_or(|when| when.expression.holds(&values));
        let answered: BTreeMap<String, String> = self
            .options
            .iter()
            .zip(&values)
            .filter_map(|(option, value)| Some((option.name.clone(), value.clone()?)))
            .collect();
        let variant = variant(&answered);
        self.absent(&mut problems, &present, &variant);
        occupied(&self.lists, &mut problems, &present);
        lonely(&self.lists, &mut problems, &present, &variant);
        let lists = &self.lists;
        if whole && !lists.leads.iter().any(|lead| present(lead.when.as_ref())) {
            problems.note_placeless(Problem::placeless(
                format!("no lead is left{variant}"),
                "there is nothing to test in this variant; check the answers and each lead's `when`",
            ));
        }
        if !problems.is_empty() {
            return Err(problems.finish());
        }
        let conductors = kept(&lists.conductors, &present);
        let mut leads = kept(&lists.leads, &present);
        let occupied = leads
            .iter_mut()
            .filter_map(|lead| give_way(lead, &conductors));
        let occupied = occupied.collect();
        let connectors = lists.connectors.iter();
        Ok(Job {
            title: self.title.clone(),
            supply: self.supply,
            temperature: self.temperature,
            answers: answered,
            digest: self.digest.clone(),
            connectors: connectors
                .filter(|entry| entry.item.keep_off.is_none() && present(entry.when.as_ref()))
                .map(|entry| entry.item.connector.clone())
                .collect(),
            conductors,
            leads,
            taps: kept(&lists.taps, &present),
            splices: kept(&lists.splices, &present),
            rings: kept(&lists.rings, &present),
            plugs: kept(&lists.plugs, &present),
            relays: kept(&lists.relays, &present),
            diodes: kept(&lists.diodes, &present),
            lamps: kept(&lists.lamps, &present),
            fuses: kept(&lists.fuses, &present),
            functions: kept(&lists.functions, &present),
            electrics: Electrics {
                switches: kept(&lists.switches, &present),
                loads: kept(&lists.loads, &present),
                pins: kept(&lists.pins, &present),
                drains: kept(&lists.drains, &present),
                occupied,
                ..lists.more.clone()
            },
        })
    }

    /// The questions that have to be asked before [`resolve`](Self::resolve)
    /// succeeds: those that apply, have no default and are not in `answers`.
    /// Answering one may bring up another.
    #[must_use]
    pub fn open_questions(&self, answers: &BTreeMap<String, String>) -> Vec<&OptionQuestion> {
        let values = self.known_values(answers);
        self.options
            .iter()
            .zip(&values)
            .filter(|(option, value)| value.is_none() && applies(option, &values))
            .map(|(option, _)| option)
            .collect()
    }

    /// The questions to put to somebody who is there to answer: those that
    /// apply and are not in `answers`, whether they have a default or not.
    /// Answering one may bring up another.
    #[must_use]
    pub fn unanswered(&self, answers: &BTreeMap<String, String>) -> Vec<&OptionQuestion> {
        let values = self.known_values(answers);
        self.options
            .iter()
            .filter(|option| !answers.contains_key(&option.name) && applies(option, &values))
            .collect()
    }

    /// Whether these answers are answers to this plan's questions.
    pub(crate) fn known_answers(
        &self,
        answers: &BTreeMap<String, String>,
    ) -> Result<(), Vec<Problem>> {
        self.values(answers).map(|_| ())
    }

    /// What is known of each option's value, in file order. `None` where the
    /// option does not apply or is still open.
    pub(crate) fn known_values(&self, answers: &BTreeMap<String, String>) -> Vec<Option<String>> {
        let mut values: Vec<Option<String>> = Vec::with_capacity(self.options.len());
        for option in &self.options {
            // An option's `when` speaks of earlier options only.
            let value = if applies(option, &values) {
                answers.get(&option.name).or(option.default.as_ref())
            } else {
                None
            };
            values.push(value.cloned());
        }
        values
    }

    /// The value of each option, or what is wrong with the answers.
    fn values(
        &self,
        answers: &BTreeMap<String, String>,
    ) -> Result<Vec<Option<String>>, Vec<Problem>> {
        let mut problems = Problems::new(&self.source);
        let names = || self.options.iter().map(|option| option.name.as_str());
        for (name, value) in answers {
            let Some(option) = self.options.iter().find(|option| option.name == *name) else {
                let otherwise = if self.options.is_empty() {
                    "this plan asks nothing; leave the answer out".to_owned()
                } else {
                    format!("the options are {}", list(names()))
                };
                problems.note_placeless(Problem::placeless(
                    format!("this plan has no option {}", quote(name)),
                    suggest(name, names(), otherwise),
                ));
                continue;
            };
            if !option.choices.contains(value) {
                let choices = option.choices.iter().map(String::as_str);
                problems.note_placeless(Problem::placeless(
                    format!("option `{name}` cannot be answered by {}", quote(value)),
                    format!("{} Answer {}", option.ask, list(choices)),
                ));
            }
        }
        for option in self.open_questions(answers) {
            let commands = option.choices.iter().map(|choice| {
                let answer = format!("{}={choice}", option.name);
                if answer.contains(' ') {
                    format!("--answer '{answer}'")
                } else {
                    format!("--answer {answer}")
                }
            });
            let commands: Vec<String> = commands.collect();
            problems.note_placeless(Problem::placeless(
                format!("option `{}` is not answered: {}", option.name, option.ask),
                format!("add {}", list(commands.iter().map(String::as_str))),
            ));
        }
        if problems.is_empty() {
            Ok(self.known_values(answers))
        } else {
            Err(problems.finish())
        }
    }

    /// Notes what refers to a thing that is not there in this variant.
    fn absent(
        &self,
        problems: &mut Problems<'_>,
        present: &dyn Fn(Option<&Condition>) -> bool,
        variant: &str,
    ) {
        let gone = self.gone(present);
        let mut look = |what: &str, name: &str, target: &str, at: &Span| {
            if let Some(declared) = gone.get(target) {
                problems.note_pair(
                    at,
                    format!("{what} {name} needs `{target}`, which is not there{variant}"),
                    format!("give {what} {name} a `when` that fits the one of `{target}`"),
                    declared,
                    "its `when`",
                );
            }
        };
        let lists = &self.lists;
        for lead in lists.leads.iter().filter(|e| present(e.when.as_ref())) {
            for (end, at) in [&lead.item.from, &lead.item.to].into_iter().zip(&lead.refs) {
                if let Some(target) = thing(end) {
                    look("lead", &lead.item.name, target, at);
                }
            }
        }
        for tap in lists.taps.iter().filter(|e| present(e.when.as_ref())) {
            for at in &tap.refs {
                look("tap", &tap.item.name, &tap.item.on, at);
            }
        }
        for conductor in lists.conductors.iter().filter(|e| present(e.when.as_ref())) {
            for ((connector, _), at) in conductor.item.at.iter().zip(&conductor.refs) {
                look("conductor", &conductor.item.name, connector, at);
            }
            if let (Some(through), Some(at)) = (&conductor.item.through, conductor.refs.last()) {
                look("conductor", &conductor.item.name, through, at);
            }
        }
        let pairs = lists.loads.iter().filter(|e| present(e.when.as_ref()));
        let loads = pairs.map(|e| ("load", &e.item.name, Some(&e.item.between), &e.refs));
        let pairs = lists.switches.iter().filter(|e| present(e.when.as_ref()));
        let switches = pairs.map(|e| ("switch", &e.item.name, e.item.between.as_ref(), &e.refs));
        for (what, name, between, refs) in loads.chain(switches) {
            let Some((first, second)) = between else {
                continue;
            };
            for (terminal, at) in [first, second].into_iter().zip(refs) {
                if let Terminal::At(end) = terminal
                    && let Some(target) = thing(end)
                {
                    look(what, name, target, at);
                }
            }
        }
        for pin in lists.pins.iter().filter(|e| present(e.when.as_ref())) {
            for at in &pin.refs {
                look("pin", &pin.item.name, &pin.item.at.0, at);
            }
        }
        for function in lists.functions.iter().filter(|e| present(e.when.as_ref())) {
            for (seen, at) in function.item.seen_at.iter().zip(&function.refs) {
                let name = seen.split(':').next().unwrap_or_default();
                let stem = name.strip_suffix("-A").or_else(|| name.strip_suffix("-B"));
                look("function", &function.item.name, stem.unwrap_or(name), at);
            }
        }
    }

    /// Names that are not there in this variant, with the place of their `when`.
    fn gone(&self, present: &dyn Fn(Option<&Condition>) -> bool) -> BTreeMap<&str, &Span> {
        let mut gone = BTreeMap::new();
        let lists = &self.lists;
        macro_rules! look {
            ($($list:ident . $($name:ident).+);* $(;)?) => {$(
                for entry in &lists.$list {
                    if let Some(when) = entry.when.as_ref().filter(|when| !present(Some(when))) {
                        gone.insert(entry.item.$($name).+.as_str(), &when.at);
                    }
                }
            )*};
        }
        look! {
            connectors.connector.name; conductors.name; leads.name; taps.name; splices.name;
            rings.name; plugs.name; relays.name; diodes.name; lamps.name; fuses.name;
            loads.name; pins.name; switches.name;
        }
        gone
    }
}

/// Caps a lead whose cavity a conductor of the vehicle occupies.
fn give_way(lead: &mut Lead, conductors: &[Conductor]) -> Option<Occupied> {
    let by = lead.occupied_by.as_ref()?;
    let conductor = conductors.iter().find(|it| it.name == *by)?;
    let end = occupied_end(lead, conductor)?.clone();
    let End::Cavity(connector, cavity) = &end else {
        return None;
    };
    let occupied = Occupied {
        lead: lead.name.clone(),
        at: (connector.clone(), *cavity),
        conductor: by.clone(),
        proof: Proof::Open,
    };
    let own = if lead.from == end {
        &mut lead.from
    } else {
        &mut lead.to
    };
    *own = End::Cap;
    Some(occupied)
}

/// Whether the question is to be asked under these values of earlier options.
fn applies(option: &OptionQuestion, values: &[Option<String>]) -> bool {
    let when = option.when.as_ref();
    when.is_none_or(|when| when.expression.holds(values))
}

/// " with door = hinged, …", for messages about one variant.
fn variant(answers: &BTreeMap<String, String>) -> String {
    if answers.is_empty() {
        return String::new();
    }
    let parts: Vec<String> = answers.iter().map(|(k, v)| format!("{k} = {v}")).collect();
    format!(" with {}", parts.join(", "))
}

/// The name of the thing an end is at.
fn thing(end: &End) -> Option<&str> {
    match end {
        End::Cavity(name, _)
        | End::Tap(name)
        | End::Splice(name)
        | End::Ring(name)
        | End::Plug(name, ..)
        | End::Part(name, _) => Some(name),
        End::Cap => None,
    }
}

/// What is there in this variant, in file order.
fn kept<T: Clone>(entries: &[Entry<T>], present: &dyn Fn(Option<&Condition>) -> bool) -> Vec<T> {
    let here = entries.iter().filter(|entry| present(entry.when.as_ref()));
    here.map(|entry| entry.item.clone()).collect()
}
