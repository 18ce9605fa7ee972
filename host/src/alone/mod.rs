//! The probe without a computer: a plan is compiled and loaded into it, and what it
//! read by itself is collected later.

mod compile;
mod encode;
mod load;
mod results;
mod words;

pub use compile::{Carrying, CompileError, compile};
pub use load::{LoadError, load};
pub use results::{Collected, ResultsError, collect, forget, rung};
pub use words::{fitted, plain, spot};
