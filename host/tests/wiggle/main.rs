//! The wiggle test on the virtual bench.

mod dropouts;
mod support;
mod views;
mod which_joint;
