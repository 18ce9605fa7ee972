//! The sheet's own text, in a language.

use std::collections::BTreeMap;

use toml::Table;

use crate::diagnosis::phrases::fill;

/// A language: texts by key, such as `taps.title`.
#[derive(Debug, Clone)]
pub struct Language {
    texts: BTreeMap<String, String>,
}

/// What comes with the program: code and catalogue.
pub const SHIPPED: [(&str, &str); 2] = [
    ("en", include_str!("languages/en.toml")),
    ("de", include_str!("languages/de.toml")),
];

/// Why a catalogue cannot be used.
#[derive(Debug, thiserror::Error)]
pub enum LanguageError {
    /// No such language comes with the program.
    #[error("there is no language {0}; there are {1}")]
    Unknown(String, String),
    /// The catalogue is not TOML.
    #[error("the catalogue is not TOML: {0}")]
    NotToml(#[from] toml::de::Error),
}

impl Language {
    /// A language that comes with the program.
    ///
    /// # Errors
    /// [`LanguageError`].
    pub fn shipped(code: &str) -> Result<Self, LanguageError> {
        let found = SHIPPED.iter().find(|(own, _)| *own == code);
        let (_, catalogue) = found.ok_or_else(|| {
            let all: Vec<&str> = SHIPPED.iter().map(|(code, _)| *code).collect();
            LanguageError::Unknown(code.to_owned(), all.join(", "))
        })?;
        Self::read(catalogue)
    }

    /// Reads a catalogue.
    ///
    /// # Errors
    /// [`LanguageError::NotToml`].
    pub fn read(catalogue: &str) -> Result<Self, LanguageError> {
        let table: Table = catalogue.parse()?;
        let mut texts = BTreeMap::new();
        for (name, value) in &table {
            match value {
                toml::Value::String(text) => {
                    texts.insert(name.clone(), text.clone());
                }
                toml::Value::Table(section) => {
                    let of = section.iter().filter_map(|(key, value)| {
                        Some((format!("{name}.{key}"), value.as_str()?.to_owned()))
                    });
                    texts.extend(of);
                }
                _ => {}
            }
        }
        Ok(Self { texts })
    }

    /// The code for the `lang` attribute (BCP 47).
    #[must_use]
    pub fn code(&self) -> &str {
        self.say("code")
    }

    /// A text. One that is missing shows its key, which a test finds.
    #[must_use]
    pub fn say<'t>(&'t self, key: &'t str) -> &'t str {
        self.texts.get(key).map_or(key, String::as_str)
    }

    /// A text with names filled in.
    #[must_use]
    pub fn fill(&self, key: &str, names: &[(&str, &str)]) -> String {
        fill(self.say(key), names)
    }

    /// A text that may be missing, or another.
    #[must_use]
    pub fn say_or<'t>(&'t self, key: &str, other: &'t str) -> &'t str {
        match self.texts.get(key) {
            Some(text) => text,
            None => self.say(other),
        }
    }

    /// A colour in words.
    #[must_use]
    pub fn colour(&self, code: &str) -> String {
        let word = |code: &str| {
            self.say_or(&format!("colour.{code}"), "colour.unknown")
                .to_owned()
        };
        match code.split_once('/') {
            None => word(code),
            Some((base, tracer)) => self.fill(
                "colour.tracer",
                &[("base", &word(base)), ("tracer", &word(tracer))],
            ),
        }
    }

    /// Every key with its text.
    pub fn texts(&self) -> impl Iterator<Item = (&str, &str)> {
        self.texts
            .iter()
            .map(|(key, text)| (key.as_str(), text.as_str()))
    }
}
