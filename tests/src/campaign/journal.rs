//! Runs that are over, one in a line of a file, so that a campaign of hours can
//! be broken off and taken up again.

use std::collections::HashMap;
use std::fs::{File, OpenOptions};
use std::io::{self, Write};
use std::path::Path;
use std::sync::{Mutex, PoisonError};

use serde::de::DeserializeOwned;
use serde::{Deserialize, Serialize};
use serde_json::Value;

/// What a run is found by: no two runs of one commit have all of it in common.
#[derive(Debug, Clone, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub struct Key {
    /// Name of harness and place.
    pub site: String,
    /// What kind of run it is, in a word.
    pub kind: String,
    /// Seed of the bench.
    pub seed: u64,
}

#[derive(Debug, Serialize, Deserialize)]
struct Line<T> {
    #[serde(flatten)]
    key: Key,
    found: T,
}

/// The first line: runs of another program are not mixed in.
#[derive(Debug, PartialEq, Serialize, Deserialize)]
struct Head {
    commit: String,
}

/// The runs that are over.
#[derive(Debug, Default)]
pub struct Journal {
    kept: HashMap<Key, Value>,
    /// `None`: nothing is kept.
    file: Option<Mutex<File>>,
}

impl Journal {
    /// Opens the file, or begins it.
    ///
    /// # Errors
    ///
    /// The file cannot be read or written, is of another commit, or has a line
    /// that is none. A last line that was torn is cut off: its run is done anew.
    pub fn open(path: &Path, commit: &str) -> Result<Self, String> {
        let here = |error: &dyn std::fmt::Display| format!("{}: {error}", path.display());
        let mut file = OpenOptions::new()
            .read(true)
            .append(true)
            .create(true)
            .open(path)
            .map_err(|error| here(&error))?;
        let text = io::read_to_string(&file).map_err(|error| here(&error))?;
        let whole = text.rfind('\n').map_or(0, |at| at + 1);
        file.set_len(whole as u64).map_err(|error| here(&error))?;
        let mut lines = text[..whole].lines();
        let head = Head {
            commit: commit.to_owned(),
        };
        match lines.next().map(serde_json::from_str::<Head>) {
            None => write_line(&mut file, &head).map_err(|error| here(&error))?,
            Some(Ok(of)) if of == head => {}
            Some(Ok(of)) => {
                let what = format!(
                    "these runs are of commit {}, not {commit}; name another file, or check \
                     that commit out",
                    of.commit
                );
                return Err(here(&what));
            }
            Some(Err(error)) => return Err(here(&format!("line 1: {error}"))),
        }
        let mut kept = HashMap::new();
        for (at, line) in lines.enumerate() {
            let line: Line<Value> = serde_json::from_str(line)
                .map_err(|error| here(&format!("line {}: {error}", at + 2)))?;
            kept.insert(line.key, line.found);
        }
        Ok(Self {
            kept,
            file: Some(Mutex::new(file)),
        })
    }

    /// How many runs were found.
    #[must_use]
    pub fn len(&self) -> usize {
        self.kept.len()
    }

    /// Whether none were.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.kept.is_empty()
    }

    /// What came of a run: as it was kept, or else of doing it.
    pub fn run<T>(&self, key: Key, work: impl FnOnce() -> T) -> T
    where
        T: Serialize + DeserializeOwned,
    {
        if let Some(found) = self.kept.get(&key)
            && let Ok(found) = T::deserialize(found)
        {
            return found;
        }
        let found = work();
        if let Some(file) = &self.file {
            let mut file = file.lock().unwrap_or_else(PoisonError::into_inner);
            let line = Line { key, found: &found };
            if let Err(error) = write_line(&mut file, &line) {
                eprintln!("a run was not kept: {error}");
            }
        }
        found
    }
}

/// One write, so that a line is there or torn, never mixed with another.
fn write_line(file: &mut File, line: &impl Serialize) -> io::Result<()> {
    let mut text = serde_json::to_string(line)?;
    text.push('\n');
    file.write_all(text.as_bytes())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn key(seed: u64) -> Key {
        Key {
            site: "smallest/bench".to_owned(),
            kind: "pair".to_owned(),
            seed,
        }
    }

    fn run(journal: &Journal, seed: u64, found: f64) -> f64 {
        journal.run(key(seed), || found)
    }

    #[test]
    fn what_is_over_is_not_done_again() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("runs");
        let journal = Journal::open(&path, "one").unwrap();
        assert!(journal.is_empty());
        assert_eq!(run(&journal, 1, 0.1), 0.1);
        assert_eq!(run(&journal, 2, 0.2), 0.2);
        let journal = Journal::open(&path, "one").unwrap();
        assert_eq!(journal.len(), 2);
        assert_eq!(run(&journal, 1, 9.0), 0.1);
        assert_eq!(run(&journal, 3, 9.0), 9.0);
        let other = Journal::open(&path, "two").unwrap_err();
        assert!(other.contains("commit one, not two"), "{other}");
    }

    /// Cut anywhere, the lines before the cut are there and the run that was
    /// torn is done anew.
    #[test]
    fn a_torn_line_is_cut_off() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("runs");
        let journal = Journal::open(&path, "one").unwrap();
        run(&journal, 1, 0.1);
        run(&journal, 2, 0.2);
        let whole = std::fs::read(&path).unwrap();
        let ends: Vec<usize> = (0..whole.len()).filter(|at| whole[*at] == b'\n').collect();
        assert_eq!(ends.len(), 3);
        for cut in 0..whole.len() {
            std::fs::write(&path, &whole[..cut]).unwrap();
            let journal = Journal::open(&path, "one").unwrap();
            let lines = ends.iter().filter(|end| **end < cut).count();
            assert_eq!(journal.len(), lines.saturating_sub(1), "cut at {cut}");
            run(&journal, 3, 0.3);
            let again = Journal::open(&path, "one").unwrap();
            assert_eq!(again.len(), lines.saturating_sub(1) + 1, "cut at {cut}");
        }
    }

    #[test]
    fn without_a_file_nothing_is_kept() {
        let journal = Journal::default();
        assert_eq!(run(&journal, 1, 0.1), 0.1);
        assert_eq!(run(&journal, 1, 0.2), 0.2);
    }
}
