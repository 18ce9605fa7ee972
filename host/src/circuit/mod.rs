//! From the job to the expected circuit.
