//! What is said while points are touched.

use std::io::IsTerminal as _;

use console::Term;

use crate::commands::note;

/// Standard error: one large line where it is a terminal, else a line for each touch.
pub(super) struct Screen(Option<Term>);

impl Screen {
    pub(super) fn new() -> Self {
        let attended = std::io::stderr().is_terminal();
        Self(attended.then(Term::stderr))
    }

    /// Something new, with a beep.
    pub(super) fn show(&self, large: &str, say: &str) {
        if self.0.is_some() {
            eprint!("\u{7}");
        }
        self.write(large, say);
    }

    /// What is asked for, without one.
    pub(super) fn ask(&self, large: &str, say: &str) {
        self.write(large, say);
    }

    /// The tip is off: what was told stays in sight on a terminal.
    pub(super) fn quiet(&self, say: &str) {
        if self.0.is_some() {
            note(&format!("    ({say})"));
        }
    }

    fn write(&self, large: &str, say: &str) {
        match &self.0 {
            None => note(say),
            Some(term) => {
                let (_, columns) = term.size();
                let _ = term.clear_screen();
                note(&format!(
                    "{}\n{say}",
                    crate::touch::text::large(large, usize::from(columns))
                ));
            }
        }
    }
}
