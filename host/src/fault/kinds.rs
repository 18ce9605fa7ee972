//! The kinds of faults: a file each, and a line each in the list below.
//!
//! A file says everything of its kind: how it is spelled, where it can occur,
//! what it does to the expected circuit (`edits`, for the diagnosis)
//! and to the simulated harness (`fit`, for the bench), how often it is
//! met, and its words. The two effects are written separately on purpose, the
//! one in terms of circuit elements, the other of terminals and joints, so that
//! a mistake in one shows as a disagreement (`tests/tests/fault_models.rs`).

use loomproof_core::circuit::Edit;
use loomproof_core::units::Ohms;

use super::spell::{Keys, Reader};
use crate::bench::{BenchError, Fitted};
use crate::circuit::Model;
use crate::diagnosis::words::{Speaker, Words};
use crate::hookup::Hookup;
use crate::plan::model::Job;

/// A kind of fault.
pub(super) trait Kind: Sized {
    /// Its name, before the `@`.
    const NAME: &'static str;
    /// A spelling.
    const EXAMPLE: &'static str;
    /// What it is, for the list of kinds.
    const MEANING: &'static str;
    /// What is not tested where it cannot be seen; places follow.
    const NOT_TESTED: &'static str;

    /// Reads what stands behind the `@`; the text of an error is a sentence
    /// without capital and full stop.
    fn read(place: &str, keys: &mut Keys<'_>, reader: Reader<'_>) -> Result<Self, String>;

    /// The place, as read.
    fn place(&self) -> String;

    /// The keys and their values, as read.
    fn keys(&self) -> Vec<(&'static str, String)> {
        Vec::new()
    }

    /// Every fault of the kind that makes sense for a job on a hook-up, once each.
    fn all(job: &Job, hookup: &Hookup) -> Vec<Self>;

    /// Probability that this fault is there in a fresh job and its hook-up.
    ///
    /// A working assumption per place, so that the number of places counts too
    /// (`common practice`; nobody publishes counts): among the wiring,
    /// terminals not home and taps that missed lead the list; a clip that
    /// slipped off is commoner than any of them, and a clip on a wrong point
    /// commoner than a terminal in a wrong cavity, because a harness was looked
    /// at before and a hook-up is made in a hurry; a whole connector miscounted
    /// is about as likely as one terminal in it; parts that left the factory
    /// good fail seldom. It only decides between explanations that fit the
    /// readings equally well.
    fn prior(&self) -> f64;

    /// What it does to the expected circuit; `None` where it does not show in
    /// a circuit or its place is not in this model.
    fn edits(&self, model: &Model) -> Option<Vec<Edit>>;

