//! What the shop knows: masses, prices, terms, freight, and what a lot is worth where.
//!
//! Pure: nothing here reads a file, a clock, a request or a row. What a function depends on is in its arguments, so
//! the same facts give the same figures, and every figure can show its working.

#![cfg_attr(not(test), warn(clippy::unwrap_used))]

pub mod bins;
pub mod cadence;
pub mod cash;
pub mod costs;
pub mod cover;
pub mod duration;
pub mod exchange;
mod fraction;
pub mod freight;
pub mod history;
pub mod ids;
pub mod joint;
pub mod mass;
pub mod money;
pub mod net;
pub mod outlet;
pub mod outlook;
pub mod packing;
pub mod plan;
pub mod quote;
pub mod reading;
pub mod scale;
pub mod settlement;
pub mod teardown;
pub mod top_up;
pub mod tour;
pub mod volume;
pub mod wire;
