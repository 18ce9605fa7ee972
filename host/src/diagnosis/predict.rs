//! Bands of quantities under any set of edits: core's expectation with the
//! memory it needs.

use loomproof_core::circuit::Edit;
use loomproof_core::expect::{Band, ExpectError, Quantity, expect};
use loomproof_core::solve::Workspace;
use loomproof_core::wire::Step;

use crate::circuit::Model;

/// The largest island that is solved, in nodes.
const MAX_ISLAND: usize = 900;

/// Predicts quantities of one model.
#[derive(Debug)]
pub struct Predictor<'m> {
    model: &'m Model,
    memory: Vec<f64>,
}

impl<'m> Predictor<'m> {
    /// A predictor for a model.
    #[must_use]
    pub fn new(model: &'m Model) -> Self {
        Self {
            model,
            memory: vec![0.0; Workspace::room(MAX_ISLAND)],
        }
    }

    /// The model.
    #[must_use]
    pub fn model(&self) -> &'m Model {
        self.model
    }

    /// The band of a quantity with edits applied.
    ///
    /// # Errors
    /// A sentence that says what cannot be computed.
    pub fn band(
        &mut self,
        edits: &[Edit],
        step: &Step,
        quantity: Quantity,
    ) -> Result<Band, String> {
        let mut work = Workspace::new(&mut self.memory);
        expect(&mut work, &self.model.circuit, edits, step, quantity).map_err(|error| match error {
            ExpectError::NotClipped(lead) => {
                format!("{lead} is read but is not in the hook-up; make the hook-up again")
            }
            ExpectError::Solve(error) => {
                format!(
                    "{error:?} around {}; please keep the plan and report this",
                    quantity.plus.lead
                )
            }
        })
    }
}
