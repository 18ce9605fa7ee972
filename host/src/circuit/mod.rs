//! From the job to the expected circuit.
//!
//! Every joint has a node on each side of it, so that the model can say what
//! a reading on one side proves about the other. [`build`] makes the circuit,
//! [`places`] remembers which element is which joint.

mod build;
pub(crate) mod joint;
pub mod places;

pub use build::{BuildError, build, build_for_another};
pub use places::Places;

use loomproof_core::circuit::Circuit;
use loomproof_core::layout::Layout;

/// The circuit type of the host: room for a 128-point job.
pub type HostCircuit = Circuit<4096>;

/// The expected circuit of a job on a hook-up, and where everything is in it.
#[derive(Debug, Clone)]
pub struct Model {
    /// The circuit, probe leads clipped.
    pub circuit: Box<HostCircuit>,
    /// Which node and element belongs to which place of the plan.
    pub places: Places,
}

impl Model {
    /// How the clipped leads hang together, by the plan.
    #[must_use]
    pub fn layout(&self) -> Layout {
        Layout::of(&self.circuit, &[])
    }
}
