//! One verb of the command, one file.
