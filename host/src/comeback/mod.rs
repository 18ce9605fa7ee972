//! A vehicle that comes back with a function that does not work: from the symptom,
//! reading by reading, to what is wrong.
//!
//! [`asks`] lists what can be asked: whether a function works, or the voltage at a
//! place, in a state of the switches. [`suspects`] works out what each cause would
//! answer, `pool` keeps that, [`told`] is what is said of the functions, [`inquiry`] who is
//! suspected (`pairs`: two at once). [`belief`] weighs the causes by the answers
//! given, [`split`] says what an ask tells, [`next`] chooses the one that tells most for its
//! effort, [`session`] keeps the answers and [`looks`] what was looked at and put right, [`report`]
//! and [`text`] say what came out. [`vehicle`] is a virtual one that answers, to practise
//! on.

pub mod asks;
pub mod belief;
mod confirm;
pub mod inquiry;
pub mod looks;
pub mod next;
mod pairs;
mod pool;
pub mod report;
pub mod session;
pub mod split;
pub mod suspects;
pub mod text;
pub mod told;
pub mod vehicle;
mod ways;

pub use asks::{Ask, Asks, What};
pub use belief::{Answer, Belief, Reply};
pub use inquiry::Inquiry;
pub use next::{Field, Position};
pub use session::{Entry, Session};
pub use told::{How, Symptom};
pub use vehicle::VirtualVehicle;
