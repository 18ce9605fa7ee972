//! Colour codes of IEC 60757, written base/tracer with a slash.
//!
//! The two-letter codes are those of IEC 60757 (from memory). For vehicle wires
//! the trade writes the base colour first, then the tracer (common practice);
//! the standard's own rule, which orders the two colours of a bicolour core by
//! its Table 1, is not applied.

use super::names::{list, nearest};
use super::problem::{Complaint, quote};
use std::fmt;

/// Code and English name.
const CODES: [(&str, &str); 15] = [
    ("BK", "black"),
    ("BN", "brown"),
    ("RD", "red"),
    ("OG", "orange"),
    ("YE", "yellow"),
    ("GN", "green"),
    ("BU", "blue"),
    ("VT", "violet"),
    ("GY", "grey"),
    ("WH", "white"),
    ("PK", "pink"),
    ("GD", "gold"),
    ("TQ", "turquoise"),
    ("SR", "silver"),
    ("GNYE", "green-and-yellow"),
];

/// A wire's colour.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Colour {
    base: usize,
    tracer: Option<usize>,
}

impl Colour {
    /// Reads a code such as `BN` or `OG/BK`.
    ///
    /// # Errors
    /// When a code is not one of IEC 60757, or base and tracer are the same.
    pub fn parse(text: &str) -> Result<Self, Complaint> {
        let (base, tracer) = match text.split_once('/') {
            None => (text, None),
            Some((base, tracer)) => (base, Some(tracer)),
        };
        let colour = Self {
            base: code(base, 0)?,
            tracer: tracer.map(|t| code(t, base.len() + 1)).transpose()?,
        };
        if colour.tracer == Some(colour.base) {
            return Err(Complaint::new(
                format!("colour {} has the same base and tracer", quote(text)),
                format!("a wire without tracer is written `{base}`"),
            ));
        }
        Ok(colour)
    }

    /// The colour in words: "orange with black tracer".
    #[must_use]
    pub fn words(self) -> String {
        let base = CODES[self.base].1;
        self.tracer.map_or_else(
            || base.to_owned(),
            |t| format!("{base} with {} tracer", CODES[t].1),
        )
    }
}

impl fmt::Display for Colour {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(CODES[self.base].0)?;
        self.tracer.map_or(Ok(()), |t| write!(f, "/{}", CODES[t].0))
    }
}

/// The index of one code, which stands `start` bytes into the string.
fn code(text: &str, start: usize) -> Result<usize, Complaint> {
    if let Some(index) = CODES.iter().position(|(code, _)| *code == text) {
        return Ok(index);
    }
    let lower = text.to_lowercase();
    let by_name = CODES
        .iter()
        .find(|(code, name)| *name == lower || code.to_lowercase() == lower)
        .map(|(code, _)| *code)
        .or_else(|| nearest(text, CODES.iter().map(|(_, name)| *name)).and_then(by_english));
    let help = by_name.map_or_else(
        || {
            format!(
                "colours are IEC 60757 codes, base/tracer as `OG/BK`: {}",
                list(CODES.iter().map(|(code, _)| *code))
            )
        },
        |code| format!("write `{code}`"),
    );
    let message = if text.is_empty() {
        "a colour code is missing here".to_owned()
    } else {
        format!("{} is not a colour code", quote(text))
    };
    Err(Complaint::new(message, help).on(start..start + text.len()))
}

fn by_english(name: &str) -> Option<&'static str> {
    let found = CODES.iter().find(|(_, english)| *english == name);
    found.map(|(code, _)| *code)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn reads_base_and_tracer() {
        let colour = Colour::parse("OG/BK").unwrap();
        assert_eq!(colour.to_string(), "OG/BK");
        assert_eq!(colour.words(), "orange with black tracer");
        assert_eq!(Colour::parse("GNYE").unwrap().words(), "green-and-yellow");
    }

    #[test]
    fn names_the_code_that_was_meant() {
        for (wrong, part, help) in [
            ("og", 0..2, "write `OG`"),
            ("BN/orange", 3..9, "write `OG`"),
            ("violett", 0..7, "write `VT`"),
        ] {
            let complaint = Colour::parse(wrong).unwrap_err();
            assert_eq!(complaint.part, Some(part), "{wrong}");
            assert_eq!(complaint.help.as_deref(), Some(help), "{wrong}");
        }
        let complaint = Colour::parse("BN/").unwrap_err();
        assert_eq!(complaint.message, "a colour code is missing here");
        assert!(
            Colour::parse("XX")
                .unwrap_err()
                .help
                .unwrap()
                .contains("BK, BN")
        );
    }

    #[test]
    fn refuses_a_tracer_like_the_base_and_a_third_colour() {
        assert!(Colour::parse("BN/BN").is_err());
        assert!(Colour::parse("BN/OG/VT").is_err());
    }
}
