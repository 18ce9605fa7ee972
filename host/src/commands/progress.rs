//! A progress line on standard error.

use indicatif::{ProgressBar, ProgressStyle};

use crate::ringout::run::Progress;

/// Shows how far a scan is; nothing where standard error is no terminal.
#[derive(Debug)]
pub struct Bar(ProgressBar);

impl Bar {
    /// A fresh bar.
    #[must_use]
    pub fn new() -> Self {
        let bar = ProgressBar::new(0);
        if let Ok(style) = ProgressStyle::with_template("{msg} {bar:30} {pos}/{len}") {
            bar.set_style(style);
        }
        Self(bar)
    }

    /// Shows a step of the scan.
    pub fn show(&self, progress: Progress) {
        match progress {
            Progress::Looking => self.0.set_message("Looking for live leads"),
            Progress::Charge(lead, mv) => {
                let volts = f64::from(mv) / 1000.0;
                let waiting = format!("Waiting for a charge to run off: {volts:.1} V on {lead}");
                self.0.set_message(waiting);
            }
            Progress::Step(at, of) => {
                self.0.set_message("Ringing out");
                self.0.set_length(of as u64);
                self.0.set_position(at as u64);
            }
            Progress::Following(at) => {
                self.0.set_message("Something is off; finding out what");
                self.0
                    .set_length(self.0.length().unwrap_or(0).max(at as u64));
                self.0.set_position(at as u64);
            }
        }
    }

    /// Takes the bar away.
    pub fn done(&self) {
        self.0.finish_and_clear();
    }
}
