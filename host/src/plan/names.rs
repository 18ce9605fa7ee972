//! The names of a plan: which there are, what each stands for, and which is
//! nearest to one that is not there.

use super::problem::{Complaint, Span, quote};
use std::collections::BTreeMap;

/// Longest name, in characters.
const LONGEST_NAME: usize = 32;

/// What a name stands for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Kind {
    Option,
    Switch,
    Connector,
    Pin,
    Conductor,
    Lead,
    Tap,
    Splice,
    Ring,
    Plug,
    Relay,
    Diode,
    Lamp,
    Fuse,
    Load,
    Function,
    Drain,
}

impl Kind {
    /// Every kind, in the order in which their tables are read.
    pub(crate) const ALL: [Self; 17] = [
        Self::Option,
        Self::Switch,
        Self::Connector,
        Self::Pin,
        Self::Plug,
        Self::Relay,
        Self::Diode,
        Self::Lamp,
        Self::Fuse,
        Self::Splice,
        Self::Ring,
        Self::Conductor,
        Self::Tap,
        Self::Load,
        Self::Lead,
        Self::Function,
        Self::Drain,
    ];

    /// The table's name in the file; also the word in messages.
    pub(crate) const fn word(self) -> &'static str {
        match self {
            Self::Option => "option",
            Self::Switch => "switch",
            Self::Pin => "pin",
            Self::Load => "load",
            Self::Connector => "connector",
            Self::Conductor => "conductor",
            Self::Lead => "lead",
            Self::Tap => "tap",
            Self::Splice => "splice",
            Self::Ring => "ring",
            Self::Plug => "plug",
            Self::Relay => "relay",
            Self::Diode => "diode",
            Self::Lamp => "lamp",
            Self::Fuse => "fuse",
            Self::Function => "function",
            Self::Drain => "drain",
        }
    }

    /// The kind whose table has this name.
    pub(crate) fn of(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|kind| kind.word() == word)
    }
}

/// One name and what ends may say about it.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Named {
    pub(crate) kind: Kind,
    pub(crate) at: Span,
    /// Cavities of a connector or ways of a plug, when known.
    pub(crate) count: Option<u16>,
    /// Relay with a break contact, when known.
    pub(crate) changeover: Option<bool>,
}

/// All names of a plan.
#[derive(Debug, Clone, Default)]
pub(crate) struct Names {
    map: BTreeMap<String, Named>,
}

impl Names {
    /// Enters a name; gives back the earlier holder when there is one.
    pub(crate) fn enter(&mut self, name: &str, kind: Kind, at: &Span) -> Option<Named> {
        if let Some(earlier) = self.map.get(name) {
            return Some(earlier.clone());
        }
        let named = Named {
            kind,
            at: at.clone(),
            count: None,
            changeover: None,
        };
        self.map.insert(name.to_owned(), named);
        None
    }

    pub(crate) fn get(&self, name: &str) -> Option<&Named> {
        self.map.get(name)
    }

    /// Records how many cavities or ways the holder of this name has.
    pub(crate) fn set_count(&mut self, name: &str, kind: Kind, count: Option<u16>) {
        if let Some(named) = self.map.get_mut(name).filter(|n| n.kind == kind) {
            named.count = count;
        }
    }

    /// Records whether the relay of this name has a break contact.
    pub(crate) fn set_changeover(&mut self, name: &str, changeover: bool) {
        if let Some(named) = self.map.get_mut(name) {
            named.changeover = Some(changeover);
        }
    }

    /// Names of things of which `wanted` is true.
    pub(crate) fn of_kind(&self, wanted: impl Fn(Kind) -> bool) -> impl Iterator<Item = &str> {
        let all = self.map.iter();
        all.filter(move |(_, named)| wanted(named.kind))
            .map(|(name, _)| name.as_str())
    }
}

/// Checks a name by itself.
pub(crate) fn check_name(name: &str) -> Result<(), Complaint> {
    let rule = "a name starts with a letter, holds only letters, digits, `-` and `_`, \
                and has at most 32 characters";
    let good = |c: char| c.is_ascii_alphanumeric() || c == '-' || c == '_';
    if !name.starts_with(|c: char| c.is_ascii_alphabetic())
        || !name.chars().all(good)
        || name.len() > LONGEST_NAME
    {
        return Err(Complaint::new(
            format!("{} cannot be used as a name", quote(name)),
            rule,
        ));
    }
    if name.ends_with("-A") || name.ends_with("-B") {
        return Err(Complaint::new(
            format!("the name `{name}` ends in `-A` or `-B`"),
            "that ending stands for the two halves of an in-line plug; choose another name",
        ));
    }
    if matches!(name, "cap" | "chassis" | "and" | "or" | "not") {
        return Err(Complaint::new(
            format!("the name `{name}` has a meaning of its own"),
            "choose another name; cap, chassis, and, or, not are taken",
        ));
    }
    Ok(())
}

/// The candidate that looks most like `word`, if any looks like it at all.
pub(crate) fn nearest<'a>(
    word: &str,
    candidates: impl IntoIterator<Item = &'a str>,
) -> Option<&'a str> {
    if word.len() > 2 * LONGEST_NAME {
        return None;
    }
    let lower = word.to_lowercase();
    let allowed = (word.chars().count() / 3).clamp(1, 3);
    candidates
        .into_iter()
        .filter(|candidate| candidate.len() <= 2 * LONGEST_NAME)
        .map(|candidate| {
            let distance = strsim::damerau_levenshtein(&lower, &candidate.to_lowercase());
            (distance, candidate)
        })
        .filter(|(distance, _)| *distance <= allowed)
        .min_by_key(|(distance, _)| *distance)
        .map(|(_, candidate)| candidate)
}

/// "did you mean `X1`?" or, when nothing is near, the given sentence.
pub(crate) fn suggest<'a>(
    word: &str,
    candidates: impl IntoIterator<Item = &'a str>,
    otherwise: impl Into<String>,
) -> String {
    nearest(word, candidates).map_or_else(
        || otherwise.into(),
        |found| format!("did you mean `{found}`?"),
    )
}

/// "a, b or c".
pub(crate) fn list<'a>(words: impl IntoIterator<Item = &'a str>) -> String {
    let words: Vec<&str> = words.into_iter().collect();
    match words.split_last() {
        None => "nothing".to_owned(),
        Some((only, [])) => (*only).to_owned(),
        Some((last, rest)) => format!("{} or {last}", rest.join(", ")),
    }
}
