//! Programs from outside that compute the same anew, with every run.

/// The page's section.
#[must_use]
pub fn section() -> String {
    String::new()
}
