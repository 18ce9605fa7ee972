//! What a jig has been through, in a file beside its own: one line for each mating, check
//! and renewal.
//!
//! Lines are only ever added, each with one write, and are on the disk before the command
//! goes on; two commands at once add two lines. A line that a power cut tore counts as a
//! mating, and nothing that was found out of the wires before it stands any more.

use std::collections::BTreeSet;
use std::fs::OpenOptions;
use std::io::{ErrorKind, Write as _};
use std::path::{Path, PathBuf};

use jiff::Timestamp;
use loomproof_core::wire::LeadId;
use sha2::{Digest as _, Sha256};

use super::Jig;
use super::file::lead;
use crate::diagnosis::words::capital;
use crate::hookup::Hookup;

/// Warned from this part of the limit on.
const NEAR: f64 = 0.9;

/// What happened to a jig.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Event {
    /// A harness was plugged in and rung out.
    Mated,
    /// Checked with shorting plugs, and whole.
    Whole,
    /// Checked, and something was wrong.
    Faulty,
    /// Its halves were renewed.
    Renewed,
    /// The contacts of these leads were touched, and each is where the file says.
    Touched(BTreeSet<LeadId>),
}

impl Event {
    /// As it is written; what was found out of the wires ends with which wires they are.
    fn line(&self, jig: &Jig) -> String {
        let wires = mark(jig);
        match self {
            Self::Mated => "mated".to_owned(),
            Self::Whole => format!("checked, whole  {wires}"),
            Self::Faulty => format!("checked, faulty  {wires}"),
            Self::Renewed => "halves renewed".to_owned(),
            Self::Touched(leads) => {
                let leads: Vec<String> = leads.iter().map(ToString::to_string).collect();
                format!("touched {}  {wires}", leads.join(" "))
            }
        }
    }

    /// What a line says; `None` where it says nothing that is known, or was found out of
    /// other wires.
    fn of(text: &str, jig: &Jig) -> Option<Self> {
        let (what, wires) = text.split_once("  ").unwrap_or((text, ""));
        let same = wires == mark(jig);
        match what {
            "mated" => Some(Self::Mated),
            "halves renewed" => Some(Self::Renewed),
            "checked, whole" => same.then_some(Self::Whole),
            // Better one too many.
            "checked, faulty" => Some(Self::Faulty),
            _ => {
                let leads = what.strip_prefix("touched ").filter(|_| same)?;
                let leads: Option<BTreeSet<LeadId>> = leads.split(' ').map(lead).collect();
                leads.map(Self::Touched)
            }
        }
    }
}

/// Tells the wires of a jig from others: eight digits of a digest of its number and leads.
fn mark(jig: &Jig) -> String {
    let mut digest = Sha256::new();
    digest.update(jig.code.number().to_le_bytes());
    for (lead, point) in &jig.wires {
        digest.update(format!("{lead} {point}\n"));
    }
    let digest = digest.finalize();
    digest
        .iter()
        .take(4)
        .map(|byte| format!("{byte:02x}"))
        .collect()
}

/// What a jig has been through.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct History {
    /// Matings since its halves were new.
    pub matings: u32,
    /// Matings since it was checked last.
    pub since_check: u32,
    /// The last check, and when it was; `None` where its wires as they are were never
    /// checked since its halves were new.
    pub checked: Option<(bool, Timestamp)>,
    /// Leads whose contacts were touched since then.
    pub touched: BTreeSet<LeadId>,
}

impl History {
    /// Of a jig.
    ///
    /// # Errors
    /// A sentence where it cannot be read; a jig without a history is new.
    pub fn load(jig: &Jig) -> Result<Self, String> {
        let path = path(&jig.path);
        match std::fs::read(&path) {
            Ok(bytes) => Ok(Self::of(&String::from_utf8_lossy(&bytes), jig)),
            Err(error) if error.kind() == ErrorKind::NotFound => Ok(Self::default()),
            Err(error) => Err(format!(
                "{}: {error}; the jig's history is kept there, so let it be read, or take away what \
                 is in its place",
                path.display()
            )),
        }
    }

