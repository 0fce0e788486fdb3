//! Builds a program of the firmware and runs it on the emulated board.

use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use std::sync::Mutex;

/// Two tests must not build into one folder at the same moment with different ways of building.
static BUILDING: Mutex<()> = Mutex::new(());

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("..")
}

/// The program's ELF file, built if it is not up to date, by the same script that tests/run uses.
pub fn program(name: &str) -> PathBuf {
    program_with(name, "emulated")
}

/// The same, of a program that a feature brings.
pub fn program_with(name: &str, feature: &str) -> PathBuf {
    let _guard = BUILDING.lock().unwrap_or_else(std::sync::PoisonError::into_inner);
    let output = Command::new(root().join("tests/cross"))
        .args(["build", "--locked", "--profile", "firmware", "-p", "takeup-firmware-example"])
        .args(["--features", feature, "--bin", name, "--target", "thumbv7em-none-eabihf"])
        .args(["--message-format", "json-render-diagnostics"])
        .output()
        .expect("tests/cross starts");
    assert!(output.status.success(), "{name} does not build:\n{}", String::from_utf8_lossy(&output.stderr));
    String::from_utf8_lossy(&output.stdout)
        .lines()
        .filter_map(|line| serde_json::from_str::<serde_json::Value>(line).ok())
        .filter(|message| message["target"]["name"] == name)
        .find_map(|message| message["executable"].as_str().map(PathBuf::from))
        .expect("cargo names the executable")
}

/// What the build of a program with a feature says when it fails, as it must.
pub fn refused(name: &str, feature: &str) -> String {
    let _guard = BUILDING.lock().unwrap_or_else(std::sync::PoisonError::into_inner);
    let output = Command::new(root().join("tests/cross"))
        .args(["build", "--locked", "--profile", "firmware", "-p", "takeup-firmware-example"])
        .args(["--features", feature, "--bin", name, "--target", "thumbv7em-none-eabihf"])
        .output()
        .expect("tests/cross starts");
    assert!(!output.status.success(), "{name} builds with {feature}");
    String::from_utf8_lossy(&output.stderr).into_owned()
}

/// Runs a program to its end on the emulated board; its clock counts instructions, so that runs repeat.
pub fn run(elf: &Path) -> Output {
    Command::new("timeout")
        .args(["120", "qemu-system-arm", "-machine", "mps2-an386", "-cpu", "cortex-m4", "-nographic"])
        .args(["-monitor", "none", "-serial", "none", "-icount", "shift=0"])
        .args(["-semihosting-config", "enable=on,target=native", "-kernel"])
        .arg(elf)
        .output()
        .expect("qemu-system-arm starts: install Debian's qemu-system-arm")
}
