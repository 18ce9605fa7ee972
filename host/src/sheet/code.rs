//! A text as a QR code (ISO/IEC 18004), drawn.

use std::fmt::Write as _;

use maud::{Markup, html};
use qrcode::{Color, EcLevel, QrCode};

/// Clear modules around the code (ISO/IEC 18004, quiet zone of 4 modules; from memory).
const QUIET: usize = 4;

/// The smallest module that the camera of a phone reads from a hand's breadth on an
/// office print, mm (common practice).
pub const SMALLEST_MM: f64 = 0.33;

/// A text as dark and light modules.
#[derive(Debug)]
pub struct Code {
    width: usize,
    dark: Vec<bool>,
}

impl Code {
    /// The code of a text. A quarter of its symbols (level Q) may be dirty, or less
    /// (M: 15 %) where the text is long.
    ///
    /// # Errors
    /// A sentence where the text is too long for any code.
    pub fn of(text: &str) -> Result<Self, String> {
        let long = text.len() > 90;
        let level = if long { EcLevel::M } else { EcLevel::Q };
        let code = QrCode::with_error_correction_level(text, level).map_err(|error| {
            format!(
                "{} characters do not fit in a code ({error}); take a shorter address, title or \
                 number",
                text.chars().count()
            )
        })?;
        Ok(Self {
            width: code.width(),
            dark: code
                .to_colors()
                .iter()
                .map(|color| *color == Color::Dark)
                .collect(),
        })
    }

    /// Modules along a side, with the clear ones around.
    #[must_use]
    pub fn modules(&self) -> usize {
        self.width + 2 * QUIET
    }

    /// The code in a square of so many millimetres, with what it says in words.
    pub(super) fn draw(&self, side_mm: f64, words: &str) -> Markup {
        let all = self.modules();
        let mut path = String::new();
        for (y, row) in self.dark.chunks(self.width.max(1)).enumerate() {
            let mut x = 0;
            while let Some(start) = row.iter().skip(x).position(|dark| *dark).map(|at| at + x) {
                let run = row.iter().skip(start).take_while(|dark| **dark).count();
                // Writing to a string does not fail.
                let _ = write!(path, "M{} {}h{run}v1h-{run}z", start + QUIET, y + QUIET);
                x = start + run;
            }
        }
        html! {
            svg class="code" role="img" aria-label=(words) viewBox={ "0 0 " (all) " " (all) }
                width={ (side_mm) "mm" } height={ (side_mm) "mm" } shape-rendering="crispEdges" {
                rect width=(all) height=(all) fill="#fff" {}
                path d=(path) fill="#000" {}
            }
        }
    }
}
