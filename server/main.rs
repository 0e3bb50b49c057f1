//! The program: reads its configuration and does what it was asked to.

/// The system's own keeps what one thread gave back for that thread, so that fifty phones at once leave the box with less
/// memory for the rest of the day. This one gives it back within seconds.
#[cfg(feature = "allocator")]
#[global_allocator]
static ALLOCATOR: tikv_jemallocator::Jemalloc = tikv_jemallocator::Jemalloc;

fn main() -> std::process::ExitCode {
    pennyweight::cli::run()
}
