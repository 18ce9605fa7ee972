//! The probe application and its chip drivers, over embedded-hal traits.
#![cfg_attr(not(test), no_std)]
#![forbid(unsafe_code)]
