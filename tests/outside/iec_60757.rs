//! Colour codes of IEC 60757: the two-letter codes from *memory*; that GNYE is
//! the only combination with green or yellow written without a slash is *read*.

use loomproof::plan::colour::Colour;

use super::check::{Check, Limit, Status};

/// Code and name.
const CODES: [(&str, &str); 14] = [
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
];

/// The words of a code, or that it is none.
fn words(code: &str) -> String {
    Colour::parse(code).map_or_else(|_| "no colour".to_owned(), Colour::words)
}

/// Every code of four letters that the reader takes.
fn combinations() -> String {
    let pairs = CODES
        .iter()
        .flat_map(|(a, _)| CODES.iter().map(move |(b, _)| format!("{a}{b}")));
    let taken: Vec<String> = pairs.filter(|code| Colour::parse(code).is_ok()).collect();
    taken.join(" ")
}

/// Its checks.
#[must_use]
pub fn checks() -> Vec<Check> {
    let mut checks: Vec<Check> = CODES
        .into_iter()
        .map(|(code, name)| Check {
            what: format!("colour {code}"),
            source: "IEC 60757",
            status: Status::Memory,
            theirs: name.into(),
            limit: Limit::Same,
            ours: Box::new(move || words(code).into()),
            test: "codes",
        })
        .collect();
    checks.push(Check {
        what: "combinations without a slash".to_owned(),
        source: "IEC 60757, preview",
        status: Status::Read,
        theirs: "GNYE".into(),
        limit: Limit::Same,
        ours: Box::new(|| combinations().into()),
        test: "the_only_combination",
    });
    checks
}

crate::checked!(codes, the_only_combination);
