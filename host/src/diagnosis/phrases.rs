//! The sentences of findings in other languages than English.
//!
//! English stands where a thing is described, with names in braces; a catalogue
//! (`phrases/CODE.toml`) has it again as the key, and what another language says.
//! What a catalogue does not have is said in English.

use std::collections::BTreeMap;
use std::sync::LazyLock;

use toml::Table;

/// A language: what is said for the English.
#[derive(Debug, Default)]
pub struct Phrases {
    /// Sentences that are filled in as they are made.
    made: BTreeMap<String, String>,
    /// Sentences of a report, which are told by their English.
    heard: Vec<(String, String)>,
}

/// German.
static GERMAN: LazyLock<Phrases> =
    LazyLock::new(|| Phrases::read(include_str!("phrases/de.toml")).unwrap_or_default());

impl Phrases {
    /// The phrases of a language that comes with the program; `None` for English and
    /// what there is not.
    #[must_use]
    pub fn of(code: &str) -> Option<&'static Self> {
        match code {
            "de" => Some(&GERMAN),
            _ => None,
        }
    }

    /// Reads a catalogue.
    fn read(text: &str) -> Result<Self, toml::de::Error> {
        let table: Table = text.parse()?;
        let of = |section: &str| {
            let section = table.get(section).and_then(toml::Value::as_table);
            let pairs = section.into_iter().flatten();
            pairs.filter_map(|(key, said)| Some((key.clone(), said.as_str()?.to_owned())))
        };
        let mut heard: Vec<(String, String)> = of("heard").collect();
        // The longer text says more.
        heard.sort_by_key(|(english, _)| std::cmp::Reverse(english.len()));
        Ok(Self {
            made: of("made").collect(),
            heard,
        })
    }

    /// What is said for an English sentence with its names in braces.
    #[must_use]
    pub fn find(&self, english: &str) -> Option<&str> {
        self.made.get(english).map(String::as_str)
    }

    /// What is said for a sentence of a report, whose names were filled in already;
    /// they are taken over as they stand. `None` where the catalogue does not know it.
    #[must_use]
    pub fn heard(&self, said: &str) -> Option<String> {
        self.heard.iter().find_map(|(english, here)| {
            let names = names_in(english, said)?;
            let names: Vec<(&str, &str)> = names;
            Some(fill(here, &names))
        })
    }

    /// Every English sentence with what is said for it.
    pub fn all(&self) -> impl Iterator<Item = (&str, &str)> {
        let heard = self.heard.iter().map(|(english, said)| (english, said));
        let all = self.made.iter().chain(heard);
        all.map(|(english, said)| (english.as_str(), said.as_str()))
    }
}

/// A text with names in braces filled in; what is filled in is not read again.
#[must_use]
pub fn fill(text: &str, names: &[(&str, &str)]) -> String {
    let mut out = String::new();
    let mut rest = text;
    while let Some((before, after)) = rest.split_once('{') {
        let Some((name, behind)) = after.split_once('}') else {
            break;
        };
        out.push_str(before);
        let found = names.iter().find(|(own, _)| *own == name);
        out.push_str(found.map_or("", |(_, value)| value));
        rest = behind;
    }
    out.push_str(rest);
    out
}

/// The names of a filled text, each as short as can be; `None` where it is another text.
fn names_in<'t>(text: &'t str, filled: &'t str) -> Option<Vec<(&'t str, &'t str)>> {
    let (first, mut rest) = match text.split_once('{') {
        None => return (text == filled).then(Vec::new),
        Some(parts) => parts,
    };
    let mut left = filled.strip_prefix(first)?;
    let mut names = Vec::new();
    loop {
        let (name, behind) = rest.split_once('}')?;
        let (literal, more) = match behind.split_once('{') {
            None => (behind, None),
            Some((literal, more)) => (literal, Some(more)),
        };
        let value = match more {
            // The last name reaches up to the end of the text.
            None => left.strip_suffix(literal)?,
            Some(_) => left.split_once(literal)?.0,
        };
        if value.is_empty() {
            return None;
        }
        names.push((name, value));
        let Some(more) = more else {
            return Some(names);
        };
        left = left.get(value.len() + literal.len()..)?;
        rest = more;
    }
}

#[cfg(test)]
mod tests;
