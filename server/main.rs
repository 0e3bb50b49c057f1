//! The program: reads its configuration and does what it was asked to.

fn main() -> std::process::ExitCode {
    pennyweight::cli::run()
}
