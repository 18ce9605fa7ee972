//! Answering a plan's options: from a plan to one job.

use super::check::{lonely, occupied};
use super::model::{End, Job};
use super::names::{list, suggest};
use super::plan_type::{Entry, OptionQuestion, Plan};
use super::problem::{Problem, Problems, Span, quote};
use super::when::Condition;
use std::collections::{BTreeMap, BTreeSet};

impl Plan {
    /// The job for these answers, option name to value. An option that is not
    /// answered takes its default.
    ///
    /// # Errors
    /// Unknown options and values, options without answer, and everything that
    /// is wrong with this variant of the plan.
    pub fn resolve(&self, answers: &BTreeMap<String, String>) -> Result<Job, Vec<Problem>> {
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
        if !lists.leads.iter().any(|lead| present(lead.when.as_ref())) {
            problems.note_placeless(Problem::placeless(
                format!("no lead is left{variant}"),
                "there is nothing to test in this variant; check the answers and each lead's `when`",
            ));
        }
        if !problems.is_empty() {
            return Err(problems.finish());
        }
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
            conductors: kept(&lists.conductors, &present),
            leads: kept(&lists.leads, &present),
            taps: kept(&lists.taps, &present),
            splices: kept(&lists.splices, &present),
            rings: kept(&lists.rings, &present),
            plugs: kept(&lists.plugs, &present),
            relays: kept(&lists.relays, &present),
            diodes: kept(&lists.diodes, &present),
            lamps: kept(&lists.lamps, &present),
            fuses: kept(&lists.fuses, &present),
            functions: kept(&lists.functions, &present),
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

    /// What is known of each option's value, in file order. `None` where the
    /// option does not apply or is still open.
    fn known_values(&self, answers: &BTreeMap<String, String>) -> Vec<Option<String>> {
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
        }
        gone
    }

    /// Every variant of the plan that answering its options can give, at most
    /// `most` of them, resolved; what is wrong with any is reported once.
    ///
    /// # Errors
    /// Everything that is wrong with some variant; each message names the
    /// answers that lead there.
    pub fn check_variants(&self, most: usize) -> Result<usize, Vec<Problem>> {
        let mut tried = BTreeSet::new();
        let mut found: Vec<Problem> = Vec::new();
        let mut places = vec![0_usize; self.options.len()];
        loop {
            let pairs = self.options.iter().zip(&places);
            let answers: BTreeMap<String, String> = pairs
                .filter_map(|(o, &i)| Some((o.name.clone(), o.choices.get(i)?.clone())))
                .collect();
            if tried.len() >= most {
                break;
            }
            if tried.insert(self.known_values(&answers)) {
                for problem in self.resolve(&answers).err().unwrap_or_default() {
                    let same = |p: &Problem| p.at.is_some() && p.at == problem.at;
                    if !found.iter().any(same) {
                        found.push(problem);
                    }
                }
            }
            // Count the places up like the digits of a number.
            let mut digits = places.iter_mut().zip(&self.options);
            let carried = digits.all(|(place, option)| {
                *place += 1;
                let over = *place >= option.choices.len();
                if over {
                    *place = 0;
                }
                over
            });
            if carried {
                break;
            }
        }
        if found.is_empty() {
            Ok(tried.len())
        } else {
            Err(found)
        }
    }
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
