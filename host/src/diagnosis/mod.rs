//! From readings to what is wrong.
