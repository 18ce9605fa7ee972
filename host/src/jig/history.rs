//! What a jig has been through, in a file beside its own: one line for each mating, check
//! and renewal.
//!
//! Lines are only ever added, each with one write, and are on the disk before the command
//! goes on; two commands at once add two lines. A line that a power cut tore counts as a
//! mating: better one too many.

use std::fs::OpenOptions;
use std::io::{ErrorKind, Write as _};
use std::path::{Path, PathBuf};

use jiff::Timestamp;

/// Warned from this part of the limit on.
const NEAR: f64 = 0.9;

/// What happened to a jig.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Event {
    /// A harness was plugged in and rung out.
    Mated,
    /// Checked with shorting plugs, and whole.
    Whole,
    /// Checked, and something was wrong.
    Faulty,
    /// Its halves were renewed.
    Renewed,
}

impl Event {
    const ALL: [Self; 4] = [Self::Mated, Self::Whole, Self::Faulty, Self::Renewed];

    fn word(self) -> &'static str {
        match self {
            Self::Mated => "mated",
            Self::Whole => "checked, whole",
            Self::Faulty => "checked, faulty",
            Self::Renewed => "halves renewed",
        }
    }
}

/// What a jig has been through.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct History {
    /// Matings since its halves were new.
    pub matings: u32,
    /// Matings since it was checked last.
    pub since_check: u32,
    /// The last check, and when it was; `None` where it was never checked since its halves
    /// were new.
    pub checked: Option<(bool, String)>,
}

impl History {
    /// Of a jig's file.
    ///
    /// # Errors
    /// A sentence where it cannot be read; a jig without a history is new.
    pub fn load(jig: &Path) -> Result<Self, String> {
        let path = path(jig);
        match std::fs::read(&path) {
            Ok(bytes) => Ok(Self::of(&String::from_utf8_lossy(&bytes))),
            Err(error) if error.kind() == ErrorKind::NotFound => Ok(Self::default()),
            Err(error) => Err(format!("{}: {error}; check the path", path.display())),
        }
    }

    fn of(text: &str) -> Self {
        let mut history = Self::default();
        for line in text.lines().filter(|line| !line.trim().is_empty()) {
            let (when, what) = line.split_once("  ").unwrap_or((line, ""));
            let event = Event::ALL.into_iter().find(|event| event.word() == what);
            match event.unwrap_or(Event::Mated) {
                Event::Mated => {
                    history.matings = history.matings.saturating_add(1);
                    history.since_check = history.since_check.saturating_add(1);
                }
                Event::Renewed => history = Self::default(),
                checked => {
                    history.checked = Some((checked == Event::Whole, when.to_owned()));
                    history.since_check = 0;
                }
            }
        }
        history
    }

    /// Whether the jig is known to be whole: checked, and no further check or new halves due.
    /// A wrong wire of it need not be thought of then.
    #[must_use]
    pub fn is_proved(&self, matings: Option<u32>, check_every: Option<u32>) -> bool {
        let within = |count: u32, most: Option<u32>| most.is_none_or(|most| count < most);
        self.checked.as_ref().is_some_and(|(whole, _)| *whole)
            && within(self.matings, matings)
            && within(self.since_check, check_every)
    }

    /// What to say before a harness is believed to be tested by this jig: a sentence each.
    #[must_use]
    pub fn warnings(&self, matings: Option<u32>, check_every: Option<u32>) -> Vec<String> {
        let mut said = Vec::new();
        let done = self.matings;
        if let Some(most) = matings {
            let new = "new halves, then `loomproof jig renewed`";
            if done >= most {
                said.push(format!(
                    "The jig's halves have been mated {done} times and are good for {most}: what \
                     looks like a bad joint of the harness may be theirs. {}.",
                    crate::diagnosis::words::capital(new)
                ));
            } else if f64::from(done) >= NEAR * f64::from(most) {
                said.push(format!(
                    "The jig's halves have been mated {done} times, of {most} that they are good \
                     for; soon: {new}."
                ));
            }
        }
        let check = "check it with `loomproof jig check`";
        match (&self.checked, check_every) {
            (None, _) => said.push(format!(
                "The jig was never checked with shorting plugs since its halves were new; {check}."
            )),
            (Some(_), Some(every)) if self.since_check >= every => said.push(format!(
                "The jig was mated {} times since its last check; {check}.",
                self.since_check
            )),
            _ => {}
        }
        said
    }
}

