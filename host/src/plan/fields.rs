//! Access to the keys of one table. Every wrong key is noted with its place
//! and reading goes on.

use super::electrics::States;
use super::names::{Names, suggest};
use super::plan_type::OptionQuestion;
use super::problem::{Complaint, Problems, Span, quote, spoils};
use super::when::{self, Condition};
use std::ops::RangeInclusive;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// Longest text in a plan, in characters.
const LONGEST_TEXT: usize = 500;

/// A string of the plan and its place.
#[derive(Debug, Clone)]
pub(crate) struct Text {
    pub(crate) value: String,
    pub(crate) at: Span,
    /// Where the string's first character stands, when the file holds it
    /// character by character (no escapes).
    inner: Option<usize>,
}

impl Text {
    /// The place of a part of the string, or of all of it.
    pub(crate) fn part(&self, part: Option<&Span>) -> Span {
        match (self.inner, part) {
            (Some(inner), Some(part)) => inner + part.start..inner + part.end,
            _ => self.at.clone(),
        }
    }
}

/// The keys of one table.
pub(crate) struct Fields<'t, 'p, 's> {
    /// The table in words, such as "lead W1"; empty for the file itself.
    what: String,
    /// The name in its header.
    pub(crate) at: Span,
    table: &'t DeTable<'t>,
    known: Vec<&'static str>,
    pub(crate) problems: &'p mut Problems<'s>,
    context: Context<'p>,
}

/// What a table's values may refer to.
#[derive(Clone, Copy)]
pub(crate) struct Context<'p> {
    pub(crate) options: &'p [OptionQuestion],
    /// Switches as questions: their states are the choices.
    pub(crate) switches: &'p [OptionQuestion],
    pub(crate) names: &'p Names,
    /// The file has syntax errors: what seems missing may stand there.
    pub(crate) torn: bool,
}

impl<'t, 'p, 's> Fields<'t, 'p, 's> {
    pub(crate) const fn new(
        what: String,
        at: Span,
        table: &'t DeTable<'t>,
        problems: &'p mut Problems<'s>,
        context: Context<'p>,
    ) -> Self {
        Self {
            what,
            at,
            table,
            known: Vec::new(),
            problems,
            context,
        }
    }

