//! Which commit a page was made on.

use std::process::Command;

/// The commit that is checked out, with a remark where files were changed since;
/// `unknown` without git.
#[must_use]
pub fn checked_out() -> String {
    let git = |args: &[&str]| {
        let output = Command::new("git").args(args).output().ok()?;
        let text = String::from_utf8(output.stdout).ok()?;
        output.status.success().then(|| text.trim().to_owned())
    };
    let Some(commit) = git(&["rev-parse", "--short=12", "HEAD"]) else {
        return "unknown".to_owned();
    };
    match git(&["status", "--porcelain", "--untracked-files=no"]) {
        Some(changes) if changes.is_empty() => commit,
        _ => format!("{commit} with changes"),
    }
}