    /// Of the text that is beside a jig's file.
    #[must_use]
    pub fn of(text: &str, jig: &Jig) -> Self {
        let mut history = Self::default();
        for line in text.lines().filter(|line| !line.trim().is_empty()) {
            let (when, what) = line.split_once("  ").unwrap_or((line, ""));
            let when = when.parse::<Timestamp>().ok();
            match when.and_then(|when| Some((when, Event::of(what, jig)?))) {
                Some((_, Event::Mated)) => history.mated(),
                Some((_, Event::Renewed)) => history = Self::default(),
                Some((_, Event::Touched(leads))) => history.touched.extend(leads),
                Some((when, checked)) => {
                    history.checked = Some((checked == Event::Whole, when));
                    history.since_check = 0;
                }
                // Torn, or of other wires: nothing that was found out before stands.
                None => {
                    let faulty = history.checked.filter(|(whole, _)| !whole);
                    history.checked = faulty;
                    history.touched.clear();
                    history.mated();
                }
            }
        }
        history
    }

    fn mated(&mut self) {
        self.matings = self.matings.saturating_add(1);
        self.since_check = self.since_check.saturating_add(1);
    }

    /// Whether a hook-up in the jig is known to be right: checked, every contact of it
    /// touched, and no further check or new halves due. A wrong wire of the jig need not
    /// be thought of then.
    #[must_use]
    pub fn is_proved(&self, jig: &Jig, hookup: &Hookup) -> bool {
        let within = |count: u32, most: Option<u32>| most.is_none_or(|most| count < most);
        let mut leads = hookup.clips.iter().map(|clip| clip.lead);
        self.checked.is_some_and(|(whole, _)| whole)
            && within(self.matings, jig.matings)
            && within(self.since_check, jig.check_every)
            && leads.all(|lead| self.touched.contains(&lead))
    }

