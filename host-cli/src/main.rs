//! The `takeup` command line; everything it does is in the library beside it.

fn main() -> std::process::ExitCode {
    takeup_cli::main()
}
