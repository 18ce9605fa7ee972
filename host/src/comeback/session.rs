//! What was answered so far, in a file that a session is taken up from.

use std::collections::BTreeMap;
use std::io::Write as _;
use std::path::Path;

use serde::{Deserialize, Serialize};

use super::asks::{Ask, Asks, What};
use super::belief::{Answer, Reply};
use super::looks::Round;
use super::told::{How, Symptom};
use crate::plan::model::Job;
use crate::whole_file::WholeFile;

/// The layout of the file.
pub const LAYOUT: u32 = 1;

/// A session, as it is kept.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Session {
    /// The layout of the file: 1.
    pub session: u32,
    /// SHA-256 of the plan file.
    pub plan_digest: String,
    /// The answers to the plan's options.
    pub answers: BTreeMap<String, String>,
    /// Voltage of the battery at its posts.
    pub battery_volts: f64,
    /// The record from the day of fitting, where one was named.
    pub record: Option<String>,
    /// What was said of each function.
    pub symptoms: BTreeMap<String, How>,
    /// Places that were open at the start.
    pub open: Vec<String>,
    /// What was asked, and what came back; what was looked at.
    pub entries: Vec<Entry>,
    /// What was put right before, first one first.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub rounds: Vec<Round>,
}

/// One ask and its reply.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Entry {
    /// `volts` or `function`; `look` where what was named was looked at.
    pub ask: String,
    /// The point with its side, or the function; for a look the causes.
    pub at: String,
    /// State of every switch.
    pub switches: BTreeMap<String, String>,
    /// As typed: `11.8`, `doubt 11.8`, `y`, `n`, `skip`; `sound` for a look.
    pub reply: String,
}

/// Why a session cannot be kept or taken up.
#[derive(Debug, thiserror::Error)]
pub enum SessionError {
    /// The file cannot be read or written.
    #[error("{path}: {why}")]
    File {
        /// Its path.
        path: String,
        /// What the system says.
        why: String,
    },
    /// It is something else.
    #[error("{path}: this is no comeback session of this program: {why}; give another --session")]
    NotOne {
        /// Its path.
        path: String,
        /// What does not fit.
        why: String,
    },
    /// It belongs to another job.
    #[error(
        "{path}: this session is of another {what}; take the same plan and answers as before, or \
         give another --session"
    )]
    Other {
        /// Its path.
        path: String,
        /// What differs.
        what: &'static str,
    },
    /// An entry that the job does not have.
    #[error("{path}: entry {number} asks for {what}, which this plan does not have")]
    Entry {
        /// Its path.
        path: String,
        /// The number of the entry, from 1.
        number: usize,
        /// What it asks for.
        what: String,
    },
}

impl Session {
    /// A new one.
    #[must_use]
    pub fn new(job: &Job, battery_volts: f64) -> Self {
        Self {
            session: LAYOUT,
            plan_digest: job.digest.clone(),
            answers: job.answers.clone(),
            battery_volts,
            record: None,
            symptoms: BTreeMap::new(),
            open: Vec::new(),
            entries: Vec::new(),
            rounds: Vec::new(),
        }
    }

    /// Reads one; `None` where there is no such file yet.
    ///
    /// # Errors
    /// [`SessionError`].
    pub fn load(path: &Path, job: &Job) -> Result<Option<Self>, SessionError> {
        let shown = path.display().to_string();
        let text = match std::fs::read_to_string(path) {
            Ok(text) => text,
            Err(error) if error.kind() == std::io::ErrorKind::NotFound => return Ok(None),
            Err(error) => {
                return Err(SessionError::File {
                    path: shown,
                    why: error.to_string(),
                });
            }
        };
        let not_one = |why: String| SessionError::NotOne {
            path: shown.clone(),
            why,
        };
        let session: Self =
            serde_json::from_str(&text).map_err(|error| not_one(error.to_string()))?;
        if session.session != LAYOUT {
            return Err(not_one(format!("its layout is {}", session.session)));
        }
        let sane = (1.0..=60.0).contains(&session.battery_volts);
        if !sane {
            return Err(not_one("its battery voltage makes no sense".to_owned()));
        }
        let other = |what| SessionError::Other {
            path: shown.clone(),
            what,
        };
        if session.plan_digest != job.digest {
            return Err(other("plan, or the plan was changed since"));
        }
        if session.answers != job.answers {
            return Err(other("variant of this plan"));
        }
        Ok(Some(session))
    }