/// Where the history of a jig is.
#[must_use]
pub fn path(jig: &Path) -> PathBuf {
    let mut name = jig.as_os_str().to_owned();
    name.push(".history");
    PathBuf::from(name)
}

/// Adds what happened now.
///
/// # Errors
/// A sentence where it cannot be written.
pub fn add(jig: &Path, event: Event) -> Result<(), String> {
    let path = path(jig);
    let write = || -> std::io::Result<()> {
        let torn = match std::fs::read(&path) {
            Ok(bytes) => bytes.last().is_some_and(|last| *last != b'\n'),
            Err(error) if error.kind() == ErrorKind::NotFound => false,
            Err(error) => return Err(error),
        };
        let begin = if torn { "\n" } else { "" };
        let when = Timestamp::now().strftime("%Y-%m-%dT%H:%M:%SZ");
        let line = format!("{begin}{when}  {}\n", event.word());
        let mut file = OpenOptions::new().append(true).create(true).open(&path)?;
        file.write_all(line.as_bytes())?;
        file.sync_all()
    };
    write().map_err(|error| {
        format!(
            "{}: {error}; the jig's history is kept there, so let it be written to",
            path.display()
        )
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_was_added_is_read_and_a_torn_line_counts_as_a_mating() {
        let folder = tempfile::tempdir().expect("a folder");
        let jig = folder.path().join("van.jig.toml");
        assert_eq!(History::load(&jig), Ok(History::default()));
        for event in [Event::Mated, Event::Mated, Event::Whole, Event::Mated] {
            add(&jig, event).expect("written");
        }
        let history = History::load(&jig).expect("read");
        assert_eq!((history.matings, history.since_check), (3, 1));
        assert!(history.checked.is_some_and(|(whole, _)| whole));
        // Torn at every byte of its last line: never a mating less.
        let whole = std::fs::read_to_string(path(&jig)).expect("text");
        let before = whole.trim_end().rfind('\n').expect("lines") + 1;
        for cut in before + 1..whole.len() {
            std::fs::write(path(&jig), &whole.as_bytes()[..cut]).expect("cut");
            assert_eq!(
                History::load(&jig).expect("read").matings,
                3,
                "cut at {cut}"
            );
            add(&jig, Event::Faulty).expect("written");
            let history = History::load(&jig).expect("read");
            assert_eq!((history.matings, history.since_check), (3, 0));
            assert!(history.checked.is_some_and(|(whole, _)| !whole));
        }
        add(&jig, Event::Renewed).expect("written");
        assert_eq!(History::load(&jig), Ok(History::default()));
    }

    #[test]
    fn commands_at_once_lose_no_mating() {
        let folder = tempfile::tempdir().expect("a folder");
        let jig = folder.path().join("van.jig.toml");
        std::thread::scope(|scope| {
            for _ in 0..8 {
                scope.spawn(|| (0..25).try_for_each(|_| add(&jig, Event::Mated)));
            }
        });
        assert_eq!(History::load(&jig).expect("read").matings, 200);
    }

    #[test]
    fn it_warns_near_the_limit_and_of_checks_that_are_due() {
        let mut history = History {
            checked: Some((true, String::new())),
            ..History::default()
        };
        let warned = |history: &History| history.warnings(Some(100), Some(20)).join(" ");
        assert_eq!(warned(&history), "");
        history.matings = 90;
        assert!(warned(&history).contains("of 100 that they are good for"));
        history.matings = 100;
        assert!(warned(&history).contains("may be theirs. New halves"));
        history = History {
            since_check: 20,
            ..history
        };
        assert!(warned(&history).contains("20 times since its last check"));
        assert!(warned(&History::default()).contains("never checked"));
        let proved = |history: &History| history.is_proved(Some(100), Some(20));
        assert!(!proved(&history) && !proved(&History::default()));
        for (matings, since_check, whole, is) in [
            (99, 19, true, true),
            (100, 19, true, false),
            (99, 20, true, false),
            (99, 19, false, false),
        ] {
            let checked = Some((whole, String::new()));
            let history = History {
                matings,
                since_check,
                checked,
            };
            assert_eq!(proved(&history), is, "{history:?}");
        }
        assert_eq!(history.warnings(None, None), Vec::<String>::new());
    }
}
