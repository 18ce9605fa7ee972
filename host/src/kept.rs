//! Small JSON files that one command keeps for another.

use std::io::Read as _;
use std::path::Path;

use serde::de::DeserializeOwned;

/// The largest file that is read, bytes.
const MOST_BYTES: u64 = 1 << 20;

/// Reads a file.
///
/// `not_it` puts into a sentence why the file is something else; `version` takes the
/// version of the layout out of what was read, which must be `ours`.
///
/// # Errors
/// A sentence for a file that is missing, or is something else.
pub fn load<T: DeserializeOwned>(
    path: &Path,
    not_it: impl Fn(String) -> String,
    (version, ours): (impl Fn(&T) -> u32, u32),
) -> Result<T, String> {
    let fail = |error: std::io::Error| format!("{}: {error}; check the path", path.display());
    let mut bytes = Vec::new();
    let file = std::fs::File::open(path).map_err(fail)?;
    file.take(MOST_BYTES)
        .read_to_end(&mut bytes)
        .map_err(fail)?;
    let kept: T = serde_json::from_slice(&bytes).map_err(|error| not_it(error.to_string()))?;
    match version(&kept) {
        found if found == ours => Ok(kept),
        found => Err(not_it(format!("its format is {found}, not {ours}"))),
    }
}
