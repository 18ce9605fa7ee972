//! A plan that has been read and checked, with its options still open.

use super::electrics::{Consumer, Drain, Electrics, Pin, Switch};
use super::model::{
    Conductor, Connector, Diode, Function, Fuse, Lamp, Lead, Plug, Relay, Ring, Splice, Tap,
};
use super::problem::{Problem, Span, only_unsafe, render};
use super::read::{MOST_BYTES, read};
use super::when::Condition;
use loomproof_core::units::{Celsius, Volts};
use std::fmt;
use std::io::Read;
use std::path::Path;

/// A question about the vehicle.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct OptionQuestion {
    /// The option's name, as used in `when` and in `--answer`.
    pub name: String,
    /// The question to ask.
    pub ask: String,
    /// What may be answered, at least two.
    pub choices: Vec<String>,
    /// The answer that is taken when none is given.
    pub default: Option<String>,
    /// When the question is to be asked at all.
    pub(crate) when: Option<Condition>,
}

/// One table of the plan with the places that problems point at.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Entry<T> {
    /// The name in the table's header.
    pub(crate) at: Span,
    /// In which variants it is there.
    pub(crate) when: Option<Condition>,
    /// Places of what it refers to: both ends of a lead and then the conductor that may
    /// occupy its cavity, a tap's conductor,
    /// each cavity of a conductor and then the connector that it goes through, each place where a function is seen.
    pub(crate) refs: Vec<Span>,
    /// What the table says.
    pub(crate) item: T,
}

/// Everything the plan lists, in file order.
#[derive(Debug, Clone, Default, PartialEq)]
pub(crate) struct Lists {
    pub(crate) connectors: Vec<Entry<DeclaredConnector>>,
    pub(crate) conductors: Vec<Entry<Conductor>>,
    pub(crate) leads: Vec<Entry<Lead>>,
    pub(crate) taps: Vec<Entry<Tap>>,
    pub(crate) splices: Vec<Entry<Splice>>,
    pub(crate) rings: Vec<Entry<Ring>>,
    pub(crate) plugs: Vec<Entry<Plug>>,
    pub(crate) relays: Vec<Entry<Relay>>,
    pub(crate) diodes: Vec<Entry<Diode>>,
    pub(crate) lamps: Vec<Entry<Lamp>>,
    pub(crate) fuses: Vec<Entry<Fuse>>,
    pub(crate) functions: Vec<Entry<Function>>,
    pub(crate) switches: Vec<Entry<Switch>>,
    pub(crate) loads: Vec<Entry<Consumer>>,
    pub(crate) pins: Vec<Entry<Pin>>,
    pub(crate) drains: Vec<Entry<Drain>>,
    /// What belongs to tables above but is read by `review` alone; its lists
    /// of switches, loads, pins and drains stay empty here.
    pub(crate) more: Electrics,
}

/// Why a connector is kept away from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum KeepOff {
    /// Restraint system: airbag, pretensioner.
    Restraint,
    /// High voltage: hybrid, electric.
    HighVoltage,
}

impl fmt::Display for KeepOff {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Restraint => "a restraint connector",
            Self::HighVoltage => "a high-voltage connector",
        })
    }
}

/// A connector with what the plan says about its dangers.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct DeclaredConnector {
    pub(crate) connector: Connector,
    pub(crate) keep_off: Option<KeepOff>,
    pub(crate) data_bus: bool,
}

/// A plan that has been read and checked; its options are still open.
#[derive(Debug, Clone, PartialEq)]
pub struct Plan {
    pub(crate) path: String,
    pub(crate) source: String,
    pub(crate) title: String,
    pub(crate) supply: Volts,
    pub(crate) temperature: Celsius,
    pub(crate) digest: String,
    pub(crate) options: Vec<OptionQuestion>,
    pub(crate) lists: Lists,
}

