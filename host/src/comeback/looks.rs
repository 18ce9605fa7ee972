//! What somebody looked at after a cause was named: it is sound, or it was so and is put
//! right. Kept in the session beside the readings.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use super::session::{Entry, Session};
use super::told::How;

/// The sort of an entry that is no reading.
const LOOK: &str = "look";

/// Between the causes of one look.
const OR: &str = " or ";

/// What was told, asked and put right before the functions were tried again.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Round {
    /// The causes that were put right, spelled as with `--fault`.
    pub repaired: Vec<String>,
    /// What was said of each function before.
    pub symptoms: BTreeMap<String, How>,
    /// Places that were open at the start of it.
    pub open: Vec<String>,
    /// What was asked, and what came back.
    pub entries: Vec<Entry>,
}

impl Entry {
    /// Causes, spelled as with `--fault`, that were looked at and are sound.
    #[must_use]
    pub fn sound(causes: &[String]) -> Self {
        Self {
            ask: LOOK.to_owned(),
            at: causes.join(OR),
            switches: BTreeMap::new(),
            reply: "sound".to_owned(),
        }
    }

    /// The causes that were looked at; nothing of a reading.
    pub fn looked_at(&self) -> impl Iterator<Item = &str> {
        let look = self.ask == LOOK;
        self.at.split(OR).filter(move |_| look)
    }

    /// Whether it is a look at what was named, not a reading.
    #[must_use]
    pub fn is_look(&self) -> bool {
        self.ask == LOOK
    }
}

impl Session {
    /// Notes that causes were put right: the functions are told anew, nothing that was
    /// read before counts, and what was opened (`opened`) is open.
    pub fn put_right(&mut self, repaired: Vec<String>, opened: impl Iterator<Item = String>) {
        let round = Round {
            repaired,
            symptoms: std::mem::take(&mut self.symptoms),
            open: self.open.clone(),
            entries: std::mem::take(&mut self.entries),
        };
        self.rounds.push(round);
        for place in opened {
            if !self.open.contains(&place) {
                self.open.push(place);
            }
        }
    }

    /// Takes the last entry back, or the last repair where nothing was asked since; says
    /// what that was.
    pub fn take_back(&mut self) -> Option<String> {
        if let Some(entry) = self.entries.pop() {
            return Some(format!("{} {}", entry.at, entry.reply));
        }
        let round = self.rounds.pop()?;
        self.symptoms = round.symptoms;
        self.open = round.open;
        self.entries = round.entries;
        Some(format!("{} put right", round.repaired.join(", ")))
    }

    /// The causes that were looked at and are sound, in this round and before.
    pub fn found_sound(&self) -> impl Iterator<Item = &str> {
        let before = self.rounds.iter().flat_map(|round| &round.entries);
        before.chain(&self.entries).flat_map(Entry::looked_at)
    }

    /// The causes that were put right, first one first.
    pub fn repaired(&self) -> impl Iterator<Item = &str> {
        let all = self.rounds.iter().flat_map(|round| &round.repaired);
        all.map(String::as_str)
    }
}
