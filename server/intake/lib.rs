//! Reads what others publish: bytes in, figures out. Pure: no clock, file or network.

pub mod rates;