impl Plan {
    /// Reads a plan from a file.
    ///
    /// # Errors
    /// When the file is missing, cannot be read, is too long or is not text;
    /// or everything that [`read`] reports.
    pub fn load(path: &Path) -> Result<Self, Rejected> {
        let name = path.display().to_string();
        let reject = |text: String, problems: Vec<Problem>| Rejected {
            path: name.clone(),
            text,
            problems,
        };
        let bytes = read_file(path).map_err(|problems| reject(String::new(), problems))?;
        let text = String::from_utf8(bytes).map_err(|error| {
            let at = error.utf8_error().valid_up_to();
            let line = error.as_bytes()[..at]
                .iter()
                .filter(|&&b| b == b'\n')
                .count()
                + 1;
            let problem = Problem::placeless(
                format!("{name} is not a text file: line {line} holds a byte that is not UTF-8"),
                "save the plan as UTF-8 text",
            );
            reject(String::new(), vec![problem])
        })?;
        read(&name, &text).map_err(|problems| reject(text, problems))
    }

    /// The plan's title.
    #[must_use]
    pub fn title(&self) -> &str {
        &self.title
    }

    /// The path or name that the plan was read from.
    #[must_use]
    pub fn path(&self) -> &str {
        &self.path
    }

    /// SHA-256 of the plan file, hexadecimal.
    #[must_use]
    pub fn digest(&self) -> &str {
        &self.digest
    }

    /// The plan's text.
    #[must_use]
    pub fn source(&self) -> &str {
        &self.source
    }

    /// The questions about the vehicle, in file order.
    #[must_use]
    pub fn options(&self) -> &[OptionQuestion] {
        &self.options
    }

    /// Names of the restraint and high-voltage connectors that the plan
    /// declares, to be shown as places to keep off. They are not in the
    /// [`Job`](super::model::Job), so nothing can be clipped onto them.
    pub fn keep_off(&self) -> impl Iterator<Item = &str> {
        let connectors = self.lists.connectors.iter();
        connectors
            .filter(|entry| entry.item.keep_off.is_some())
            .map(|entry| entry.item.connector.name.as_str())
    }

    /// The problems as text for a person; see [`render`].
    #[must_use]
    pub fn render(&self, problems: &[Problem], colour: bool) -> String {
        render(problems, &self.path, &self.source, colour)
    }
}

/// A plan file that was not accepted.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{}", self.render(false))]
pub struct Rejected {
    /// The path it was read from.
    pub path: String,
    /// Its text; empty when it could not be read.
    pub text: String,
    /// What is wrong, at least one.
    pub problems: Vec<Problem>,
}

impl Rejected {
    /// The problems as text for a person; `colour` is for a terminal.
    #[must_use]
    pub fn render(&self, colour: bool) -> String {
        render(&self.problems, &self.path, &self.text, colour)
    }

    /// Whether all problems are refusals; see [`only_unsafe`].
    #[must_use]
    pub fn is_unsafe(&self) -> bool {
        only_unsafe(&self.problems)
    }
}

/// The file's bytes, at most one more than a plan may have.
fn read_file(path: &Path) -> Result<Vec<u8>, Vec<Problem>> {
    let name = path.display();
    let problem = |error: std::io::Error| {
        let help = match error.kind() {
            std::io::ErrorKind::NotFound => "check the spelling and the folder",
            std::io::ErrorKind::PermissionDenied => "ask for the right to read this file",
            _ => "check that this is a plan file and that it can be opened",
        };
        vec![Problem::placeless(
            format!("cannot read {name}: {error}"),
            help,
        )]
    };
    if path.is_dir() {
        return Err(vec![Problem::placeless(
            format!("{name} is a folder, not a plan file"),
            "give the plan's own file, such as bakery-van.toml",
        )]);
    }
    if std::fs::metadata(path).is_ok_and(|there| !there.is_file()) {
        return Err(vec![Problem::placeless(
            format!("{name} is a device or a pipe, not a plan file"),
            "give the plan's own file, such as bakery-van.toml",
        )]);
    }
    let file = std::fs::File::open(path).map_err(problem)?;
    let mut bytes = Vec::new();
    let most = u64::try_from(MOST_BYTES).unwrap_or(u64::MAX);
    file.take(most.saturating_add(1))
        .read_to_end(&mut bytes)
        .map_err(problem)?;
    if bytes.len() > MOST_BYTES {
        return Err(vec![super::read::too_long()]);
    }
    Ok(bytes)
}