    /// What to say before a harness is believed to be tested by this jig: a sentence each.
    #[must_use]
    pub fn warnings(&self, jig: &Jig) -> Vec<String> {
        let mut said = Vec::new();
        let (done, file) = (self.matings, jig.path.display());
        if let Some(most) = jig.matings {
            let new = format!("new halves, then `loomproof jig renewed {file}`");
            if done >= most {
                said.push(format!(
                    "The jig's halves have been mated {done} times and are good for {most}: what \
                     looks like a bad joint of the harness may be theirs. {}.",
                    capital(&new)
                ));
            } else if f64::from(done) >= NEAR * f64::from(most) {
                said.push(format!(
                    "The jig's halves have been mated {done} times, of {most} that they are good \
                     for; soon: {new}."
                ));
            }
        }
        let check = format!("check it with `loomproof jig check {file} --probe usb`");
        match (&self.checked, jig.check_every) {
            (None, _) => said.push(format!(
                "The jig as its file is was never checked with shorting plugs since its halves were \
                 new; {check}."
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
    // A link to the file has the same history.
    let jig = std::fs::canonicalize(jig).unwrap_or_else(|_| jig.to_owned());
    let mut name = jig.into_os_string();
    name.push(".history");
    PathBuf::from(name)
}

/// Adds what happened now.
///
/// # Errors
/// A sentence where it cannot be written.
pub fn add(jig: &Jig, event: &Event) -> Result<(), String> {
    let path = path(&jig.path);
    let write = || -> std::io::Result<()> {
        let torn = match std::fs::read(&path) {
            Ok(bytes) => bytes.last().is_some_and(|last| *last != b'\n'),
            Err(error) if error.kind() == ErrorKind::NotFound => false,
            Err(error) => return Err(error),
        };
        let begin = if torn { "\n" } else { "" };
        let when = Timestamp::now().strftime("%Y-%m-%dT%H:%M:%SZ");
        let line = format!("{begin}{when}  {}\n", event.line(jig));
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
    use crate::hookup::{Clip, Mated, Point};
    use crate::jig::Code;
    use loomproof_core::wire::Place;

    fn jig(folder: &Path) -> Jig {
        Jig {
            path: folder.join("van.jig.toml"),
            title: "Van".to_owned(),
            code: Code::new(17).expect("a number"),
            plans: vec!["Van".to_owned()],
            matings: Some(100),
            check_every: Some(20),
            wires: vec![(LeadId(3), "T1".to_owned()), (LeadId(4), "T2".to_owned())],
        }
    }

    fn hookup() -> Hookup {
        let clip = |lead: u8, name: &str| Clip {
            lead: LeadId(lead),
            point: Point::Tap(name.to_owned()),
        };
        Hookup {
            place: Place::Bench,
            clips: vec![clip(3, "T1"), clip(4, "T2")],
            mated: Mated::default(),
        }
    }

    fn touched() -> Event {
        Event::Touched([LeadId(3), LeadId(4)].into())
    }

    fn is_whole(history: &History) -> Option<bool> {
        history.checked.map(|(whole, _)| whole)
    }

    #[test]
    fn what_was_added_is_read_and_a_torn_line_proves_nothing() {
        let folder = tempfile::tempdir().expect("a folder");
        let jig = jig(folder.path());
        assert_eq!(History::load(&jig), Ok(History::default()));
        for event in [Event::Mated, Event::Mated, Event::Whole, touched()] {
            add(&jig, &event).expect("written");
        }
        let history = History::load(&jig).expect("read");
        assert_eq!((history.matings, history.since_check), (2, 0));
        assert!(history.is_proved(&jig, &hookup()), "{history:?}");
        // Torn at every byte of each kind of line: never a mating less, never whole.
        let kept = std::fs::read_to_string(path(&jig.path)).expect("text");
        for event in [Event::Mated, Event::Whole, Event::Faulty, touched()] {
            std::fs::write(path(&jig.path), &kept).expect("put back");
            add(&jig, &event).expect("written");
            let whole = std::fs::read(path(&jig.path)).expect("bytes");
            for cut in kept.len() + 1..whole.len() - 1 {
                std::fs::write(path(&jig.path), &whole[..cut]).expect("cut");
                let history = History::load(&jig).expect("read");
                // `mated` and `faulty` may be whole words already, their line's end not.
                let said = String::from_utf8_lossy(&whole[kept.len()..cut]).into_owned();
                let known = said.ends_with("faulty") || said.contains("faulty  ");
                let matings = if known { 2 } else { 3 };
                assert_eq!(history.matings, matings, "{said}");
                assert!(!history.is_proved(&jig, &hookup()), "{said}: {history:?}");
                add(&jig, &Event::Faulty).expect("written");
                let history = History::load(&jig).expect("read");
                assert_eq!(is_whole(&history), Some(false));
            }
        }
        add(&jig, &Event::Renewed).expect("written");
        assert_eq!(History::load(&jig), Ok(History::default()));
    }

    #[test]
    fn other_wires_are_not_checked() {
        let folder = tempfile::tempdir().expect("a folder");
        let mut jig = jig(folder.path());
        add(&jig, &Event::Whole).expect("written");
        add(&jig, &touched()).expect("written");
        assert!(
            History::load(&jig)
                .expect("read")
                .is_proved(&jig, &hookup())
        );
        jig.wires.reverse();
        jig.wires[0].0 = LeadId(7);
        let history = History::load(&jig).expect("read");
        assert_eq!((is_whole(&history), history.touched.len()), (None, 0));
        // What is known to be wrong stays so, whatever is written into the file.
        add(&jig, &Event::Faulty).expect("written");
        jig.wires[0].0 = LeadId(8);
        assert_eq!(is_whole(&History::load(&jig).expect("read")), Some(false));
    }

    #[test]
    fn commands_at_once_lose_no_mating() {
        let folder = tempfile::tempdir().expect("a folder");
        let jig = jig(folder.path());
        std::thread::scope(|scope| {
            for _ in 0..8 {
                scope.spawn(|| (0..25).try_for_each(|_| add(&jig, &Event::Mated)));
            }
        });
        assert_eq!(History::load(&jig).expect("read").matings, 200);
    }

    #[test]
    fn it_warns_near_the_limit_and_of_checks_that_are_due() {
        let jig = jig(Path::new("."));
        let checked = |whole: bool| Some((whole, Timestamp::UNIX_EPOCH));
        let history = |matings, since_check, whole| History {
            matings,
            since_check,
            checked: checked(whole),
            touched: [LeadId(3), LeadId(4)].into(),
        };
        let warned = |history: &History| history.warnings(&jig).join(" ");
        assert_eq!(warned(&history(89, 19, true)), "");
        assert!(warned(&history(90, 0, true)).contains("of 100 that they are good for"));
        assert!(warned(&history(100, 0, true)).contains("may be theirs. New halves"));
        assert!(warned(&history(50, 20, true)).contains("20 times since its last check"));
        assert!(warned(&History::default()).contains("never checked"));
        for (matings, since_check, whole, is) in [
            (99, 19, true, true),
            (100, 19, true, false),
            (99, 20, true, false),
            (99, 19, false, false),
        ] {
            let history = history(matings, since_check, whole);
            assert_eq!(history.is_proved(&jig, &hookup()), is, "{history:?}");
        }
        let mut less = history(0, 0, true);
        less.touched.remove(&LeadId(4));
        assert!(!less.is_proved(&jig, &hookup()));
    }
}
