//! The rules, one family a file.

pub mod colours;
pub mod current;
pub mod functions;
pub mod fuses;
pub mod outputs;
pub mod relays;
pub mod sides;
pub mod sneak;
pub mod structure;
