//! Exit statuses, and failures with their status.

use std::process::ExitCode;

use crate::bench::upset::UpsetError;
use crate::bench::{BenchError, DefectError};
use crate::circuit::BuildError;
use crate::fault::spell::SpellingError;
use crate::hookup::HookupError;
use crate::link::LinkError;
use crate::plan::Rejected;
use crate::records::database::StoreError;
use crate::records::transfer::TransferError;
use crate::ringout::recording::RecordingError;
use crate::ringout::report::Verdict;
use crate::ringout::run::RunError;

/// Exit status of the command.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Status {
    /// Everything as it should be.
    Pass,
    /// Faults found.
    Faults,
    /// Plan or usage error.
    Usage,
    /// Probe or link trouble.
    Probe,
    /// Refused as unsafe.
    Refused,
    /// Cannot tell.
    Undecided,
}

impl Status {
    /// The number given to the shell.
    #[must_use]
    pub fn number(self) -> u8 {
        match self {
            Self::Pass => 0,
            Self::Faults => 1,
            Self::Usage => 2,
            Self::Probe => 3,
            Self::Refused => 4,
            Self::Undecided => 5,
        }
    }

    /// The status as the process's exit code.
    #[must_use]
    pub fn code(self) -> ExitCode {
        ExitCode::from(self.number())
    }
}

impl From<Verdict> for Status {
    fn from(verdict: Verdict) -> Self {
        match verdict {
            Verdict::Pass => Self::Pass,
            Verdict::Faults => Self::Faults,
            Verdict::Undecided => Self::Undecided,
            Verdict::Refused => Self::Refused,
        }
    }
}

/// Why a command came to no result: words for the user and a status.
#[derive(Debug)]
pub struct Failure {
    text: String,
    status: Status,
}

impl Failure {
    /// A mistake in the plan or on the command line.
    #[must_use]
    pub fn usage(text: String) -> Self {
        Self {
            text: format!("error: {text}"),
            status: Status::Usage,
        }
    }

    /// Trouble with the probe or the way to it.
    #[must_use]
    pub fn probe(text: String) -> Self {
        Self {
            text: format!("error: {text}"),
            status: Status::Probe,
        }
    }

    /// What would not be safe.
    #[must_use]
    pub fn refused(text: String) -> Self {
        Self {
            text: format!("refused: {text}"),
            status: Status::Refused,
        }
    }

    /// Problems of a plan, rendered already.
    #[must_use]
    pub fn plan(rendered: String, unsafe_only: bool) -> Self {
        let status = if unsafe_only {
            Status::Refused
        } else {
            Status::Usage
        };
        Self {
            text: rendered,
            status,
        }
    }

    /// What to tell the user.
    #[must_use]
    pub fn text(&self) -> &str {
        &self.text
    }

    /// The exit status.
    #[must_use]
    pub fn status(&self) -> Status {
        self.status
    }
}

impl From<Rejected> for Failure {
    fn from(rejected: Rejected) -> Self {
        let colour = std::io::IsTerminal::is_terminal(&std::io::stderr());
        Self::plan(rejected.render(colour), rejected.is_unsafe())
    }
}

impl From<LinkError> for Failure {
    fn from(error: LinkError) -> Self {
        Self::probe(error.to_string())
    }
}

impl From<RunError> for Failure {
    fn from(error: RunError) -> Self {
        match error {
            RunError::Model(_) => Self::usage(error.to_string()),
            _ => Self::probe(error.to_string()),
        }
    }
}

macro_rules! usage_failures {
    ($($error:ty),+ $(,)?) => {
        $(impl From<$error> for Failure {
            fn from(error: $error) -> Self {
                Self::usage(error.to_string())
            }
        })+
    };
}

usage_failures!(
    BuildError,
    HookupError,
    SpellingError,
    RecordingError,
    BenchError,
    DefectError,
    UpsetError,
    StoreError,
    TransferError
);