    /// What it does to the harness on the bench.
    fn fit(&self, fitted: &mut Fitted<'_>) -> Result<(), BenchError>;

    /// What is wrong, and what to move.
    fn words(&self, speaker: Speaker<'_>) -> Words;

    /// Its ohms, where it has ohms to be estimated.
    fn ohms(&self) -> Option<Ohms> {
        None
    }

    /// The same fault with other ohms, where it has ohms to be estimated.
    fn with_ohms(&self, _ohms: Ohms) -> Option<Self> {
        None
    }
}

/// Makes [`Fault`] and its dispatch from the list of kinds.
macro_rules! kinds {
    ($($file:ident::$kind:ident,)*) => {
        $(
            mod $file;
            pub use $file::$kind;

            impl From<$kind> for Fault {
                fn from(fault: $kind) -> Self {
                    Self::$kind(fault)
                }
            }
        )*

        /// One thing that is wrong.
        #[derive(Debug, Clone, PartialEq)]
        pub enum Fault {
            $(#[doc = concat!("See [`", stringify!($kind), "`].")] $kind($kind),)*
        }

        /// The kinds, with an example each and what they mean: the one list
        /// behind the parser's messages and the documentation.
        pub const KINDS: &[(&str, &str, &str)] = &[$((
            <$kind as Kind>::NAME,
            <$kind as Kind>::EXAMPLE,
            <$kind as Kind>::MEANING,
        ),)*];

        /// Reads a fault of a kind; `None` where there is no such kind.
        pub(super) fn read(
            kind: &str,
            place: &str,
            keys: &mut Keys<'_>,
            reader: Reader<'_>,
        ) -> Option<Result<Fault, String>> {
            $(if kind == <$kind as Kind>::NAME {
                return Some(<$kind as Kind>::read(place, keys, reader).map(Fault::$kind));
            })*
            None
        }

        /// Every fault of every kind, kind by kind.
        pub(super) fn all(job: &Job, hookup: &Hookup) -> Vec<Fault> {
            let mut faults = Vec::new();
            $(faults.extend(<$kind as Kind>::all(job, hookup).into_iter().map(Fault::$kind));)*
            faults
        }

        /// What is not tested where a kind cannot be seen; places follow.
        #[must_use]
        pub fn not_tested(kind: &str) -> &'static str {
            $(if kind == <$kind as Kind>::NAME {
                return <$kind as Kind>::NOT_TESTED;
            })*
            ""
        }

        impl Fault {
            /// The kind, as in `KIND@PLACE`.
            #[must_use]
            pub fn kind(&self) -> &'static str {
                match self { $(Self::$kind(_) => <$kind as Kind>::NAME,)* }
            }

            /// The place, as in `KIND@PLACE`.
            #[must_use]
            pub fn place(&self) -> String {
                match self { $(Self::$kind(fault) => fault.place(),)* }
            }

            /// The keys behind the place and their values.
            pub(super) fn keys(&self) -> Vec<(&'static str, String)> {
                match self { $(Self::$kind(fault) => fault.keys(),)* }
            }

            /// Probability that this fault is there in a fresh job.
            #[must_use]
            pub fn prior(&self) -> f64 {
                match self { $(Self::$kind(fault) => fault.prior(),)* }
            }

            /// The edits that make a circuit of the plan one with this fault;
            /// `None` where it does not show in a circuit (a live lead) or its
            /// place is not in this model.
            #[must_use]
            pub fn edits(&self, model: &Model) -> Option<Vec<Edit>> {
                match self { $(Self::$kind(fault) => fault.edits(model),)* }
            }

            /// Does it to the harness on the bench.
            pub(crate) fn fit(&self, fitted: &mut Fitted<'_>) -> Result<(), BenchError> {
                match self { $(Self::$kind(fault) => fault.fit(fitted),)* }
            }

            /// In words.
            pub(crate) fn words(&self, speaker: Speaker<'_>) -> Words {
                match self { $(Self::$kind(fault) => fault.words(speaker),)* }
            }

            /// Its ohms, where it has ohms to be estimated.
            #[must_use]
            pub fn ohms(&self) -> Option<Ohms> {
                match self { $(Self::$kind(fault) => fault.ohms(),)* }
            }

            /// Whether it is the operator's own mistake with a probe lead.
            #[must_use]
            pub fn is_operators(&self) -> bool {
                self.kind().starts_with("clip")
            }

            /// The same fault with other ohms; `None` where it has none to be
            /// estimated.
            #[must_use]
            pub fn with_ohms(&self, ohms: Ohms) -> Option<Self> {
                match self { $(Self::$kind(fault) => fault.with_ohms(ohms).map(Self::$kind),)* }
            }
        }
    };
}

kinds! {
    open::Open,
    high_resistance::HighResistance,
    unseated::Unseated,
    wrong_cavity::WrongCavity,
    exchanged::Exchanged,
    mirrored::Mirrored,
    shifted::Shifted,
    sets_exchanged::SetsExchanged,
    occupied::Occupied,
    tap_missed::TapMissed,
    tap_neighbour::TapNeighbour,
    reversed::Reversed,
    missing::Missing,
    blown::Blown,
    short::Short,
    cap_touching::CapTouching,
    live::Live,
    left_plugged::LeftPlugged,
    left_open::LeftOpen,
    clip_off::ClipOff,
    clips_exchanged::ClipsExchanged,
    clip_misplaced::ClipMisplaced,
}

impl Fault {
    /// Whether it is a connector of the vehicle whose halves are not as the plan
    /// wants them while these places are rung out.
    #[must_use]
    pub fn is_of_halves(&self) -> bool {
        matches!(self, Self::LeftPlugged(_) | Self::LeftOpen(_))
    }
}
