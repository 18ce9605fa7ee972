//! From readings to what is wrong.
//!
//! [`evidence`] judges every reading and scores a set of faults against all of
//! them; [`search`] finds the sets that explain them best; [`groups`] puts
//! together what no reading can tell apart; [`coverage`] says before the test
//! what it can see; [`words`] puts it into plain words.

pub mod coverage;
mod dense;
pub mod edits;
pub mod evidence;
pub mod groups;
pub mod next;
pub mod predict;
pub mod prior;
pub mod search;
pub mod space;
pub mod tree;
pub mod words;
