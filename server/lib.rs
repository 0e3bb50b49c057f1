//! Pennyweight: what every lot in a small scrap shop is worth today, and where it should go.
//!
//! Calls go one way: `web` asks `store` for facts and the pure crate `trade` for figures, and `intake` for what a price
//! sheet says.

#![cfg_attr(not(test), warn(clippy::unwrap_used))]

pub mod archive;
pub mod backup;
pub mod catalogue;
pub mod certificate;
pub mod cli;
pub mod demo;
pub mod import;
pub mod matchers;
pub mod mdns;
pub mod passphrase;
pub mod reader;
pub mod review;
pub mod secret;
pub mod shelf;
pub mod shelves;
pub mod store;
pub mod web;
