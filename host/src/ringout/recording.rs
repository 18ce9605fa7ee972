//! TEMP
