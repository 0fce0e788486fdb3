//! The `takeup` command line: flags, files and people around `takeup-core`.

fn main() {
    println!("takeup {}", env!("CARGO_PKG_VERSION"));
}