    /// Writes it, whole or not at all.
    ///
    /// # Errors
    /// [`SessionError::File`].
    pub fn keep(&self, path: &Path) -> Result<(), SessionError> {
        let file = |why: String| SessionError::File {
            path: path.display().to_string(),
            why,
        };
        let text = serde_json::to_string_pretty(self).map_err(|error| file(error.to_string()))?;
        let mut whole = WholeFile::beside(path).map_err(|error| file(error.to_string()))?;
        let wrote = writeln!(whole, "{text}").and_then(|()| whole.put());
        wrote.map_err(|error| file(error.to_string()))
    }

    /// The symptoms, by number.
    ///
    /// # Errors
    /// A function that the job does not have.
    pub fn symptoms(&self, job: &Job) -> Result<Vec<Symptom>, String> {
        let each = self.symptoms.iter().map(|(name, how)| {
            let function = job.functions.iter().position(|it| it.name == *name);
            let function = function.ok_or_else(|| name.clone())?;
            Ok(Symptom {
                function,
                how: *how,
            })
        });
        each.collect()
    }

    /// The answers to weigh.
    ///
    /// # Errors
    /// [`SessionError::Entry`].
    pub fn replies(
        &self,
        job: &Job,
        asks: &Asks,
        path: Option<&Path>,
    ) -> Result<Vec<Answer>, SessionError> {
        let readings = self.entries.iter().enumerate();
        let readings = readings.filter(|(_, entry)| !entry.is_look());
        let each = readings.map(|(at, entry)| {
            let answer = entry.answer(job, asks);
            answer.ok_or_else(|| SessionError::Entry {
                path: path.map_or_else(|| "session".to_owned(), |it| it.display().to_string()),
                number: at + 1,
                what: format!("{} ({})", entry.at, entry.reply),
            })
        });
        each.collect()
    }
}

impl Entry {
    /// An ask with what was typed.
    #[must_use]
    pub fn new(job: &Job, asks: &Asks, ask: &Ask, reply: &Reply) -> Self {
        let (sort, at) = match ask.what {
            What::Function(function) => (
                "function",
                job.functions.get(function).map(|it| it.name.clone()),
            ),
            What::Volts(site) => ("volts", asks.sites.get(site).map(|it| it.name.clone())),
        };
        Self {
            ask: sort.to_owned(),
            at: at.unwrap_or_default(),
            switches: asks.named(job, ask.setting),
            reply: typed(reply),
        }
    }

    fn answer(&self, job: &Job, asks: &Asks) -> Option<Answer> {
        let settings = 0..asks.settings.len();
        let setting = settings
            .into_iter()
            .find(|at| asks.named(job, *at) == self.switches)?;
        let what = match self.ask.as_str() {
            "function" => What::Function(job.functions.iter().position(|it| it.name == self.at)?),
            "volts" => What::Volts(asks.sites.iter().position(|it| it.name == self.at)?),
            _ => return None,
        };
        let ask = Ask { what, setting };
        asks.list.contains(&ask).then_some(())?;
        Some(Answer {
            ask,
            reply: parse(&self.reply, what)?,
        })
    }
}

/// A reply as it is typed.
#[must_use]
pub fn typed(reply: &Reply) -> String {
    let (text, doubtful) = match reply {
        Reply::NotPossible => return "skip".to_owned(),
        Reply::Volts { volts, doubtful } => (format!("{volts:.2}"), *doubtful),
        Reply::Works { yes, doubtful } => (if *yes { "y" } else { "n" }.to_owned(), *doubtful),
    };
    if doubtful {
        format!("doubt {text}")
    } else {
        text
    }
}

/// Reads a reply: `11.8`, `11,8 V`, `y`, `no`, `skip`, and `doubt` before any of them.
#[must_use]
pub fn parse(text: &str, what: What) -> Option<Reply> {
    let text = text.trim().to_lowercase();
    if ["skip", "not possible", "cannot", "-"].contains(&text.as_str()) {
        return Some(Reply::NotPossible);
    }
    let (rest, doubtful) = match text.strip_prefix("doubt").or(text.strip_prefix("about")) {
        Some(rest) => (rest.trim(), true),
        None => (text.trim_end_matches('?').trim(), text.ends_with('?')),
    };
    match what {
        What::Function(_) => {
            let yes = match rest {
                "y" | "yes" | "works" => true,
                "n" | "no" | "fails" => false,
                _ => return None,
            };
            Some(Reply::Works { yes, doubtful })
        }
        What::Volts(_) => {
            let number = rest.trim_end_matches('v').trim().replace(',', ".");
            let volts: f64 = number.parse().ok()?;
            let sane = volts.is_finite() && volts.abs() <= 60.0;
            sane.then_some(Reply::Volts { volts, doubtful })
        }
    }
}
