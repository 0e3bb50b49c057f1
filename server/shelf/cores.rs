//! How many cores there are to work on.

use std::num::NonZero;

pub fn all() -> usize {
    std::thread::available_parallelism().map_or(1, NonZero::get)
}

/// How many of them a search may take: one is left to the phones.
pub fn free() -> NonZero<usize> {
    NonZero::new(all().saturating_sub(1)).unwrap_or(NonZero::<usize>::MIN)
}
