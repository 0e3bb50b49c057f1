//! Everything that is checked of the crate through its public face, in one program: it is linked once.

mod bins;
mod cadence;
mod cover;
mod currencies;
mod freight;
mod history;
mod joint;
mod net;
mod outlook;
mod packing;
mod plan;
mod quotes;
mod scale;
mod settlement;
mod teardown;
mod tour;
mod units;
mod wire;
