//! Shared helpers of the end-to-end and outside-reference tests.
