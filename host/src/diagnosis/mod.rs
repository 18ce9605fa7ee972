//! From readings to what is wrong.
//!
//! [`predict`] says what every reading should be under any set of faults, with
//! the circuit solved in [`tree`]; [`evidence`] judges every reading and scores
//! a set of faults against all of them; [`space`] makes faults hypotheses, and
//! [`search`] finds the sets that explain the readings best; [`groups`] puts
//! together what no reading can tell apart; [`coverage`] says before the test
//! what it can see; [`words`] puts it into plain words, [`phrases`] into other languages.

pub mod coverage;
mod dense;
pub mod edits;
pub mod evidence;
pub mod groups;
mod likelihood;
pub mod next;
pub mod ohms;
pub mod phrases;
pub mod predict;
pub mod search;
pub mod space;
pub mod tree;
pub mod words;