    /// The plan's names.
    pub(crate) const fn names(&self) -> &'p Names {
        self.context.names
    }

    /// "lead W1: " before a message, nothing for the file itself.
    fn say(&self, message: impl std::fmt::Display) -> String {
        if self.what.is_empty() {
            message.to_string()
        } else {
            format!("{}: {message}", self.what)
        }
    }

    pub(crate) fn get(&mut self, key: &'static str) -> Option<&'t Spanned<DeValue<'t>>> {
        self.known.push(key);
        self.table.get(key)
    }

    /// Declares a key that is read elsewhere.
    pub(crate) fn allow(&mut self, key: &'static str) {
        self.known.push(key);
    }

    pub(crate) fn note(&mut self, at: &Span, message: impl std::fmt::Display, help: &str) {
        let message = self.say(message);
        self.problems.note(at, message, help);
    }

    /// Notes that a key has to be there, with how to write it.
    pub(crate) fn missing(&mut self, key: &str, example: &str) {
        if !self.context.torn {
            let at = self.at.clone();
            let message = format!("`{key}` is missing");
            self.note(&at, message, &format!("write {key} = {example}"));
        }
    }

    pub(crate) fn complain(&mut self, text: &Text, complaint: Complaint) {
        let at = text.part(complaint.part.as_ref());
        let message = self.say(&complaint.message);
        self.problems
            .note(&at, message, complaint.help.unwrap_or_default());
    }

    fn wrong_type(&mut self, key: &str, value: &Spanned<DeValue<'_>>, wanted: &str) {
        let found = match value.get_ref() {
            DeValue::String(_) => "text",
            DeValue::Integer(_) | DeValue::Float(_) => "a bare number",
            DeValue::Boolean(_) => "true or false",
            DeValue::Datetime(_) => "a date",
            DeValue::Array(_) => "a list",
            DeValue::Table(_) => "a table",
        };
        let message = format!("`{key}` is {found}");
        self.note(&value.span(), message, &format!("expected {wanted}"));
    }

    /// A string value, checked for what would spoil a screen or a sheet.
    fn string(&mut self, key: &str, value: &Spanned<DeValue<'_>>, example: &str) -> Option<Text> {
        let Some(string) = value.get_ref().as_str() else {
            self.wrong_type(key, value, &format!("text in quotes: {key} = {example}"));
            return None;
        };
        let at = value.span();
        if string.trim().is_empty() {
            let help = format!("write {key} = {example}, or leave the key out");
            self.note(&at, format!("`{key}` is empty"), &help);
            return None;
        }
        if string.chars().any(spoils) {
            let help = "write plain text on one line";
            self.note(
                &at,
                format!("`{key}` holds a line break or a control character"),
                help,
            );
            return None;
        }
        if string.chars().count() > LONGEST_TEXT {
            let help = format!("at most {LONGEST_TEXT} characters");
            self.note(&at, format!("`{key}` is too long"), &help);
            return None;
        }
        let raw = self.problems.source().get(at.clone()).unwrap_or_default();
        let quotes = (raw.len().saturating_sub(string.len())) / 2;
        let verbatim = raw.get(quotes..quotes + string.len()) == Some(string);
        Some(Text {
            value: string.to_owned(),
            inner: verbatim.then_some(at.start + quotes),
            at,
        })
    }

    /// An optional text.
    pub(crate) fn text(&mut self, key: &'static str, example: &str) -> Option<Text> {
        let value = self.get(key)?;
        self.string(key, value, example)
    }

    /// A text that has to be there.
    pub(crate) fn required(&mut self, key: &'static str, example: &str) -> Option<Text> {
        if self.table.get(key).is_none() {
            self.allow(key);
            self.missing(key, example);
            return None;
        }
        self.text(key, example)
    }

    /// What `parse` makes of a text.
    pub(crate) fn parsed<T>(
        &mut self,
        text: &Text,
        parse: impl FnOnce(&str) -> Result<T, Complaint>,
    ) -> Option<T> {
        match parse(&text.value) {
            Ok(value) => Some(value),
            Err(complaint) => {
                self.complain(text, complaint);
                None
            }
        }
    }

    /// An optional text that `parse` understands.
    pub(crate) fn optional_parsed<T>(
        &mut self,
        key: &'static str,
        example: &str,
        parse: impl FnOnce(&str) -> Result<T, Complaint>,
    ) -> Option<T> {
        let text = self.text(key, example)?;
        self.parsed(&text, parse)
    }

    /// A text that has to be there and that `parse` understands.
    pub(crate) fn required_parsed<T>(
        &mut self,
        key: &'static str,
        example: &str,
        parse: impl FnOnce(&str) -> Result<T, Complaint>,
    ) -> Option<T> {
        let text = self.required(key, example)?;
        self.parsed(&text, parse)
    }

    /// One of a few words.
    pub(crate) fn word<T: Copy>(&mut self, key: &'static str, words: &[(&str, T)]) -> Option<T> {
        let choices = words.iter().map(|(word, _)| format!("\"{word}\""));
        let choices = choices.collect::<Vec<_>>().join(" or ");
        let text = self.text(key, &choices)?;
        let found = words.iter().find(|(word, _)| *word == text.value);
        if found.is_none() {
            let message = format!("`{key}` cannot be {}", quote(&text.value));
            self.note(&text.at, message, &format!("expected {choices}"));
        }
        found.map(|(_, value)| *value)
    }

    /// True or false; false when not stated.
    pub(crate) fn flag(&mut self, key: &'static str) -> bool {
        let Some(value) = self.get(key) else {
            return false;
        };
        value.get_ref().as_bool().unwrap_or_else(|| {
            self.wrong_type(key, value, "true or false, without quotes");
            // When in doubt the connector is taken for the dangerous one.
            true
        })
    }

    /// A whole number in a range.
    pub(crate) fn count(
        &mut self,
        key: &'static str,
        range: RangeInclusive<u16>,
    ) -> Option<(u16, Span)> {
        let value = self.get(key)?;
        let wanted = format!("a whole number from {} to {}", range.start(), range.end());
        let Some(number) = integer(value.get_ref()) else {
            self.wrong_type(key, value, &wanted);
            return None;
        };
        let count = u16::try_from(number).ok().filter(|n| range.contains(n));
        if count.is_none() {
            let message = format!("`{key}` cannot be {number}");
            self.note(&value.span(), message, &format!("expected {wanted}"));
        }
        count.map(|count| (count, value.span()))
    }

    /// One text or a list of them.
    pub(crate) fn texts(&mut self, key: &'static str, example: &str) -> Option<Vec<Text>> {
        let value = self.get(key)?;
        let Some(list) = value.get_ref().as_array() else {
            return self.string(key, value, example).map(|text| vec![text]);
        };
        if list.is_empty() {
            let help = format!("write {key} = {example}");
            self.note(&value.span(), format!("`{key}` is an empty list"), &help);
            return None;
        }
        let texts = list.iter().map(|item| self.string(key, item, example));
        Some(texts.flatten().collect())
    }

    /// The table's `when`.
    pub(crate) fn when(&mut self) -> Option<Condition> {
        let options = self.context.options;
        let text = self.text("when", "\"option == value\"")?;
        let expression = self.parsed(&text, |t| when::parse(t, options))?;
        Some(Condition {
            expression,
            text: text.value,
            at: text.at,
        })
    }

    /// States of switches, such as `ignition == on and not brake`, or `always`.
    pub(crate) fn states(&mut self, key: &'static str) -> Option<States> {
        let switches = self.context.switches;
        self.optional_parsed(key, "\"ignition == on\"", |text| {
            if text == "always" {
                return Ok(States::Always);
            }
            let expression = when::parse_states(text, switches)?;
            Ok(expression.states(switches))
        })
    }

    /// Notes every key that this table does not know.
    pub(crate) fn finish(self) {
        for key in self.table.keys() {
            let name = key.get_ref().as_ref();
            if self.known.contains(&name) {
                continue;
            }
            let keys = self.known.join(", ");
            let help = suggest(
                name,
                self.known.iter().copied(),
                format!("the keys here are {keys}"),
            );
            let message = self.say(format!("{} is not a known key", quote(name)));
            self.problems.note(&key.span(), message, help);
        }
    }
}

/// A TOML integer as a number; `None` for everything else.
pub(crate) fn integer(value: &DeValue<'_>) -> Option<i64> {
    let integer = value.as_integer()?;
    i64::from_str_radix(integer.as_str(), integer.radix()).ok()
}
